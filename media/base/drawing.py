"""Where the lines of a drawing fall. Pure geometry: everything comes out in per cent of the plot's own box.

The box is 100 by 100 with the origin at its upper edge, as SVG has it. Shapes stretch with the page; words are placed
by per cent and keep their size. Nothing here knows Django, the clock or the database.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

Value = float | date
_FEW_TICKS = 6
_DAYS_OF_MONTHS = 75


@dataclass(frozen=True)
class Tick:
    """A labelled place on an axis; ``minor`` ones give way where there is little room."""

    at: float
    label: str
    minor: bool = False

    @property
    def anchor(self) -> str:
        """How the label hangs on its place so that it stays inside the box."""
        return "start" if self.at < 7 else "end" if self.at > 93 else "middle"


@dataclass(frozen=True)
class Scale:
    """A straight map of values onto the box, ``low`` at ``start`` and ``high`` at ``end``, both in per cent."""

    low: float
    high: float
    start: float = 0.0
    end: float = 100.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high)) or self.low >= self.high:
            raise ValueError("low must be below high and both finite")

    def at(self, value: Value) -> float:
        """Place of ``value`` in per cent, held inside the box."""
        share = (_number(value) - self.low) / (self.high - self.low)
        return round(self.start + (self.end - self.start) * min(1.0, max(0.0, share)), 2)


@dataclass(frozen=True)
class Interval:
    """A value with its interval on a line from 0 to 1; places in per cent."""

    low: float
    middle: float
    high: float
    ticks: tuple[Tick, ...]


@dataclass(frozen=True)
class Fan:
    """A forecast: the band between its outer quantiles, its middle, earlier forecasts, what came, the opening line."""

    band: str
    middle: str
    past: tuple[str, ...]
    actual: str
    opening: Tick | None
    target: Tick | None
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


@dataclass(frozen=True)
class Bar:
    """One week's bar: hours needed within the hours there are, and what is over; all in per cent."""

    x: float
    width: float
    needed_y: float
    needed_height: float
    over_y: float
    over_height: float
    there_y: float
    there_height: float
    tick: Tick


@dataclass(frozen=True)
class Bars:
    """Weeks across, hours up."""

    bars: tuple[Bar, ...]
    up: tuple[Tick, ...]


@dataclass(frozen=True)
class Readiness:
    """The chance to be ready by each date, as a rising line, with the chance on opening day."""

    line: str
    area: str
    past: tuple[str, ...]
    opening: Tick | None
    opening_y: float | None
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


@dataclass(frozen=True)
class Bin:
    """One bar of a histogram in per cent; ``late`` when it lies after the line drawn."""

    x: float
    width: float
    y: float
    height: float
    late: bool


@dataclass(frozen=True)
class Histogram:
    """Counts by value."""

    bins: tuple[Bin, ...]
    opening: Tick | None
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


def interval(low: float | None, middle: float, high: float | None) -> Interval:
    """A chance and its interval on a line from 0 to 1; without ``low`` and ``high`` only the point.

    Raises ValueError unless 0 <= low <= middle <= high <= 1.
    """
    bottom, top = (middle if low is None else low), (middle if high is None else high)
    if not 0 <= bottom <= middle <= top <= 1:
        raise ValueError("low, middle and high must rise and lie from 0 to 1")
    scale = Scale(0, 1)
    ticks = tuple(Tick(scale.at(part / 4), f"{25 * part} %") for part in range(5))
    return Interval(scale.at(bottom), scale.at(middle), scale.at(top), ticks)


def nice_ticks(low: float, high: float, *, most: int = 5) -> list[float]:
    """Round values, 1, 2 or 5 times a power of ten apart, over ``low`` to ``high``; at most ``most`` + 2 of them."""
    if not low < high:
        raise ValueError("low must be below high")
    if most < 1:
        raise ValueError("most must be at least 1")
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(size * power for size in (1, 2, 5, 10) if size * power >= rough * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(number * step, 10) for number in range(first, last + 1)]


