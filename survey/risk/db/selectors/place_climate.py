"""One place's climate as its page shows it: years logged, gaps, equivalent years with their range, sensitivity."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from uuid import UUID

import numpy as np
from django.db.models import Q

from media.base.pages import Page, keyset
from survey.register.db.models import Place
from survey.register.db.selectors.places import ABOVE_SHELVES
from survey.risk.ageing import SITE_CLIMATES, SiteClimate
from survey.risk.climate import Climate
from survey.risk.db.models import LoggedMonth, LoggerFile, LoggerFileState
from survey.risk.db.selectors.climate import Constants, Source, Sums, sources_of, sums_at
from survey.risk.parameters import Parameters

ENOUGH = 0.5  # share of a month that must be logged for it not to be called a gap
Spread = tuple[float, float, float]


@dataclass(frozen=True)
class YearLine:
    """One calendar year: the share of it that was logged, and its equivalent years, low, usual, high."""

    year: int
    covered: float
    low: float
    usual: float
    high: float


@dataclass(frozen=True)
class PlaceClimate:
    """Everything about one place. ``ahead`` is equivalent years per calendar year from now on: low, usual, high.

    ``sensitivity`` has a row for each activation energy: that, and each exponent of humidity with the rate."""

    place: Place
    logged_at: Place | None
    class_of: Place | None
    site: SiteClimate
    by_default: bool
    ahead: Spread
    class_rate: float
    years: list[YearLine]
    gaps: list[tuple[date, date]]
    covered: float
    first: date | None
    last: date | None
    exponents: Sequence[float]
    sensitivity: list[tuple[float, list[tuple[float, float]]]]
    files: list[LoggerFile]


def place_climate(place: Place, parameters: Parameters) -> PlaceClimate:
    """The climate of one place, under all ends of the constants. A fixed number of queries."""
    source = sources_of([place.pk])[place.pk]
    sums = sums_at([source.logged_at] if source.logged_at else []).get(source.logged_at) if source.logged_at else None
    site = SITE_CLIMATES[source.code or parameters.default_climate]
    climates = {each: _climate(site, sums, each) for each in _grid(parameters)}
    named = Place.objects.in_bulk([pk for pk in (source.logged_at, source.class_of) if pk])
    usual = Constants.usual(parameters)
    return PlaceClimate(
        place=place,
        logged_at=named.get(source.logged_at) if source.logged_at else None,
        class_of=named.get(source.class_of) if source.class_of else None,
        site=site,
        by_default=not source.code,
        ahead=_spread([each.rate_ahead for each in climates.values()], climates[usual].rate_ahead),
        class_rate=site.rate(
            activation_energy=usual.activation_energy, humidity_exponent=usual.humidity_exponent
        ),
        years=_years(climates, usual, sums),
        gaps=_gaps(sums),
        covered=_covered(sums),
        first=_first_day(int(sums.months[0])) if sums else None,
        last=_first_day(int(sums.months[-1])) if sums else None,
        exponents=sorted({each.humidity_exponent for each in climates}),
        sensitivity=_sensitivity(climates),
        files=_files(source),
    )  # fmt: skip


def _grid(parameters: Parameters) -> list[Constants]:
    """All pairs of low, usual and high constants, each once."""
    energy, exponent = parameters.activation_energy, parameters.humidity_exponent
    energies = dict.fromkeys((energy.low, energy.usual, energy.high))
    exponents = dict.fromkeys((exponent.low, exponent.usual, exponent.high))
    return [Constants(e, n) for e in energies for n in exponents]


def _climate(site: SiteClimate, sums: Sums | None, each: Constants) -> Climate:
    rate = site.rate(activation_energy=each.activation_energy, humidity_exponent=each.humidity_exponent)
    return sums.climate(each, rate) if sums else Climate(rate)


def _spread(values: Sequence[float], usual: float) -> Spread:
    return min(values), usual, max(values)


def _years(climates: dict[Constants, Climate], usual: Constants, sums: Sums | None) -> list[YearLine]:
    """Each calendar year from the first to the last that was logged."""
    if sums is None:
        return []
    lines = []
    for year in range(1970 + int(sums.months[0]) // 12, 1970 + int(sums.months[-1]) // 12 + 1):
        start, end = (float(np.datetime64(f"{at}-01-01").astype(np.int64)) for at in (year, year + 1))
        here = sums.months // 12 == year - 1970
        rates = {each: float(climate.years(start, end)) for each, climate in climates.items()}
        covered = min(1.0, float(sums.days[here].sum()) / (end - start))
        lines.append(YearLine(year, covered, *_spread(list(rates.values()), rates[usual])))
    return lines


def _first_day(month: int) -> date:
    return date(1970 + month // 12, month % 12 + 1, 1)


def _gaps(sums: Sums | None) -> list[tuple[date, date]]:
    """Stretches of months between the first and the last that were hardly logged, as their first and last month."""
    if sums is None:
        return []
    logged = {int(month) for month, days in zip(sums.months, sums.days, strict=True) if days / 30.4 >= ENOUGH}
    held = sorted(logged | {int(sums.months[0]), int(sums.months[-1])})
    return [(_first_day(a + 1), _first_day(b - 1)) for a, b in pairwise(held) if b - a > 1]


def _covered(sums: Sums | None) -> float:
    """Share of the time from the first to the last month that was logged."""
    if sums is None:
        return 0.0
    span = (int(sums.months[-1]) - int(sums.months[0]) + 1) * 30.4375
    return min(1.0, float(sums.days.sum()) / span)


def _sensitivity(climates: dict[Constants, Climate]) -> list[tuple[float, list[tuple[float, float]]]]:
    energies = sorted({each.activation_energy for each in climates})
    exponents = sorted({each.humidity_exponent for each in climates})
    return [(e / 1000, [(n, climates[Constants(e, n)].rate_ahead) for n in exponents]) for e in energies]


def _files(source: Source) -> list[LoggerFile]:
    """The files that count for a place, the latest first."""
    if source.logged_at is None:
        return []
    pks = LoggedMonth.objects.filter(place=source.logged_at).values("file").distinct()
    return list(LoggerFile.objects.filter(pk__in=pks, state=LoggerFileState.COUNTED).order_by("-received_at")[:50])


@dataclass(frozen=True)
class PlaceLine:
    """A place in the list: its class or where that comes from, what was logged, equivalent years per year from now."""

    place: Place
    depth: int
    site: SiteClimate
    own_class: bool
    by_default: bool
    own_readings: bool
    logged: bool
    first: date | None
    last: date | None
    ahead: float

    @property
    def depths(self) -> range:
        return range(self.depth)


def places_page(parameters: Parameters, *, after: str | None, size: int = 100) -> Page[PlaceLine]:
    """Rooms and larger places, and smaller ones that have a climate of their own, in walking order. Five queries."""
    own = LoggedMonth.objects.filter(file__state=LoggerFileState.COUNTED).order_by().values("place").distinct()
    shown = Place.objects.filter(Q(kind__in=ABOVE_SHELVES[:3]) | ~Q(climate="") | Q(pk__in=own))
    page = keyset(shown, order=["path"], after=after, size=size)
    sources = sources_of([place.pk for place in page.rows])
    logged: dict[UUID, Sums] = sums_at({source.logged_at for source in sources.values() if source.logged_at})
    usual = Constants.usual(parameters)
    return Page([_line(place, sources[place.pk], logged, parameters, usual) for place in page.rows], page.next)


def _line(
    place: Place, source: Source, logged: dict[UUID, Sums], parameters: Parameters, usual: Constants
) -> PlaceLine:
    sums = logged[source.logged_at] if source.logged_at else None
    site = SITE_CLIMATES[source.code or parameters.default_climate]
    return PlaceLine(
        place=place,
        depth=place.path.count(".") - 1,
        site=site,
        own_class=source.class_of == place.pk,
        by_default=not source.code,
        own_readings=source.logged_at == place.pk,
        logged=sums is not None,
        first=_first_day(int(sums.months[0])) if sums else None,
        last=_first_day(int(sums.months[-1])) if sums else None,
        ahead=_climate(site, sums, usual).rate_ahead,
    )
