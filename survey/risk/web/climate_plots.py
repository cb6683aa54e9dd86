"""The drawing of a place's years: equivalent years of each, with their range. In per cent of the plot's box."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from media.base.drawing import Scale, Tick, nice_ticks
from survey.risk.db.selectors.place_climate import YearLine

HARDLY = 0.5  # share of a year that must be logged for its bar to be solid


@dataclass(frozen=True)
class YearBar:
    """One year: its bar up to the usual value, and the line from the low to the high one."""

    x: float
    width: float
    y: float
    height: float
    centre: float
    low: float
    high: float
    hardly: bool
    tick: Tick


@dataclass(frozen=True)
class YearBars:
    """Years across, equivalent years up; ``one`` is where a year counts as one."""

    bars: tuple[YearBar, ...]
    up: tuple[Tick, ...]
    one: float


def year_bars(years: Sequence[YearLine]) -> YearBars | None:
    """Bars of some years in order; None for none."""
    if not years:
        return None
    marks = nice_ticks(0.0, max(1.0, *(year.high for year in years)), most=4)
    y = Scale(marks[0], marks[-1], 100, 0)
    slot, step = 100 / len(years), max(1, len(years) // 12)
    bars = []
    for place, year in enumerate(years):
        top, centre = y.at(year.usual), round(slot * (place + 0.5), 2)
        label = str(year.year) if place % step == 0 else ""
        bars.append(
            YearBar(
                round(slot * (place + 0.18), 2), round(slot * 0.64, 2), top, round(100 - top, 2), centre,
                y.at(year.low), y.at(year.high), year.covered < HARDLY, Tick(centre, label, place // step % 2 == 1),
            )
        )  # fmt: skip
    return YearBars(tuple(bars), tuple(Tick(y.at(mark), f"{mark:g}") for mark in marks), y.at(1.0))
