"""From arrays back to a plan in names, with a reason for every object that is left out."""

from __future__ import annotations

from typing import Any

import numpy as np

from treatments.planning.bound import Bound
from treatments.planning.problem import Problem
from treatments.planning.timetable import Timetable, empty_timetable, insert_level, remove_object

REASONS = {
    "no_level": "has no level of treatment",
    "no_skill": "no one has the skill",
    "no_resource": "there is no fume hood or photography bench for a step",
    "no_shift": "those who have the skill have no shifts",
    "too_long": "a step is longer than any shift of those who can do it",
    "date_past": "its date is past",
    "no_time": "does not fit before its date, even with nobody else's work in the way",
    "no_room": "does not fit beside what is worth more",
}


def as_plan(problem: Problem, table: Timetable) -> dict[str, Any]:
    """The plan in names: levels by index within their object, steps in order of time."""
    levels: dict[str, int] = {}
    steps: list[tuple[int, str, str, str]] = []
    for i, name in enumerate(problem.object_ids):
        level = int(table.level[i])
        if level < 0:
            continue
        levels[name] = level - int(problem.work.level_ptr[i])
        for s in problem.steps_of(level):
            steps.append((int(table.when[s]), name, problem.step_ids[s], problem.staff_ids[table.who[s]]))
    steps.sort(key=lambda step: step[0])
    return {
        "levels": levels,
        "steps": [[name, step, person, start] for start, name, step, person in steps],
        "left_out": left_out(problem, table),
    }


def left_out(problem: Problem, table: Timetable) -> list[dict[str, str]]:
    """Each object without a level, and why."""
    alone = empty_timetable(problem)
    found = []
    for i in np.flatnonzero(table.level < 0):
        code = reason_code(problem, alone, int(i))
        found.append({"object": problem.object_ids[i], "code": code, "reason": REASONS[code]})
    return found


def reason_code(problem: Problem, alone: Timetable, i: int) -> str:
    """Why object ``i`` has no level; of several levels, the reason that comes closest to fitting."""
    if not problem.levels_of(i):
        return "no_level"
    order = list(REASONS)
    return max((_level_reason(problem, alone, i, level) for level in problem.levels_of(i)), key=order.index)


def _level_reason(problem: Problem, alone: Timetable, i: int, level: int) -> str:
    work, staffing = problem.work, problem.staffing
    longest_shift = np.zeros(len(staffing.shift_ptr) - 1, np.int64)
    for p in range(len(longest_shift)):
        own = slice(staffing.shift_ptr[p], staffing.shift_ptr[p + 1])
        longest_shift[p] = np.max(staffing.shift_end[own] - staffing.shift_start[own], initial=0)
    for s in problem.steps_of(level):
        able = staffing.able[staffing.skill_ptr[work.skill[s]] : staffing.skill_ptr[work.skill[s] + 1]]
        if not able.size:
            return "no_skill"
        if work.resource[s] >= 0 and staffing.capacity[work.resource[s]] == 0:
            return "no_resource"
        if longest_shift[able].max() == 0:
            return "no_shift"
        if work.q[s] > longest_shift[able].max():
            return "too_long"
    if problem.dates[i, 2] <= 0:
        return "date_past"
    if insert_level(work, staffing, alone, level, i, 0):
        remove_object(work, staffing, alone, i)
        return "no_room"
    return "no_time"


def with_bound(problem: Problem, table: Timetable, bound: Bound) -> dict[str, Any]:
    """A plan in names, with its benefit, the bound that applies to it, and its share of that."""
    benefit = float(problem.work.benefit[table.level[table.level >= 0]].sum())
    complete = not np.any((problem.work.mandatory > 0) & (table.level < 0))
    limit = bound.value if complete else bound.without
    return as_plan(problem, table) | {
        "benefit": benefit,
        "bound": limit,
        "share": benefit / limit if limit > 0 else 1.0,
    }