def date_ticks(first: date, last: date, scale: Scale, *, most: int = _FEW_TICKS) -> tuple[Tick, ...]:
    """Mondays of a short span, firsts of months of a long one; every second is minor."""
    if first >= last:
        raise ValueError("first must be before last")
    days = (last - first).days
    if days <= _DAYS_OF_MONTHS:
        monday = first + timedelta(days=(-first.weekday()) % 7)
        marks = [monday + timedelta(weeks=week) for week in range((last - monday).days // 7 + 1)]
        labels = [f"{day.day} {day:%b}" for day in marks]
    else:
        marks = [day for day in _month_starts(first, last) if first <= day <= last]
        labels = [f"{day:%b %Y}" if day.month == 1 else f"{day:%b}" for day in marks]
    step = max(1, math.ceil(len(marks) / most))
    kept = list(zip(marks, labels, strict=True))[::step]
    return tuple(Tick(scale.at(day), label, minor=place % 2 == 1) for place, (day, label) in enumerate(kept))


def fan(
    points: Sequence[Mapping[str, Any]],
    *,
    opening: date | None = None,
    past: Sequence[Sequence[Mapping[str, Any]]] = (),
    target: Value | None = None,
    actual: Sequence[tuple[date, Value]] = (),
) -> Fan:
    """A fan from points with ``date``, ``low``, ``middle``, ``high`` (numbers, or dates of being ready), in order.

    ``past`` holds earlier forecasts with ``date`` and ``middle``; ``target`` is a level to reach; ``actual`` is what
    came, by date, drawn in steps. Raises ValueError for fewer than two points, dates out of order, or quantiles that
    do not rise.
    """
    _check_points(points)
    days = [point["date"] for point in points] + [point["date"] for line in past for point in line]
    days += [day for day, _ in actual] + ([opening] if opening else [])
    x = Scale(min(days).toordinal(), max(days).toordinal(), 0, 100)
    values: list[Value] = [point[name] for point in points for name in ("low", "middle", "high")]
    values += [point["middle"] for line in past for point in line] + ([] if target is None else [target])
    values += [value for _, value in actual]
    y, up = _upright(values)
    lower = [(x.at(point["date"]), y.at(point["low"])) for point in points]
    upper = [(x.at(point["date"]), y.at(point["high"])) for point in points]
    middle = [(x.at(point["date"]), y.at(point["middle"])) for point in points]
    return Fan(
        band=_path(upper + lower[::-1]) + "Z",
        middle=_path(middle),
        past=tuple(_path([(x.at(p["date"]), y.at(p["middle"])) for p in line]) for line in past if len(line) > 1),
        actual=_path(_steps([(x.at(day), y.at(value)) for day, value in actual])) if len(actual) > 1 else "",
        opening=Tick(x.at(opening), _day(opening)) if opening else None,
        target=None if target is None else Tick(y.at(target), _word(target)),
        across=date_ticks(min(days), max(days), x),
        up=up,
    )


def load_bars(weeks: Sequence[Mapping[str, Any]]) -> Bars:
    """Bars from weeks with ``week`` (a date or a word), ``there`` and ``needed`` in hours, none negative."""
    if not weeks:
        raise ValueError("weeks must not be empty")
    if any(week["there"] < 0 or week["needed"] < 0 for week in weeks):
        raise ValueError("there and needed must not be negative")
    y, up = _upright([0.0, *(float(max(week["there"], week["needed"])) for week in weeks)], unit=" h")
    slot = 100 / len(weeks)
    step = max(1, math.ceil(len(weeks) / (2 * _FEW_TICKS)))
    return Bars(tuple(_bar(week, place, slot, y, step) for place, week in enumerate(weeks)), up)


def readiness(
    points: Sequence[tuple[date, float]],
    *,
    opening: date | None = None,
    past: Sequence[Sequence[tuple[date, float]]] = (),
) -> Readiness:
    """The chance to be ready by each date, in order and never falling. Raises ValueError otherwise.

    ``past`` holds what earlier forecasts said of the same dates.
    """
    if len(points) < 2:
        raise ValueError("points must be at least two")
    if any(a[0] >= b[0] or a[1] > b[1] + 1e-9 for a, b in pairwise(points)):
        raise ValueError("points must be in order of date, with a chance that never falls")
    if not all(-1e-9 <= chance <= 1 + 1e-9 for _, chance in points):
        raise ValueError("points must hold chances from 0 to 1")
    days = [day for day, _ in points] + ([opening] if opening else [])
    x, y = Scale(min(days).toordinal(), max(days).toordinal()), Scale(0, 1, 100, 0)
    places = [(x.at(day), y.at(chance)) for day, chance in points]
    steps = _steps(places)
    inside = [[(day, chance) for day, chance in line if min(days) <= day <= max(days)] for line in past]
    at_opening = None
    if opening:
        at_opening = y.at(max((chance for day, chance in points if day <= opening), default=0.0))
    return Readiness(
        line=_path(steps),
        past=tuple(
            _path(_steps([(x.at(day), y.at(chance)) for day, chance in line])) for line in inside if len(line) > 1
        ),
        area=_path([(steps[0][0], 100.0), *steps, (steps[-1][0], 100.0)]) + "Z",
        opening=Tick(x.at(opening), _day(opening)) if opening else None,
        opening_y=at_opening,
        across=date_ticks(min(days), max(days), x),
        up=tuple(Tick(y.at(part / 4), f"{25 * part} %") for part in range(5)),
    )


def histogram(edges: Sequence[Value], counts: Sequence[float], *, opening: Value | None = None) -> Histogram:
    """Bars of ``counts`` between ``edges`` (one more, rising; numbers or dates), with a line at ``opening``."""
    if len(edges) != len(counts) + 1 or not counts:
        raise ValueError("edges must be one more than counts")
    if any(_number(a) >= _number(b) for a, b in pairwise(edges)):
        raise ValueError("edges must rise")
    if min(counts) < 0:
        raise ValueError("counts must not be negative")
    ends = [*edges, *([] if opening is None else [opening])]
    low, high = min(ends, key=_number), max(ends, key=_number)
    x = Scale(_number(low), _number(high))
    y, up = _upright([0.0, float(max(counts))])
    bins = tuple(_bin(a, b, count, x, y, opening) for a, b, count in zip(edges, edges[1:], counts, strict=False))
    if isinstance(low, date) and isinstance(high, date):
        across = date_ticks(low, high, x)
    else:
        inside = [value for value in nice_ticks(_number(low), _number(high)) if x.low <= value <= x.high]
        across = tuple(Tick(x.at(value), f"{value:g}") for value in inside)
    return Histogram(bins, None if opening is None else Tick(x.at(opening), _word(opening)), across, up)


def _bin(left: Value, right: Value, count: float, x: Scale, y: Scale, opening: Value | None) -> Bin:
    start, top = x.at(left), y.at(count)
    late = opening is not None and _number(left) >= _number(opening)
    return Bin(start, round(x.at(right) - start, 2), top, round(100 - top, 2), late)


def _bar(week: Mapping[str, Any], place: int, slot: float, y: Scale, step: int) -> Bar:
    within, over_top, there = y.at(min(week["there"], week["needed"])), y.at(week["needed"]), y.at(week["there"])
    name = week["week"]
    label = f"{name.day} {name:%b}" if isinstance(name, date) else str(name)
    return Bar(
        x=round(slot * (place + 0.12), 2),
        width=round(slot * 0.76, 2),
        needed_y=within,
        needed_height=round(100 - within, 2),
        over_y=over_top,
        over_height=round(max(0.0, within - over_top), 2),
        there_y=there,
        there_height=round(100 - there, 2),
        tick=Tick(round(slot * (place + 0.5), 2), label if place % step == 0 else "", minor=(place // step) % 2 == 1),
    )


def _upright(values: Sequence[Value], *, unit: str = "") -> tuple[Scale, tuple[Tick, ...]]:
    """An upright scale that holds all ``values``: from zero for numbers, from the first to the last for dates."""
    if all(isinstance(value, date) for value in values):
        days = [value for value in values if isinstance(value, date)]
        low, high = min(days), max(days)
        if low == high:
            low, high = low - timedelta(days=7), high + timedelta(days=7)
        scale = Scale(low.toordinal(), high.toordinal(), 96, 4)
        return scale, date_ticks(low, high, scale, most=4)
    numbers = [_number(value) for value in values]
    marks = nice_ticks(min(0.0, *numbers), max(*numbers, 1e-9 if max(numbers) > 0 else 1.0), most=4)
    scale = Scale(marks[0], marks[-1], 100, 0)
    return scale, tuple(Tick(scale.at(mark), f"{mark:g}{unit}") for mark in marks)


def _check_points(points: Sequence[Mapping[str, Any]]) -> None:
    if len(points) < 2:
        raise ValueError("points must be at least two")
    if any(a["date"] >= b["date"] for a, b in pairwise(points)):
        raise ValueError("points must be in order of date")
    if any(not point["low"] <= point["middle"] <= point["high"] for point in points):
        raise ValueError("points must have low <= middle <= high")


def _month_starts(first: date, last: date) -> list[date]:
    months = range(first.year * 12 + first.month - 1, last.year * 12 + last.month)
    return [date(month // 12, month % 12 + 1, 1) for month in months]


def _number(value: Value) -> float:
    return float(value.toordinal()) if isinstance(value, date) else float(value)


def _word(value: Value) -> str:
    return _day(value) if isinstance(value, date) else f"{value:g}"


def _day(value: date) -> str:
    return f"{value.day} {value:%B}"


def _steps(places: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """A line that stays level until the next place."""
    return list(places[:1]) + [corner for a, b in pairwise(places) for corner in ((b[0], a[1]), b)]


def _path(places: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in places)
