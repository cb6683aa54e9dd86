"""A plan as lists of work: for each person, planned steps in order of priority."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from treatments.forecast.dispatch import CLOSE_LATE, MOUNT_LATE, PHOTO_LATE
from treatments.forecast.records import QUEUED, TASK, Ints, Records, Tasks
from treatments.planning.problem import WEEK, Problem

NO_START = -1
TAKE_DOWN = "take_down"


@dataclass(frozen=True)
class PlannedWork:
    """Planned steps by index: who is to do each (``len(staff)`` if nobody can), start (-1: not given), priority."""

    objects: Ints  # planned objects, by index in the problem
    levels: Ints  # their levels
    steps: Ints
    person: Ints
    start: Ints
    priority: NDArray[np.float64]


def read_plan(problem: Problem, plan: Mapping[str, Any], protect_weeks: float) -> PlannedWork:
    """Match a plan with its instance.

    A plan may hold only priorities: where a step names no start, its place in the list of steps counts; where it names
    nobody, the person with its skill who has least to do for their hours gets it; a step that is not listed at all is
    ranked by the latest start that its dates allow.

    Raises
    ------
    ValueError
        The plan names an object, level, step or person that the instance does not have.
    """
    levels = _chosen_levels(problem, plan)
    listed = _listed_steps(problem, plan, levels)
    objects = np.array(sorted(levels), np.int64)
    steps = np.array([s for i in objects for s in problem.steps_of(levels[int(i)])], np.int64)
    start = np.array([listed.get(int(s), (0, NO_START, -1))[1] for s in steps], np.int64)
    owner = problem.work.owner[np.searchsorted(problem.work.step_ptr, steps, side="right") - 1]
    timed = bool(listed) and all(s >= 0 for _, s, _ in listed.values())
    latest = problem.work.latest[steps]
    place = np.array([listed[int(s)][0] if int(s) in listed else np.inf for s in steps])
    priority = np.where(start >= 0, start, latest) if timed else np.where(np.isinf(place), len(listed), place)
    priority = priority - (protect_weeks * WEEK if timed else 10.0 * len(steps)) * problem.work.mandatory[owner] * (
        protect_weeks > 0
    )
    given = np.array([listed.get(int(s), (0, 0, -1))[2] for s in steps], np.int64)
    order = np.array([levels[int(i)] for i in objects], np.int64)
    return PlannedWork(objects, order, steps, _people(problem, steps, given), start, priority.astype(float))


def _chosen_levels(problem: Problem, plan: Mapping[str, Any]) -> dict[int, int]:
    index = {name: i for i, name in enumerate(problem.object_ids)}
    chosen = {}
    for name, level in dict(plan.get("levels", {})).items():
        if str(name) not in index:
            raise ValueError(f"plan['levels'] names an unknown object {name!r:.60}")
        if level is None:
            continue
        levels = problem.levels_of(index[str(name)])
        if isinstance(level, bool) or not isinstance(level, int | np.integer) or not 0 <= level < len(levels):
            raise ValueError(f"plan['levels'] gives object {name!r:.60} a level that it does not have")
        chosen[index[str(name)]] = levels[int(level)]
    return chosen


def _listed_steps(problem: Problem, plan: Mapping[str, Any], levels: dict[int, int]) -> dict[int, tuple[int, int, int]]:
    """Place in the list, start (-1: none) and person (-1: none) of each step that the plan lists."""
    index = {name: i for i, name in enumerate(problem.object_ids)}
    people = {name: p for p, name in enumerate(problem.staff_ids)}
    steps = {(i, problem.step_ids[s]): s for i, level in levels.items() for s in problem.steps_of(level)}
    listed = {}
    for place, entry in enumerate(plan.get("steps", ())):
        if isinstance(entry, str) or len(entry) != 4:
            raise ValueError("plan['steps'] must hold [object, step, person, start]")
        thing, step, person, start = entry
        found = steps.get((index.get(str(thing), -1), str(step)))
        if found is None:
            raise ValueError(f"plan['steps'] names a step {thing!r:.40}/{step!r:.40} outside the chosen levels")
        if person is not None and str(person) not in people:
            raise ValueError(f"plan['steps'] names an unknown person {person!r:.60}")
        listed[found] = (
            place,
            NO_START if start is None else int(start),
            -1 if person is None else people[str(person)],
        )
    return listed


def _people(problem: Problem, steps: Ints, given: Ints) -> Ints:
    """Who does each step; steps without a person go to whoever has least to do in proportion to their hours."""
    staffing, work = problem.staffing, problem.work
    hours = np.zeros(len(problem.staff_ids))
    np.add.at(
        hours, np.repeat(np.arange(len(hours)), np.diff(staffing.shift_ptr)), staffing.shift_end - staffing.shift_start
    )
    load = np.zeros(len(hours))
    np.add.at(load, given[given >= 0], work.q[steps[given >= 0]])
    person = given.copy()
    for n in np.flatnonzero(given < 0):
        skill = work.skill[steps[n]]
        able = staffing.able[staffing.skill_ptr[skill] : staffing.skill_ptr[skill + 1]]
        able = able[hours[able] > 0]
        if not able.size:
            person[n] = len(problem.staff_ids)
            continue
        person[n] = able[np.argmin((load[able] + work.q[steps[n]]) / hours[able])]
        load[person[n]] += work.q[steps[n]]
    return person


def lay_out(problem: Problem, planned: PlannedWork) -> Tasks:
    """The lists as arrays for the simulation."""
    order = np.lexsort((np.arange(len(planned.steps)), planned.priority, planned.person))
    steps, person = planned.steps[order], planned.person[order]
    people = len(problem.staff_ids) + 1
    list_ptr = np.searchsorted(person, np.arange(people + 1)).astype(np.int64)
    word_ptr = np.concatenate(([0], np.cumsum(np.diff(list_ptr) // 64 + 1))).astype(np.int64)
    work = problem.work
    level = np.searchsorted(work.step_ptr, steps, side="right") - 1
    owner = work.owner[level]
    kinds = [problem.kinds[s] for s in steps]
    milestone = [{"photo": PHOTO_LATE, "mount": MOUNT_LATE}.get(k, CLOSE_LATE) for k in kinds]
    preds, next_ptr, following = _network(problem, steps)
    rank = np.arange(len(steps)) - list_ptr[person]
    each = np.zeros(len(steps), TASK)
    each["key"] = (owner + 1) << 20 | (steps - work.step_ptr[level] + 1)
    each["word"], each["bit"] = word_ptr[person] + (rank >> 6), np.uint64(1) << (rank & 63).astype(np.uint64)
    each["q"], each["cure"], each["limit"] = work.q[steps], work.cure[steps], work.limit[steps]
    each["close"], each["release"] = problem.dates[owner, 2], np.maximum(work.release[owner], 0)
    each["waited"] = _planned_waits(problem, planned)[order]
    each["person"], each["thing"] = person, np.searchsorted(planned.objects, owner)
    each["next"], each["next_end"] = next_ptr[:-1], next_ptr[1:]
    each["resource"], each["milestone"] = work.resource[steps], milestone
    queue, queued = _ready_from_the_start(each, preds, list_ptr)
    things, capacity = planned.objects + 1, problem.staffing.capacity
    exposed = _exposed(problem, planned)[steps]
    return Tasks(list_ptr, word_ptr, each, queue, queued, preds, exposed, things, following, capacity)


def _ready_from_the_start(each: Records, preds: Ints, list_ptr: Ints) -> tuple[Records, Ints]:
    """Each person's steps without predecessors in order of release, from where the person's list begins."""
    queue, queued = np.zeros(len(each), QUEUED), np.zeros(len(list_ptr) - 1, np.int64)
    for p, first in enumerate(list_ptr[:-1]):
        own = first + np.flatnonzero(preds[first : list_ptr[p + 1]] == 0)
        own = own[np.argsort(each["release"][own], kind="stable")]
        queued[p] = len(own)
        queue["time"][first : first + len(own)], queue["task"][first : first + len(own)] = each["release"][own], own
    return queue, queued


def _network(problem: Problem, steps: Ints) -> tuple[Ints, Ints, Ints]:
    """Number of predecessors of each task, and the tasks that follow it."""
    work = problem.work
    task = {int(s): t for t, s in enumerate(steps)}
    follows: list[list[int]] = [[] for _ in steps]
    for t, s in enumerate(steps):
        for before in work.pred[work.pred_ptr[s] : work.pred_ptr[s + 1]]:
            follows[task[int(before)]].append(t)
    preds = (work.pred_ptr[steps + 1] - work.pred_ptr[steps]).astype(np.int64)
    next_ptr = np.cumsum([0, *(len(f) for f in follows)], dtype=np.int64)
    return preds, next_ptr, np.array([t for f in follows for t in f], np.int64)


def _exposed(problem: Problem, planned: PlannedWork) -> NDArray[np.bool_]:
    """[all steps]: whether a step comes after a taking down of the same level."""
    work = problem.work
    after = np.zeros(len(problem.kinds), np.bool_)
    for level in planned.levels:
        steps = list(problem.steps_of(int(level)))
        if not any(problem.kinds[s] == TAKE_DOWN for s in steps):
            continue
        changed = True
        while changed:  # steps stand mostly in the order of work, so that once or twice is enough
            changed = False
            for s in steps:
                before = work.pred[work.pred_ptr[s] : work.pred_ptr[s + 1]]
                if not after[s] and any(after[b] or problem.kinds[b] == TAKE_DOWN for b in before):
                    after[s] = changed = True
    return after


def _planned_waits(problem: Problem, planned: PlannedWork) -> NDArray[np.float64]:
    """Hours on duty (quarters) that each step waits for its person in the plan itself; 0 without planned starts."""
    work, staffing = problem.work, problem.staffing
    start = dict(zip(planned.steps.tolist(), planned.start.tolist(), strict=True))
    release = problem.work.release[work.owner[np.searchsorted(work.step_ptr, planned.steps, side="right") - 1]]
    waits = np.zeros(len(planned.steps))
    for n, s in enumerate(planned.steps):
        p = planned.person[n]
        before = work.pred[work.pred_ptr[s] : work.pred_ptr[s + 1]]
        if planned.start[n] < 0 or p == len(problem.staff_ids) or any(start[int(b)] < 0 for b in before):
            continue
        ready = max([int(release[n]), 0, *(start[int(b)] + int(work.q[b] + work.cure[b]) for b in before)])
        own = slice(staffing.shift_ptr[p], staffing.shift_ptr[p + 1])
        begin, end = staffing.shift_start[own], staffing.shift_end[own]
        waits[n] = np.maximum(0, np.minimum(end, planned.start[n]) - np.maximum(begin, ready)).sum()
    return waits
