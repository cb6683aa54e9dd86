"""Where the lines of this room's own drawings fall; all in per cent of the plot's box."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from media.base.drawing import Scale, Tick, nice_ticks


@dataclass(frozen=True)
class Gains:
    """What looking in this order gains by hours spent, against any other order (a straight line)."""

    line: str
    straight: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


def gains(curve: Sequence[Sequence[float]]) -> Gains | None:
    """The curve of a list of steps: hours and shares, rising. None where there is nothing to draw."""
    if len(curve) < 2 or curve[-1][0] <= 0:
        return None
    x, y = Scale(0, curve[-1][0]), Scale(0, 1, 100, 0)
    hours = [value for value in nice_ticks(0, curve[-1][0], most=6) if value <= curve[-1][0]]
    return Gains(
        line=path([(x.at(spent), y.at(share)) for spent, share in curve]),
        straight=path([(0.0, 100.0), (100.0, 0.0)]),
        across=tuple(Tick(x.at(value), f"{value:g} h", minor=place % 2 == 1) for place, value in enumerate(hours)),
        up=shares_up(),
    )


@dataclass(frozen=True)
class Stay:
    """Mean stay in one stage on a line of years: what was published, what own looks say alone, what both say."""

    stage: int
    published: float
    alone: tuple[float, float, float] | None
    both: tuple[float, float, float]
    y: float


@dataclass(frozen=True)
class Stays:
    rows: tuple[Stay, ...]
    across: tuple[Tick, ...]


def stays(rates: Sequence[Mapping[str, Any]]) -> Stays:
    """Mean stays of a fit, stage under stage; ends beyond the plot are cut off at its edge."""
    most = max(max(line["high"], line["prior"]) for line in rates) * 1.15
    x, step = Scale(0, most), 100 / len(rates)
    rows = tuple(
        Stay(
            stage=line["stage"],
            published=x.at(line["prior"]),
            alone=None if line["alone"][0] is None else _three(x, *line["alone"]),
            both=_three(x, line["stay"], line["low"], line["high"]),
            y=round((place + 0.5) * step, 2),
        )
        for place, line in enumerate(rates)
    )
    years = [value for value in nice_ticks(0, most, most=6) if value <= most]
    return Stays(rows, tuple(Tick(x.at(value), f"{value:g} years", minor=n % 2 == 1) for n, value in enumerate(years)))


def _three(x: Scale, middle: float, low: float, high: float) -> tuple[float, float, float]:
    return x.at(low), x.at(middle), x.at(high)


@dataclass(frozen=True)
class Cell:
    """Looks that saw one stage after another: counted and expected, as areas of circles."""

    before: int
    then: int
    seen: int
    expected: float
    x: float
    y: float
    ring: float
    disc: float


WIDEST = 20.0  # pixels, the radius of the largest circle


def moves(observed: Sequence[Sequence[int]], expected: Sequence[Sequence[float]]) -> tuple[Cell, ...]:
    """Circles for each pair of stages whose area goes with its number of looks."""
    count = len(observed)
    most = max(1.0, *(float(n) for row in observed for n in row), *(n for row in expected for n in row))
    return tuple(
        Cell(
            before, then, observed[before][then], expected[before][then],
            x=round((then + 0.5) * 100 / count, 2), y=round((before + 0.5) * 100 / count, 2),
            ring=round(WIDEST * math.sqrt(observed[before][then] / most), 2),
            disc=round(WIDEST * math.sqrt(max(expected[before][then], 0.0) / most), 2),
        )
        for before in range(count)
        for then in range(count)
    )  # fmt: skip


@dataclass(frozen=True)
class Foretold:
    """One bin of a calibration plot."""

    x: float
    y: float
    low: float
    high: float


def calibration(bins: Sequence[Mapping[str, Any]]) -> tuple[Foretold, ...]:
    """Bins of chances foretold across and shares that came true upward, with intervals."""
    x, y = Scale(0, 1), Scale(0, 1, 100, 0)
    return tuple(Foretold(x.at(b["foretold"]), y.at(b["share"]), y.at(b["low"]), y.at(b["high"])) for b in bins)


def shares_across() -> tuple[Tick, ...]:
    """Quarters of an axis along the foot from 0 to 100 %."""
    return tuple(Tick(tick_at, f"{int(tick_at)} %") for tick_at in (0.0, 25.0, 50.0, 75.0, 100.0))


def shares_up() -> tuple[Tick, ...]:
    """Quarters of an upright axis from 0 to 100 %."""
    y = Scale(0, 1, 100, 0)
    return tuple(Tick(y.at(part / 4), f"{25 * part} %") for part in range(5))


def path(places: Sequence[tuple[float, float]]) -> str:
    """An SVG path through some places."""
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in places)
