"""Which level for each object, if only the hours in all were short: exact, with the whole curve of benefit over hours.

In a real plan the mix of skills and the dates bind too; this is for the first look, and the plan for the last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from treatments.planning.reading import whole

MOST_CELLS = 1_000_000_000  # bytes of the table of choices


@dataclass(frozen=True)
class LevelChoice:
    """The best choice within a budget.

    ``levels`` holds a level or nothing per object; ``curve[b]`` is the best benefit with at most ``b`` quarter-hours,
    nan where the mandatory objects alone need more. ``feasible`` tells whether they fit the budget; if not, nothing is
    chosen.
    """

    levels: tuple[int | None, ...]
    benefit: float
    quarters: int
    curve: NDArray[np.float64]
    feasible: bool


def choose_levels(
    quarters: Sequence[Sequence[int]],
    benefits: Sequence[Sequence[float]],
    budget: int,
    *,
    mandatory: Sequence[bool] | None = None,
) -> LevelChoice:
    """At most one level per object, exactly one if mandatory, the greatest sum of benefits within the budget.

    Parameters
    ----------
    quarters, benefits : per object, per level: working time in quarter-hours (>= 0), and benefit (>= 0, any unit)
    budget : quarter-hours in all, >= 0
    mandatory : per object

    Raises
    ------
    ValueError
        Lists of different lengths, a negative or fractional number of quarters, a table too large to hold.

    Notes
    -----
    Multiple-choice knapsack by dynamic programming over whole quarter-hours: time and memory grow with objects times
    budget. Source: Kellerer, Pferschy and Pisinger 2004, Knapsack Problems, chapter 11 (from memory).
    """
    if len(quarters) != len(benefits) or any(len(q) != len(b) for q, b in zip(quarters, benefits, strict=True)):
        raise ValueError("benefits must have the shape of quarters")
    must = [False] * len(quarters) if mandatory is None else [bool(m) for m in mandatory]
    if len(must) != len(quarters):
        raise ValueError("mandatory must have one entry per object")
    need = [[whole(q, "quarters", low=0, high=10**9) for q in levels] for levels in quarters]
    if not all(0 <= float(b) < float("inf") for levels in benefits for b in levels):
        raise ValueError("benefits must not be negative, and must be finite")
    room = min(whole(budget, "budget", low=0, high=10**12), sum(max(levels, default=0) for levels in need))
    if (room + 1) * max(len(need), 1) > MOST_CELLS:
        raise ValueError("budget times objects is too large to be worked out exactly")
    curve, choices = _table(need, benefits, must, room)
    if not np.isfinite(curve[-1]):
        return LevelChoice((None,) * len(need), 0.0, 0, np.full(room + 1, np.nan), False)
    levels = _trace(need, choices, int(np.argmax(curve)))
    spent = sum(need[i][level] for i, level in enumerate(levels) if level is not None)
    return LevelChoice(tuple(levels), float(curve[-1]), spent, np.where(np.isfinite(curve), curve, np.nan), True)


def _table(
    need: list[list[int]], benefits: Sequence[Sequence[float]], must: list[bool], room: int
) -> tuple[NDArray[np.float64], NDArray[np.int16]]:
    """Best benefit for each budget after all objects; the level taken by each object (-1: none) for each budget."""
    best = np.zeros(room + 1)
    choices = np.full((len(need), room + 1), -1, np.int16)
    for i, levels in enumerate(need):
        before = best
        best = np.full(room + 1, -np.inf) if must[i] else before.copy()
        for level, cost in enumerate(levels):
            if cost > room:
                continue
            offer = before[: room + 1 - cost] + float(benefits[i][level])
            better = offer > best[cost:]
            choices[i, cost:][better] = level
            np.maximum(best[cost:], offer, out=best[cost:])
    return best, choices


def _trace(need: list[list[int]], choices: NDArray[np.int16], room: int) -> list[int | None]:
    """Walk back through the table from the smallest budget that reaches the optimum."""
    levels: list[int | None] = []
    for i in reversed(range(len(need))):
        level = int(choices[i, room])
        levels.append(None if level < 0 else level)
        room -= 0 if level < 0 else need[i][level]
    return levels[::-1]
