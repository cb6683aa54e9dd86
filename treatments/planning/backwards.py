"""Planning from the far end: a level whose steps lie as late as their dates allow.

Early hours suit every object, late hours only those with late dates; a plan that puts some objects late keeps the early
hours for the others.
"""

from __future__ import annotations

import numpy as np

from media.compiled import compiled
from treatments.planning.problem import Work
from treatments.planning.staffing import Staffing
from treatments.planning.timetable import ALL, Timetable, book, lowest_bit, room_from, runs, unbook


@compiled
def highest_bit(mask: np.uint64) -> int:
    """Place of the highest set bit; the mask must not be 0."""
    mask |= mask >> np.uint64(1)
    mask |= mask >> np.uint64(2)
    mask |= mask >> np.uint64(4)
    mask |= mask >> np.uint64(8)
    mask |= mask >> np.uint64(16)
    mask |= mask >> np.uint64(32)
    return lowest_bit(mask - (mask >> np.uint64(1)))


@compiled
def latest(staffing: Staffing, table: Timetable, person: int, q: int, resource: int, since: int, until: int) -> int:
    """Latest start in ``since..until`` at which the person has ``q`` free quarters and a place; else -1."""
    if since > until or until < 0 or q > 64:
        return -1
    day = min(until // 96, staffing.first_shift.shape[1] - 1)
    s = min(staffing.first_shift[person, day] + 1, staffing.shift_ptr[person + 1] - 1)
    while s >= staffing.shift_ptr[person]:
        start = staffing.shift_start[s]
        if staffing.shift_end[s] - q < since:
            return -1
        mask = table.free[s]
        if mask and start <= until:
            if resource >= 0:
                mask &= room_from(table.room, resource, start)
            mask = runs(mask, q)
            if until - start < 63:
                mask &= ~(ALL << np.uint64(until - start + 1))
            if mask:
                found = start + highest_bit(mask)
                return found if found >= since else -1
        s -= 1
    return -1


@compiled
def place_step_late(work: Work, staffing: Staffing, table: Timetable, step: int, since: int, until: int) -> bool:
    """Book the step as late as anyone with its skill can, specialists first among equals."""
    best, person = -1, -1
    for at in range(staffing.skill_ptr[work.skill[step]], staffing.skill_ptr[work.skill[step] + 1]):
        p = staffing.able[at]
        start = latest(staffing, table, p, work.q[step], work.resource[step], max(since, best + 1), until)
        if start > best:
            best, person = start, p
    if person < 0:
        return False
    book(work, staffing, table, step, person, best)
    return True


@compiled
def insert_level_late(work: Work, staffing: Staffing, table: Timetable, level: int, i: int, until: np.ndarray) -> bool:
    """Plan all steps of a level of an unplanned object, each as late as it goes; all, or nothing changes.

    ``until`` is scratch space with one place per step.
    """
    first, last = work.step_ptr[level], work.step_ptr[level + 1]
    for step in range(first, last):
        until[step] = work.latest[step]
    for step in range(last - 1, first - 1, -1):
        if not place_step_late(work, staffing, table, step, work.head[step], until[step]):
            for done in range(step + 1, last):
                unbook(work, staffing, table, done)
            return False
        for at in range(work.pred_ptr[step], work.pred_ptr[step + 1]):
            before = work.pred[at]
            until[before] = min(until[before], table.when[step] - work.cure[before] - work.q[before])
    table.level[i] = level
    return True
