"""What another hour is worth: the greatest benefit for every number of hours, if only the hours in all were short."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from treatments.planning.knapsack import choose_levels

QUARTERS = 4
POINTS = 120


@dataclass(frozen=True)
class Point:
    """Hours at the bench, and the share of all benefit that there is to be had."""

    hours: float
    share: float


@dataclass(frozen=True)
class Worth:
    """The curve from the least hours that the mandatory objects need to all that could be spent.

    ``at_budget`` is nothing where not even the mandatory objects fit it; ``now`` are the levels that count at present;
    ``changes`` are objects to the level that the best choice within the budget gives them and that differs (None:
    nothing is done).
    """

    curve: tuple[Point, ...]
    budget: float
    least: float
    most: float
    at_budget: Point | None
    now: Point
    changes: Mapping[str, tuple[str, str | None]]

    @property
    def gained(self) -> float:
        """Share of all benefit by which the best choice within the budget beats the levels that count now."""
        return self.at_budget.share - self.now.share if self.at_budget else 0.0

    def after(self, hours: float) -> float | None:
        """Share at so many hours; nothing below what the mandatory objects need."""
        found = [point.share for point in self.curve if point.hours <= hours + 1e-9]
        return found[-1] if found else None


def worth_of_hours(objects: Sequence[Mapping[str, Any]], budget: float, current: Mapping[str, str]) -> Worth | None:
    """The exact curve of benefit over hours, by `choose_levels`.

    Parameters
    ----------
    objects : of an instance: each with ``id``, ``mandatory`` and ``levels`` of ``name``, ``benefit``, ``steps``
    budget : hours that there are, >= 0
    current : object id to the name of the level that counts now

    Returns
    -------
    Worth, or nothing where no object offers any level

    Raises
    ------
    ValueError
        A negative budget, or more objects and hours than can be worked out exactly.
    """
    if not budget >= 0:
        raise ValueError("budget must not be negative")
    offered = [thing for thing in objects if thing["levels"]]
    if not offered:
        return None
    quarters = [[sum(step["q"] for step in level["steps"]) for level in thing["levels"]] for thing in offered]
    benefits = [[float(level["benefit"]) for level in thing["levels"]] for thing in offered]
    must = [bool(thing["mandatory"]) for thing in offered]
    total = sum(max(own) for own in quarters)
    whole = choose_levels(quarters, benefits, total, mandatory=must)
    room = int(min(budget * QUARTERS, total))
    best = choose_levels(quarters, benefits, room, mandatory=must)
    spent = np.flatnonzero(np.isfinite(whole.curve))
    greatest = float(whole.curve[-1]) or 1.0
    shown = np.unique(np.linspace(spent[0], total, POINTS).astype(int))
    return Worth(
        curve=tuple(Point(q / QUARTERS, float(whole.curve[q]) / greatest) for q in shown),
        budget=budget,
        least=spent[0] / QUARTERS,
        most=total / QUARTERS,
        at_budget=Point(best.quarters / QUARTERS, best.benefit / greatest) if best.feasible else None,
        now=_now(offered, quarters, greatest, current),
        changes=_changes(offered, best.levels, current) if best.feasible else {},
    )


def _now(
    offered: Sequence[Mapping[str, Any]], quarters: list[list[int]], greatest: float, current: Mapping[str, str]
) -> Point:
    hours = benefit = 0.0
    for thing, own in zip(offered, quarters, strict=True):
        for level, needed in zip(thing["levels"], own, strict=True):
            if level["name"] == current.get(thing["id"]):
                hours, benefit = hours + needed / QUARTERS, benefit + level["benefit"]
    return Point(hours, benefit / greatest)


def _changes(
    offered: Sequence[Mapping[str, Any]], levels: Sequence[int | None], current: Mapping[str, str]
) -> dict[str, tuple[str, str | None]]:
    found = {}
    for thing, level in zip(offered, levels, strict=True):
        name = None if level is None else str(thing["levels"][level]["name"])
        if name != current.get(thing["id"]):
            found[str(thing["id"])] = (current.get(thing["id"], ""), name)
    return found
