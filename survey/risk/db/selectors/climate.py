"""How fast joints age in each place: from what loggers wrote, else from the class of climate that the place has."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.register.db.models import Place
from survey.risk.ageing import SITE_CLIMATES
from survey.risk.climate import ENERGIES, EXPONENTS, Climate, days_since_1970, mean_rates
from survey.risk.db.models import LoggedMonth, LoggerFileState
from survey.risk.parameters import Parameters

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
SHAPE = (ENERGIES.size, EXPONENTS.size)
STORED = np.dtype("<f8")


@dataclass(frozen=True)
class Constants:
    """The two constants of the law of ageing."""

    activation_energy: float
    humidity_exponent: float

    @classmethod
    def usual(cls, parameters: Parameters) -> Constants:
        return cls(parameters.activation_energy.usual, parameters.humidity_exponent.usual)


@dataclass(frozen=True)
class Source:
    """Where a place's climate comes from: the nearest place, itself or above, that has readings; the nearest class."""

    logged_at: UUID | None
    code: str
    class_of: UUID | None


@dataclass(frozen=True)
class Sums:
    """What was logged in one place, all files together: ``months`` [m] since January 1970, ``days`` [m], ``sums``."""

    months: Whole
    days: Floats
    sums: Floats

    def climate(self, constants: Constants, otherwise: float) -> Climate:
        energy, exponent = constants.activation_energy, constants.humidity_exponent
        rates = mean_rates(self.sums, self.days, activation_energy=energy, humidity_exponent=exponent)
        return Climate(otherwise, self.months, self.days, np.nan_to_num(rates))


@dataclass(frozen=True)
class Kept:
    """Climates of places: that of the place ``j`` is ``climates[which[j]]``."""

    climates: list[Climate]
    which: Whole

    def years(self, start: ArrayLike, end: ArrayLike) -> Floats:
        """Equivalent years [j, ...] from ``start`` to ``end``, dates that broadcast together; nan for no date."""
        begin, stop = np.broadcast_arrays(days_since_1970(start), days_since_1970(end))
        found = np.full(begin.shape, np.nan)
        for number, climate in enumerate(self.climates):
            here = self.which == number
            found[here] = climate.years(begin[here], stop[here])
        return found

    def rates(self, spans: NDArray[np.datetime64]) -> Floats:
        """Equivalent years per calendar year [j, s] over ``spans`` [j, s, 2]; of a span of no length, of its day."""
        start, end = (np.asarray(spans[..., side], dtype="datetime64[D]") for side in (0, 1))
        end = np.maximum(end, start + np.timedelta64(1, "D"))
        calendar = (end - start).astype(np.float64) / 365.25
        return self.years(start, end) / calendar


def rates_of(places: Sequence[UUID | None], spans: NDArray[np.datetime64], parameters: Parameters) -> Floats:
    """Equivalent years per calendar year [j, s] in places [j] over spans of days [j, s, 2]. Three queries."""
    return kept_at(places, parameters).rates(spans)


def kept_at(places: Sequence[UUID | None], parameters: Parameters, constants: Constants | None = None) -> Kept:
    """The climates of some places, None for an object that has none, under the usual or other constants. Three
    queries, however many readings."""
    chosen = constants or Constants.usual(parameters)
    sources = sources_of(set(places) - {None})
    logged = sums_at({source.logged_at for source in sources.values() if source.logged_at})
    number: dict[tuple[UUID | None, str], int] = {}
    climates: list[Climate] = []
    which = np.empty(len(places), dtype=np.int64)
    nowhere = Source(None, "", None)
    for row, place in enumerate(places):
        source = sources.get(place, nowhere) if place else nowhere
        key = source.logged_at, source.code or parameters.default_climate
        if key not in number:
            number[key] = len(climates)
            climates.append(_climate(key, logged, chosen))
        which[row] = number[key]
    return Kept(climates, which)


def _climate(key: tuple[UUID | None, str], logged: Mapping[UUID, Sums], constants: Constants) -> Climate:
    place, code = key
    otherwise = SITE_CLIMATES[code].rate(
        activation_energy=constants.activation_energy, humidity_exponent=constants.humidity_exponent
    )
    return logged[place].climate(constants, otherwise) if place else Climate(otherwise)


def sources_of(places: Collection[UUID | None] | None = None) -> dict[UUID, Source]:
    """Where the climate of each place comes from; of all places for None. Two queries."""
    counted = LoggedMonth.objects.filter(file__state=LoggerFileState.COUNTED).order_by()
    read = set(counted.values_list("place_id", flat=True).distinct())
    found: dict[UUID, Source] = {}
    above = Source(None, "", None)
    for pk, parent, code in Place.objects.order_by("path").values_list("id", "parent_id", "climate"):
        over = found.get(parent, above) if parent else above
        known = code in SITE_CLIMATES
        found[pk] = Source(
            logged_at=pk if pk in read else over.logged_at,
            code=code if known else over.code,
            class_of=pk if known else over.class_of,
        )
    return found if places is None else {pk: found[pk] for pk in places if pk in found}


def sums_at(places: Iterable[UUID]) -> dict[UUID, Sums]:
    """What was logged in each of some places, files that overlap taken together. One query."""
    wanted = set(places)
    if not wanted:
        return {}
    rows = LoggedMonth.objects.filter(place__in=wanted, file__state=LoggerFileState.COUNTED).order_by("month")
    held: dict[UUID, dict[date, tuple[float, Floats]]] = defaultdict(dict)
    for place, month, days, stored in rows.values_list("place_id", "month", "days", "sums").iterator(chunk_size=2_000):
        sums = sums_from(stored)
        before = held[place].get(month, (0.0, np.zeros(SHAPE)))
        held[place][month] = before[0] + days, before[1] + sums
    return {place: _together(months) for place, months in held.items()}


def sums_from(stored: bytes | memoryview) -> Floats:
    """Sums [e, n] from how a month keeps them."""
    return np.frombuffer(bytes(stored), dtype=STORED).reshape(SHAPE)


def _together(months: Mapping[date, tuple[float, Floats]]) -> Sums:
    order = sorted(months)
    numbers = np.array([(month.year - 1970) * 12 + month.month - 1 for month in order], dtype=np.int64)
    return Sums(numbers, np.array([months[m][0] for m in order]), np.array([months[m][1] for m in order]))
