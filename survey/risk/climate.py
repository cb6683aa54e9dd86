r"""Logged climates kept small: for each place and month, sums from which any constants give the mean rate of ageing.

The mean rate of a month is :math:`\sum_i w_i r(T_i, RH_i) / \sum_i w_i`, a smooth function of the activation energy
and the exponent of humidity. It is summed at ``ENERGIES`` x ``EXPONENTS``; between these nodes its logarithm is
interpolated by a polynomial, right to within a thousandth (tested; exact at 100 kJ/mol and 1.3). So a month of any
number of readings is 56 numbers, rates are averaged as they should be, and other constants need no second look at them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.risk.ageing import GAS_CONSTANT, REFERENCE_HUMIDITY, REFERENCE_TEMPERATURE_K, relative_rate

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

ENERGIES: Floats = np.array([40, 52, 75, 100, 130, 165, 190, 200]) * 1000.0  # J/mol
EXPONENTS: Floats = np.array([0.0, 0.3, 0.8, 1.3, 2.0, 2.7, 3.0])
LONGEST_GAP = 2.0  # days that two readings next to each other may lie apart and still speak for the time between
DAY = 86_400
YEAR = 365.25
_AT_ONCE = 100_000
_DRY = 1e-6  # % below which a reading counts as this, since a logarithm is taken
_ENOUGH = 10.0  # days of a calendar month that must have been logged before other years are filled from it
_EDGES = np.arange("1500-01", "2301-01", dtype="datetime64[M]")


@dataclass(frozen=True)
class Month:
    """What the readings of one month come to. ``number`` counts months from January 1970; ``days`` that they speak for;
    ``sums`` [e, n] of rate times days at the nodes; sums of °C and % times days; the ends that were read."""

    number: int
    readings: int
    days: float
    sums: Floats
    temperature_days: float
    temperature: tuple[float, float]
    humidity_days: float
    humidity: tuple[float, float]

    def with_(self, other: Month) -> Month:
        """This month with what another part of it says."""
        return Month(
            number=self.number,
            readings=self.readings + other.readings,
            days=self.days + other.days,
            sums=self.sums + other.sums,
            temperature_days=self.temperature_days + other.temperature_days,
            temperature=_both(self.temperature, other.temperature),
            humidity_days=self.humidity_days + other.humidity_days,
            humidity=_both(self.humidity, other.humidity),
        )


def _both(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    return min(one[0], other[0]), max(one[1], other[1])


def month_of(seconds: Whole) -> Whole:
    """Months since January 1970 of moments given in seconds since then."""
    return seconds.astype("datetime64[s]").astype("datetime64[M]").astype(np.int64)


def by_month(
    seconds: Whole, temperature_c: ArrayLike, relative_humidity: ArrayLike, *, longest_gap: float = LONGEST_GAP
) -> Iterator[Month]:
    """Sums of each month that has readings.

    Parameters
    ----------
    seconds : int [n], seconds since 1970 began, in the clock of the place, increasing
    temperature_c, relative_humidity : array_like [n], °C and %, no nan
    longest_gap : float, days
        A longer pause counts as not known, instead of being bridged.

    Raises
    ------
    ValueError
        Readings out of order, of different lengths, or that no room has, named.

    Notes
    -----
    Each reading weighs half of the time to the one before and half of that to the one after (trapezoidal rule), all in
    its own month: the mean over all months is that of ``ageing.rate_of_readings``.
    """
    moments = np.asarray(seconds)
    if moments.ndim != 1 or not np.issubdtype(moments.dtype, np.integer) or np.any(np.diff(moments) <= 0):
        raise ValueError("seconds must be one row of whole numbers, each later than the one before")
    if not (np.isfinite(longest_gap) and longest_gap > 0):
        raise ValueError("longest_gap must be more than zero")
    temperature, humidity = np.asarray(temperature_c), np.asarray(relative_humidity)
    if temperature.shape != moments.shape or humidity.shape != moments.shape:
        raise ValueError("temperature_c and relative_humidity must have one value for each of seconds")
    weights = _weights(moments, longest_gap)
    months = month_of(moments)
    begins = np.flatnonzero(np.diff(months, prepend=months[:1] - 1))
    for begin, end in zip(begins.tolist(), [*begins[1:].tolist(), months.size], strict=True):
        here = slice(begin, end)
        yield _month(int(months[begin]), weights[here], temperature[here], humidity[here])


def _weights(moments: Whole, longest_gap: float) -> Floats:
    """Days that each reading speaks for."""
    gaps = np.diff(moments) / DAY
    halves = np.where(gaps <= longest_gap, gaps / 2.0, 0.0)
    weights = np.zeros(moments.size)
    weights[:-1] += halves
    weights[1:] += halves
    return weights


def _month(number: int, weights: Floats, temperature: NDArray[np.floating], humidity: NDArray[np.floating]) -> Month:
    relative_rate(_ends(temperature), _ends(humidity))  # refuses by name what no room has
    sums = np.zeros((ENERGIES.size, EXPONENTS.size))
    for start in range(0, weights.size, _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        sums += _sums(weights[some], temperature[some].astype(np.float64), humidity[some].astype(np.float64))
    return Month(
        number=number,
        readings=weights.size,
        days=float(weights.sum()),
        sums=sums,
        temperature_days=float(weights @ temperature.astype(np.float64)),
        temperature=(float(temperature.min()), float(temperature.max())),
        humidity_days=float(weights @ humidity.astype(np.float64)),
        humidity=(float(humidity.min()), float(humidity.max())),
    )


def _ends(values: NDArray[np.floating]) -> Floats:
    return np.array([values.min(), values.max()], dtype=np.float64)


def _sums(weights: Floats, temperature: Floats, humidity: Floats) -> Floats:
    """Sums [e, n]: the rate is a product of a power of warmth and one of damp, so that one matrix product is all."""
    warmth = 1.0 / (temperature + 273.15) - 1.0 / REFERENCE_TEMPERATURE_K
    damp = np.log(np.maximum(humidity, _DRY) / REFERENCE_HUMIDITY)
    by_warmth = np.exp(np.multiply.outer(-ENERGIES / GAS_CONSTANT, warmth))
    by_damp = np.exp(np.multiply.outer(damp, EXPONENTS)) * weights[:, None]
    return np.asarray(by_warmth @ by_damp)


def mean_rates(sums: Floats, days: ArrayLike, *, activation_energy: float, humidity_exponent: float) -> Floats:
    """Mean relative rates [...] from sums [..., e, n] over ``days`` [...]; nan where no day is covered.

    Raises ValueError, named, for constants outside the nodes.
    """
    covered = np.asarray(days, dtype=np.float64)
    left = _shares("activation_energy", ENERGIES, activation_energy)
    right = _shares("humidity_exponent", EXPONENTS, humidity_exponent)
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(np.maximum(sums, 1e-300) / covered[..., None, None])
    rates = np.exp(np.einsum("...en,e,n->...", np.where(np.isfinite(logs), logs, 0.0), left, right))
    return np.where(covered > 0, rates, np.nan)


def _shares(name: str, nodes: Floats, at: float) -> Floats:
    """Weights of the nodes in the polynomial through them, read at ``at`` (Lagrange, barycentric form)."""
    if not nodes[0] <= at <= nodes[-1]:
        raise ValueError(f"{name} must lie between {nodes[0]:g} and {nodes[-1]:g}")
    apart = at - nodes
    if np.any(apart == 0):
        return (apart == 0).astype(np.float64)
    between = nodes[:, None] - nodes[None, :]
    np.fill_diagonal(between, 1.0)
    terms = 1.0 / (between.prod(axis=1) * apart)
    return np.asarray(terms / terms.sum())


@dataclass(frozen=True)
class Climate:
    """How fast joints age in one place, month by month.

    Attributes
    ----------
    otherwise : relative rate where nothing was logged and nothing can be filled
    months : int [m], months since January 1970 that have readings, increasing
    days : [m], days of each that they speak for
    rates : [m], mean relative rate of each

    Notes
    -----
    Before the first month logged: ``otherwise``. From then on, what is missing of a month, and all that is still to
    come, is filled by the mean of the same calendar month in the years logged, or by ``otherwise`` where fewer than ten
    days of it ever were.
    """

    otherwise: float
    months: Whole = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    days: Floats = field(default_factory=lambda: np.zeros(0))
    rates: Floats = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        if not (np.isfinite(self.otherwise) and self.otherwise >= 0):
            raise ValueError("otherwise must be finite and not negative")
        if not self.months.shape == self.days.shape == self.rates.shape or np.any(np.diff(self.months) <= 0):
            raise ValueError("months, days and rates must be of one length, months increasing")

    @cached_property
    def by_calendar_month(self) -> Floats:
        """Mean rate [12] of each calendar month over the years logged; nan where too little of it was."""
        means = np.full(12, np.nan)
        for month in range(12):
            here = (self.months % 12 == month) & (self.days > 0)
            if self.days[here].sum() >= _ENOUGH:
                means[month] = np.average(self.rates[here], weights=self.days[here])
        return means

    @cached_property
    def _ages(self) -> tuple[Floats, Floats]:
        """Days since 1970 at which months begin, and equivalent years up to then."""
        edges = _EDGES.astype("datetime64[D]").astype(np.float64)
        lengths, numbers = np.diff(edges), _EDGES[:-1].astype(np.int64)
        rates = np.full(numbers.size, self.otherwise)
        if self.months.size:
            after = numbers >= self.months[0]
            usual = self.by_calendar_month[numbers % 12]
            rates = np.where(after & np.isfinite(usual), usual, rates)
            at = self.months - numbers[0]
            share = np.clip(self.days / lengths[at], 0.0, 1.0)
            rates[at] = np.where(share > 0, share * self.rates + (1.0 - share) * rates[at], rates[at])
        return edges, np.concatenate([[0.0], np.cumsum(rates * lengths)]) / YEAR

    def years(self, start: ArrayLike, end: ArrayLike) -> Floats:
        """Equivalent years from ``start`` to ``end``, both in days since 1970, nan where not known; none backwards."""
        edges, ages = self._ages
        begin, stop = np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64)
        return np.maximum(np.interp(stop, edges, ages) - np.interp(begin, edges, ages), 0.0)

    @property
    def rate_ahead(self) -> float:
        """Equivalent years per calendar year, once nothing more is logged."""
        if not self.months.size:
            return self.otherwise
        lengths = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
        usual = np.where(np.isfinite(self.by_calendar_month), self.by_calendar_month, self.otherwise)
        return float(np.average(usual, weights=lengths))


def days_since_1970(day: ArrayLike) -> Floats:
    """Days [..] since 1970 began of dates; nan for none."""
    days = np.asarray(day, dtype="datetime64[D]")
    return np.where(np.isnat(days), np.nan, days.astype(np.float64))
