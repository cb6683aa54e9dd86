"""The first schedule, in a few milliseconds: mandatory objects, then benefit per hour, then better levels."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from media.compiled import compiled, compiled_allocating
from treatments.planning.outcome import as_plan
from treatments.planning.problem import Problem, Work, read_instance
from treatments.planning.staffing import Staffing
from treatments.planning.timetable import Timetable, book, empty_timetable, insert_level, remove_object

Ints = NDArray[np.int64]


def greedy_plan(instance: Mapping[str, Any]) -> dict[str, Any]:
    """A valid plan by rule of thumb, good enough to start from.

    Returns
    -------
    dict
        "levels": {object id: level index}, "steps": [[object id, step id, staff id, start in quarter-hours], ...],
        "left_out": [{"object", "code", "reason"}, ...] for every object that got no level.

    Raises
    ------
    ValueError
        An instance that contradicts itself; the argument is named.
    """
    problem = read_instance(instance)
    return as_plan(problem, greedy_timetable(problem))


def greedy_timetable(problem: Problem) -> Timetable:
    """The same as a timetable, for those who go on from it."""
    work, staffing = problem.work, problem.staffing
    hours = level_hours(work)
    first, climb = mandatory_order(problem, hours), ladder(work, hours)
    table = empty_timetable(problem)
    insert_in_order(work, staffing, table, first)
    improve_in_order(work, staffing, table, climb)
    return table


def level_hours(work: Work) -> Ints:
    """Working time of each level, quarter-hours."""
    total = np.concatenate(([0], np.cumsum(work.q)))
    return total[work.step_ptr[1:]] - total[work.step_ptr[:-1]]


def mandatory_order(problem: Problem, hours: Ints) -> Ints:
    """Levels of the mandatory objects: the object that must be ready first, its shortest level first."""
    owner = problem.work.owner
    own = np.flatnonzero(problem.work.mandatory[owner])
    return own[np.lexsort((hours[own], owner[own], problem.dates[owner[own], 2]))].astype(np.int64)


def ladder(work: Work, hours: Ints) -> Ints:
    """Levels in order of benefit gained per hour added, over the efficient levels of each object.

    An object's efficient levels are the upper convex hull of its benefits over hours, beginning at nothing for nothing.
    """
    rungs: list[tuple[float, int]] = []
    for i in range(len(work.release)):
        levels = sorted(range(int(work.level_ptr[i]), int(work.level_ptr[i + 1])), key=lambda n: (hours[n], n))
        at, worth = 0, 0
        while True:
            better = [
                (float(work.benefit[n] - worth) / max(float(hours[n] - at), 0.25), n)
                for n in levels
                if work.benefit[n] > worth and hours[n] >= at
            ]
            if not better:
                break
            slope, best = max(better)
            rungs.append((slope, best))
            at, worth = int(hours[best]), int(work.benefit[best])
    return np.array([n for _, n in sorted(rungs, key=lambda rung: (-rung[0], rung[1]))], np.int64)


@compiled
def insert_in_order(work: Work, staffing: Staffing, table: Timetable, order: np.ndarray) -> None:
    """Plan each level of the list whose object has none yet, where it fits."""
    for level in order:
        i = work.owner[level]
        if table.level[i] < 0:
            insert_level(work, staffing, table, level, i, 0)


@compiled_allocating
def improve_in_order(work: Work, staffing: Staffing, table: Timetable, order: np.ndarray) -> None:
    """Give each object a level of the list that is better than what it has, where that fits; else change nothing."""
    for level in order:
        i = work.owner[level]
        old = table.level[i]
        if old >= 0 and work.benefit[level] <= work.benefit[old]:
            continue
        first, last = (work.step_ptr[old], work.step_ptr[old + 1]) if old >= 0 else (0, 0)
        who, when = table.who[first:last].copy(), table.when[first:last].copy()
        remove_object(work, staffing, table, i)
        if not insert_level(work, staffing, table, level, i, 0) and old >= 0:
            for n in range(len(who)):
                book(work, staffing, table, first + n, who[n], when[n])
            table.level[i] = old
