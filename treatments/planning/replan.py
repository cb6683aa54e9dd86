"""After a change: keep what still holds of a plan, and find new places for the rest."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from media.compiled import compiled
from treatments.planning.bound import Bound, upper_bound
from treatments.planning.greedy import improve_in_order, insert_in_order, ladder, level_hours
from treatments.planning.outcome import with_bound
from treatments.planning.problem import Problem, Work, read_instance
from treatments.planning.search import run_moves, start_search
from treatments.planning.staffing import Staffing
from treatments.planning.timetable import ALL, Timetable, book, empty_timetable, room_from, unbook

BOUND_ROUNDS = 30
MOVABLE = 0.04  # share of the planned objects, those that gain least by their hours, that may give way
MOVES = 40_000
HOT, COLD = 1.0, 0.2  # warmth, in prices of a quarter-hour


def replan_instance(
    instance: Mapping[str, Any], plan: Mapping[str, Any], *, pinned: Collection[str] = ()
) -> dict[str, Any]:
    """Adapt a plan to a changed instance, moving as little as possible: someone falls ill, an object is added.

    Objects whose steps still fit stay exactly where they are, but for a few that gain least by their hours and may give
    way. Those that do not fit are planned anew, and what is unplanned is offered the hours that are left. Work already
    done is not part of the instance; give what is begun as ``pinned``.

    Parameters
    ----------
    instance : the changed instance
    plan : the plan so far; objects, levels, steps and people that do not exist any more are passed over
    pinned : ids of objects that keep level and times and come first where two claim the same hours

    Returns
    -------
    dict
        As `solve_instance` without "moves" and "cut_short"; and "moved": ids of objects planned before that now lie
        elsewhere, at another level or not at all. A pinned object among them fits no more: tell the user.

    Raises
    ------
    ValueError
        An instance that contradicts itself; the argument is named.
    """
    problem = read_instance(instance)
    table, wanted = empty_timetable(problem), _wanted(problem, plan)
    first = [i for i, name in enumerate(problem.object_ids) if name in set(pinned)]
    order = np.array([*first, *(i for i in range(problem.objects) if i not in set(first))], np.int64)
    stays = np.zeros(problem.objects, np.bool_)
    keep_what_holds(problem.work, problem.staffing, table, wanted, order, stays)
    _insert_the_rest(problem, table, wanted)
    bound = upper_bound(problem, BOUND_ROUNDS)
    if len(problem.work.benefit):
        table = _make_room(problem, table, bound, stays, set(first))
    same = stays & (table.level == wanted.level) & _unmoved(problem, table, wanted)
    moved = [problem.object_ids[i] for i in np.flatnonzero((wanted.level >= 0) & ~same)]
    return with_bound(problem, table, bound) | {"moved": moved}


def _make_room(
    problem: Problem, table: Timetable, bound: Bound, stays: NDArray[np.bool_], pinned: set[int]
) -> Timetable:
    """A short search in which only displaced objects, and those that gain least by their hours, may move."""
    work, planned = problem.work, np.flatnonzero(table.level >= 0)
    gain = work.benefit[table.level[planned]] - bound.cost[table.level[planned]] + 1e12 * work.mandatory[planned]
    weakest = planned[np.argsort(gain, kind="stable")[: int(np.ceil(MOVABLE * len(planned)))]]
    fixed = stays.copy()
    fixed[weakest] = False
    fixed[list(pinned)] = True
    price = max(float(bound.price[:-2].max(initial=0.0)), 1e-6)
    search = start_search(problem, table, bound.cost, 0.0, 0, fixed)
    run_moves(work, problem.staffing, table, search, 0, MOVES, MOVES, HOT * price, COLD * price, problem.horizon)
    return table._replace(who=search.best_who, when=search.best_when, level=search.best_level)


def _unmoved(problem: Problem, table: Timetable, wanted: Timetable) -> NDArray[np.bool_]:
    """Which objects have all steps of their level with the same person at the same time as wanted."""
    same = (table.who == wanted.who) & (table.when == wanted.when)
    found = np.zeros(problem.objects, np.bool_)
    for i in np.flatnonzero(table.level >= 0):
        steps = problem.steps_of(int(table.level[i]))
        found[i] = same[steps.start : steps.stop].all()
    return found


def _wanted(problem: Problem, plan: Mapping[str, Any]) -> Timetable:
    """The old plan, as far as its names still exist; a step that is lost leaves -1, so that its object is replanned."""
    wanted = empty_timetable(problem)
    index = {name: i for i, name in enumerate(problem.object_ids)}
    people = {name: p for p, name in enumerate(problem.staff_ids)}
    for name, level in dict(plan.get("levels", {})).items():
        i = index.get(str(name), -1)
        if i >= 0 and level is not None and 0 <= level < len(problem.levels_of(i)):
            wanted.level[i] = problem.levels_of(i)[level]
    steps = {
        (problem.object_ids[i], problem.step_ids[s]): s
        for i in np.flatnonzero(wanted.level >= 0)
        for s in problem.steps_of(int(wanted.level[i]))
    }
    for name, step, person, start in plan.get("steps", ()):
        s = steps.get((str(name), str(step)), -1)
        if s >= 0 and str(person) in people and start is not None:
            wanted.who[s], wanted.when[s] = people[str(person)], start
    return wanted


def _insert_the_rest(problem: Problem, table: Timetable, wanted: Timetable) -> None:
    """Displaced objects at their old level, then at any, mandatory ones first; then all that is unplanned."""
    work, staffing, hours = problem.work, problem.staffing, level_hours(problem.work)
    lost = np.flatnonzero((wanted.level >= 0) & (table.level < 0))
    urgency = np.lexsort((-work.benefit[wanted.level[lost]], problem.dates[lost, 0], -work.mandatory[lost]))
    insert_in_order(work, staffing, table, wanted.level[lost[urgency]])
    climb = ladder(work, hours)
    climb = climb[table.level[work.owner[climb]] < 0]
    must = work.mandatory[work.owner[climb]] > 0
    insert_in_order(work, staffing, table, climb[must])
    improve_in_order(work, staffing, table, climb)


@compiled
def keep_what_holds(
    work: Work, staffing: Staffing, table: Timetable, wanted: Timetable, order: np.ndarray, stays: np.ndarray
) -> None:
    """Book every object of the old plan whose steps all still fit where they were; ``stays`` tells which."""
    for i in order:
        level = wanted.level[i]
        if level < 0:
            continue
        first, fits = work.step_ptr[level], True
        for step in range(first, work.step_ptr[level + 1]):
            fits = still_fits(work, staffing, table, step, wanted.who[step], wanted.when[step], work.release[i])
            if not fits:
                for done in range(first, step):
                    unbook(work, staffing, table, done)
                break
            book(work, staffing, table, step, wanted.who[step], wanted.when[step])
        if fits:
            table.level[i] = level
            stays[i] = True


@compiled
def still_fits(
    work: Work, staffing: Staffing, table: Timetable, step: int, person: int, start: int, release: int
) -> bool:
    """Whether a person can do a step at a time: skill, dates, predecessors as booked, free hours and a free place."""
    q = work.q[step]
    if person < 0 or start < max(release, 0) or start > work.latest[step] or q > 64:
        return False
    able = False
    for at in range(staffing.skill_ptr[work.skill[step]], staffing.skill_ptr[work.skill[step] + 1]):
        able = able or staffing.able[at] == person
    for at in range(work.pred_ptr[step], work.pred_ptr[step + 1]):
        before = work.pred[at]
        if start < table.when[before] + work.q[before] + work.cure[before]:
            return False
    last = staffing.shift_ptr[person + 1]
    s = staffing.first_shift[person, min(start // 96, staffing.first_shift.shape[1] - 1)]
    while s < last and staffing.shift_end[s] <= start:
        s += 1
    if not able or s >= last or staffing.shift_start[s] > start or start + q > staffing.shift_end[s]:
        return False
    need = (ALL >> np.uint64(64 - q)) << np.uint64(start - staffing.shift_start[s])
    if table.free[s] & need != need:
        return False
    if work.resource[step] < 0:
        return True
    return room_from(table.room, work.resource[step], staffing.shift_start[s]) & need == need
