"""Ageing in the climate a joint was kept in: relative rate, equivalent age, site climates, logged readings.

The clock of the whole risk core is the *equivalent year*: a year at 20 °C and 50 % relative humidity.
Rates are averaged, never temperatures or humidities: a hot week ages more than a cool week spares.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

GAS_CONSTANT = 8.314  # J/(mol K)
REFERENCE_TEMPERATURE_K = 293.15
REFERENCE_HUMIDITY = 50.0
TEMPERATURE_RANGE_C = (-40.0, 80.0)
HUMIDITY_RANGE = (0.0, 100.0)

# Low, usual, high. Usual: Michalski 2002 (from memory); high: Chu and others 2019, bulk material at 105-125 °C.
ACTIVATION_ENERGIES = (70_000.0, 100_000.0, 144_700.0)
HUMIDITY_EXPONENTS = (1.0, 1.3, 1.4)


def relative_rate(
    temperature_c: ArrayLike,
    relative_humidity: ArrayLike,
    *,
    activation_energy: float = 100_000.0,
    humidity_exponent: float = 1.3,
) -> NDArray[np.float64]:
    r"""Rate of ageing relative to 20 °C and 50 % relative humidity; its inverse is the lifetime multiplier.

    .. math:: r = (RH/50)^n \exp[-(E_a/R)(1/(T + 273.15) - 1/293.15)]

    Parameters
    ----------
    temperature_c : array_like, °C, -40 to 80
    relative_humidity : array_like, %, 0 to 100
    activation_energy : float, J/mol, >= 0
    humidity_exponent : float, >= 0

    Returns
    -------
    ndarray, shape of the two broadcast together
        Dimensionless, >= 0; nan where an input is nan.

    Raises
    ------
    ValueError
        A reading that cannot be a room or a case, or a negative constant, named.

    Notes
    -----
    No rate law for an adhesive joint in a ceramic is published; this one is for cellulosics in general.
    Source: S. Michalski, ICOM-CC Rio de Janeiro preprints (2002) I, 66-72: the life doubles for each five-degree
    drop and more than doubles for each halving of relative humidity. Constants from memory.

    Examples
    --------
    >>> (1 / relative_rate(15.0, 50.0)).round(5)
    np.float64(2.03797)
    """
    temperature = _within("temperature_c", temperature_c, TEMPERATURE_RANGE_C)
    humidity = _within("relative_humidity", relative_humidity, HUMIDITY_RANGE)
    for name, constant in (("activation_energy", activation_energy), ("humidity_exponent", humidity_exponent)):
        if not (np.isfinite(constant) and constant >= 0):
            raise ValueError(f"{name} must be a finite number, zero or more")
    inverse = 1.0 / (temperature + 273.15) - 1.0 / REFERENCE_TEMPERATURE_K
    return (humidity / REFERENCE_HUMIDITY) ** humidity_exponent * np.exp(-activation_energy / GAS_CONSTANT * inverse)


def equivalent_age(durations: ArrayLike, rates: ArrayLike) -> NDArray[np.float64]:
    """Age at 20 °C and 50 %: the sum of each duration times its relative rate.

    Parameters
    ----------
    durations : array_like [..., n], any unit of time, >= 0
    rates : array_like [..., n], dimensionless, >= 0; broadcast against ``durations``

    Returns
    -------
    ndarray [...]
        In the unit of ``durations``, summed over the last axis.

    Raises
    ------
    ValueError
        A negative or infinite argument, or shapes that do not broadcast, named.

    Examples
    --------
    >>> equivalent_age([180, 90, 95], [1.0, 2.8862, 0.4241]).round(2)
    np.float64(480.05)
    """
    spans = _not_negative("durations", durations)
    speeds = _not_negative("rates", rates)
    try:
        product = np.atleast_1d(spans * speeds)
    except ValueError as error:
        raise ValueError("durations and rates must have shapes that broadcast together") from error
    return np.asarray(product.sum(axis=-1))[()]


def mean_rate(durations: ArrayLike, rates: ArrayLike) -> NDArray[np.float64]:
    """Average relative rate over a series, weighted by time; its inverse is the lifetime multiplier of the series.

    ``durations`` [..., n] in any unit of time, ``rates`` [..., n] dimensionless; returns [...].
    Raises ValueError if a series lasts no time at all.
    """
    spans, speeds = np.broadcast_arrays(_not_negative("durations", durations), _not_negative("rates", rates))
    total = np.atleast_1d(spans).sum(axis=-1)
    if np.any(total == 0):
        raise ValueError("durations must add up to more than zero")
    return np.asarray(equivalent_age(spans, speeds) / total)[()]


@dataclass(frozen=True)
class SiteClimate:
    """Seasons of one kind of room: months, temperature (°C) and relative humidity (%) of each, and why.

    ``months`` of all seasons make twelve. These are expert defaults, to be replaced by readings where there are any.
    """

    code: str
    name: str
    months: tuple[float, ...]
    temperature_c: tuple[float, ...]
    relative_humidity: tuple[float, ...]
    grounds: str

    def __post_init__(self) -> None:
        if not len(self.months) == len(self.temperature_c) == len(self.relative_humidity):
            raise ValueError("months, temperature_c and relative_humidity must have one value for each season")
        if not np.isclose(sum(self.months), 12.0):
            raise ValueError("months must add up to 12")

    def rate(self, *, activation_energy: float = 100_000.0, humidity_exponent: float = 1.3) -> float:
        """Equivalent years per calendar year."""
        rates = relative_rate(
            self.temperature_c,
            self.relative_humidity,
            activation_energy=activation_energy,
            humidity_exponent=humidity_exponent,
        )
        return float(mean_rate(self.months, rates))


def _site(code: str, name: str, *seasons: tuple[float, float, float], grounds: str) -> SiteClimate:
    """One site class from (months, °C, %) seasons."""
    months, temperature, humidity = zip(*seasons, strict=True)
    return SiteClimate(code, name, months, temperature, humidity, f"Expert default: {grounds}")


SITE_CLIMATES: Mapping[str, SiteClimate] = {
    site.code: site
    for site in (
        _site("controlled", "Controlled gallery or store", (12, 20, 50), grounds="held at the reference climate"),
        _site(
            "heated", "Heated rooms without humidity control", (6, 20, 35), (3, 21, 50), (3, 25, 60),
            grounds="dry under winter heating, warm in summer, temperate climate",
        ),
        _site(
            "unheated", "Unheated store, temperate climate", (4, 6, 75), (4, 12, 70), (4, 19, 65),
            grounds="follows the outdoor seasons, damped by the building",
        ),
        _site(
            "cellar", "Cellar or vault", (6, 11, 75), (6, 16, 75),
            grounds="cool and damp all year",
        ),
        _site(
            "attic", "Attic or roof store", (4, 8, 65), (4, 18, 55), (4, 32, 40),
            grounds="follows the roof: cold winters, hot summers",
        ),
        _site(
            "warm", "Warm climate without control", (6, 22, 65), (6, 29, 70),
            grounds="warm and humid most of the year",
        ),
    )
}  # fmt: skip


@dataclass(frozen=True)
class ReadingsRate:
    """Average relative rate of a series of readings, and how much time stands behind it.

    ``rate`` is dimensionless (nan when nothing is covered), ``covered_days`` the time that readings speak for,
    ``span_days`` from the first reading to the last.
    """

    rate: float
    covered_days: float
    span_days: float


def rate_of_readings(
    days: ArrayLike,
    temperature_c: ArrayLike,
    relative_humidity: ArrayLike,
    *,
    longest_gap: float = 2.0,
    activation_energy: float = 100_000.0,
    humidity_exponent: float = 1.3,
) -> ReadingsRate:
    """Average rate of logged readings, each pair of neighbours weighted by the time between them.

    Parameters
    ----------
    days : array_like [n], days from any origin, increasing
    temperature_c, relative_humidity : array_like [n], °C and %; nan where the logger missed one
    longest_gap : float, days
        A pause longer than this counts as not known, instead of being bridged.

    Raises
    ------
    ValueError
        An argument out of range, out of order or of another length, named.
    """
    moments = np.asarray(days, dtype=np.float64)
    if moments.ndim != 1 or not np.all(np.isfinite(moments)) or np.any(np.diff(moments) <= 0):
        raise ValueError("days must be one row of finite numbers, each later than the one before")
    if longest_gap <= 0:
        raise ValueError("longest_gap must be more than zero")
    rates = relative_rate(
        temperature_c, relative_humidity, activation_energy=activation_energy, humidity_exponent=humidity_exponent
    )
    if rates.shape != moments.shape:
        raise ValueError("temperature_c and relative_humidity must have one value for each of days")
    known = np.isfinite(rates)
    moments, rates = moments[known], rates[known]
    gaps = np.diff(moments)
    between = (rates[1:] + rates[:-1]) / 2.0
    counted = gaps <= longest_gap
    covered = float(gaps[counted].sum())
    span = float(moments[-1] - moments[0]) if moments.size else 0.0
    rate = float((gaps * between)[counted].sum() / covered) if covered > 0 else float("nan")
    return ReadingsRate(rate=rate, covered_days=covered, span_days=span)


def _within(name: str, values: ArrayLike, allowed: tuple[float, float]) -> NDArray[np.float64]:
    """Numbers within a closed range, nan allowed; anything else is refused by name."""
    numbers = _numbers(name, values)
    if np.any((numbers < allowed[0]) | (numbers > allowed[1])):
        raise ValueError(f"{name} must lie between {allowed[0]:g} and {allowed[1]:g}")
    return numbers


def _not_negative(name: str, values: ArrayLike) -> NDArray[np.float64]:
    """Numbers of zero or more and finite, nan allowed; anything else is refused by name."""
    numbers = _numbers(name, values)
    if np.any(numbers < 0) or np.any(np.isinf(numbers)):
        raise ValueError(f"{name} must be finite and not negative")
    return numbers


def _numbers(name: str, values: ArrayLike) -> NDArray[np.float64]:
    """As an array of floats, or ValueError naming the argument."""
    try:
        return np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ValueError(f"{name} must be numbers") from error
