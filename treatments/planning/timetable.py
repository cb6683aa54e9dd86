"""Who does what when, and the kernels that book, free and search it.

A shift is one machine word: bit ``b`` is set while quarter-hour ``b`` of the shift is free. That makes the search for
a free run of ``q`` quarters a handful of shifts and ands, and a copy of a whole plan a few kilobytes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from media.compiled import compiled
from treatments.planning.problem import Problem, Work
from treatments.planning.staffing import Staffing

ONE = np.uint64(1)
ALL = np.uint64(0xFFFFFFFFFFFFFFFF)
NEVER = 1 << 40
_DE_BRUIJN = np.uint64(0x03F79D71B4CB0A89)
_SHIFT58 = np.uint64(58)
_BIT = np.zeros(64, np.int64)  # place of the lowest set bit, by a de Bruijn product
for _b in range(64):
    _BIT[(((1 << _b) * 0x03F79D71B4CB0A89) & 0xFFFFFFFFFFFFFFFF) >> 58] = _b


class Timetable(NamedTuple):
    """A plan: who and when for each step, the chosen level of each object, and what is still free.

    ``who`` and ``when`` are -1 for a step that is not planned, ``level`` -1 for an object that is left as it is.
    ``room`` has one bit per quarter-hour, set while the resource can take one more; ``used`` counts.
    """

    who: NDArray[np.int64]
    when: NDArray[np.int64]
    level: NDArray[np.int64]
    free: NDArray[np.uint64]
    room: NDArray[np.uint64]
    used: NDArray[np.int64]


def empty_timetable(problem: Problem) -> Timetable:
    """Nothing planned yet."""
    staffing = problem.staffing
    lengths = staffing.shift_end - staffing.shift_start
    free = np.array([(1 << int(n)) - 1 for n in lengths], np.uint64)
    words = problem.horizon // 64 + 3
    room = np.zeros((2, words), np.uint64)
    room[staffing.capacity > 0] = ALL
    steps = len(problem.work.q)
    return Timetable(
        np.full(steps, -1, np.int64),
        np.full(steps, -1, np.int64),
        np.full(problem.objects, -1, np.int64),
        free,
        room,
        np.zeros((2, words * 64), np.int64),
    )


def copy_timetable(table: Timetable) -> Timetable:
    """A plan that can be changed without changing the first."""
    return Timetable._make(column.copy() for column in table)


@compiled
def lowest_bit(mask: np.uint64) -> int:
    """Place of the lowest set bit; the mask must not be 0."""
    low = mask & (~mask + ONE)
    return _BIT[np.int64((low * _DE_BRUIJN) >> _SHIFT58)]


@compiled
def runs(mask: np.uint64, q: int) -> np.uint64:
    """Bits at which a run of at least ``q`` set bits begins."""
    have = 1
    while have < q and mask:
        more = min(have, q - have)
        mask &= mask >> np.uint64(more)
        have += more
    return mask


@compiled
def room_from(room: np.ndarray, resource: int, start: int) -> np.uint64:
    """The 64 quarter-hours from ``start`` in which the resource can take one more."""
    word, bit = start >> 6, start & 63
    mask = room[resource, word] >> np.uint64(bit)
    if bit:
        mask |= room[resource, word + 1] << np.uint64(64 - bit)
    return mask


@compiled
def earliest(staffing: Staffing, table: Timetable, person: int, q: int, resource: int, since: int, until: int) -> int:
    """Earliest start in ``since..until`` at which the person has ``q`` free quarters and a place; else NEVER."""
    if since > until or q > 64:
        return NEVER
    since = max(since, 0)
    day = min(since // 96, staffing.first_shift.shape[1] - 1)
    s = staffing.first_shift[person, day]
    last = staffing.shift_ptr[person + 1]
    while s < last:
        start = staffing.shift_start[s]
        if start > until:
            return NEVER
        mask = table.free[s]
        if mask and staffing.shift_end[s] > since:
            if since > start:
                mask &= ALL << np.uint64(since - start)
            if resource >= 0:
                mask &= room_from(table.room, resource, start)
            mask = runs(mask, q)
            if mask:
                found = start + lowest_bit(mask)
                return found if found <= until else NEVER
        s += 1
    return NEVER


@compiled
def shift_at(staffing: Staffing, person: int, time: int) -> int:
    """The shift of the person that holds the time."""
    s = staffing.first_shift[person, time // 96]
    while staffing.shift_end[s] <= time:
        s += 1
    return s


@compiled
def book(work: Work, staffing: Staffing, table: Timetable, step: int, person: int, start: int) -> None:
    """Give the step to the person from ``start`` on."""
    q = work.q[step]
    table.who[step] = person
    table.when[step] = start
    s = shift_at(staffing, person, start)
    table.free[s] &= ~((ALL >> np.uint64(64 - q)) << np.uint64(start - staffing.shift_start[s]))
    resource = work.resource[step]
    if resource >= 0:
        for t in range(start, start + q):
            table.used[resource, t] += 1
            if table.used[resource, t] >= staffing.capacity[resource]:
                table.room[resource, t >> 6] &= ~(ONE << np.uint64(t & 63))


@compiled
def unbook(work: Work, staffing: Staffing, table: Timetable, step: int) -> None:
    """Take a step out of the plan."""
    person, start, q = table.who[step], table.when[step], work.q[step]
    s = shift_at(staffing, person, start)
    table.free[s] |= (ALL >> np.uint64(64 - q)) << np.uint64(start - staffing.shift_start[s])
    resource = work.resource[step]
    if resource >= 0:
        for t in range(start, start + q):
            table.used[resource, t] -= 1
            if table.used[resource, t] < staffing.capacity[resource]:
                table.room[resource, t >> 6] |= ONE << np.uint64(t & 63)
    table.who[step] = -1
    table.when[step] = -1


@compiled
def place_step(work: Work, staffing: Staffing, table: Timetable, step: int, since: int) -> bool:
    """Book the step as early as anyone with its skill can, specialists first among equals."""
    best, person = NEVER, -1
    until = work.latest[step]
    for at in range(staffing.skill_ptr[work.skill[step]], staffing.skill_ptr[work.skill[step] + 1]):
        p = staffing.able[at]
        start = earliest(staffing, table, p, work.q[step], work.resource[step], since, min(until, best - 1))
        if start < best:
            best, person = start, p
    if person < 0:
        return False
    book(work, staffing, table, step, person, best)
    return True


@compiled
def remove_object(work: Work, staffing: Staffing, table: Timetable, i: int) -> None:
    """Take an object out of the plan."""
    level = table.level[i]
    if level < 0:
        return
    for step in range(work.step_ptr[level], work.step_ptr[level + 1]):
        unbook(work, staffing, table, step)
    table.level[i] = -1


@compiled
def insert_level(work: Work, staffing: Staffing, table: Timetable, level: int, i: int, since: int) -> bool:
    """Plan all steps of a level of an unplanned object, each as early as it goes; all of them, or nothing changes."""
    since = max(since, work.release[i])
    first = work.step_ptr[level]
    for step in range(first, work.step_ptr[level + 1]):
        ready = since
        for at in range(work.pred_ptr[step], work.pred_ptr[step + 1]):
            before = work.pred[at]
            ready = max(ready, table.when[before] + work.q[before] + work.cure[before])
        if not place_step(work, staffing, table, step, ready):
            for done in range(first, step):
                unbook(work, staffing, table, done)
            return False
    table.level[i] = level
    return True
