"""Shifts for a simulation, going on after the last planned week."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from treatments.planning.problem import DAY, WEEK, Problem

Ints = NDArray[np.int64]
LOOK_BACK = 4  # weeks from which the usual week is read
MORE_WEEKS = (26, 520)


class Roster(NamedTuple):
    """Shifts of person ``p``: ``ptr[p]:ptr[p + 1]``. The last person has none: work that nobody can do is theirs.

    ``before`` counts the time on duty, over all people in turn, before each shift, with one more entry at the end.
    """

    ptr: Ints
    start: NDArray[np.float64]
    end: NDArray[np.float64]
    before: NDArray[np.float64]


def extended_roster(problem: Problem, quarters: int) -> Roster:
    """Planned shifts, then everyone's usual week again and again.

    Parameters
    ----------
    quarters : work to be done in all; the longer it may take, the further the roster goes on (half a year to ten years)
    """
    staffing = problem.staffing
    own = [
        np.stack((staffing.shift_start[a:b], staffing.shift_end[a:b]), 1)
        for a, b in zip(staffing.shift_ptr[:-1], staffing.shift_ptr[1:], strict=True)
    ]
    last_week = -(-max((int(s[-1, 1]) for s in own if len(s)), default=0) // WEEK) * WEEK
    usual = [_usual_week(s, last_week) for s in own]
    weekly = sum(int((u[:, 1] - u[:, 0]).sum()) for u in usual)
    weeks = int(np.clip(4 * quarters // max(weekly, 1), *MORE_WEEKS))
    shifts = [
        np.concatenate((s, *(u + last_week + w * WEEK for w in range(weeks)))) for s, u in zip(own, usual, strict=True)
    ]
    flat = np.concatenate((*shifts, np.zeros((0, 2), np.int64))).astype(float)
    ptr = np.cumsum([0, *(len(s) for s in shifts), 0], dtype=np.int64)
    before = np.concatenate(([0.0], np.cumsum(flat[:, 1] - flat[:, 0])))
    return Roster(ptr, np.ascontiguousarray(flat[:, 0]), np.ascontiguousarray(flat[:, 1]), before)


def _usual_week(shifts: Ints, last_week: int) -> Ints:
    """The newest shifts of each weekday that was worked in at least half of the last weeks."""
    found = []
    for weekday in range(7):
        days = [last_week - (w + 1) * WEEK + weekday * DAY for w in range(LOOK_BACK)]
        days = [d for d in days if d >= 0]
        worked = [shifts[(shifts[:, 0] >= d) & (shifts[:, 0] < d + DAY)] - (d - weekday * DAY) for d in days]
        worked = [w for w in worked if len(w)]
        if worked and 2 * len(worked) >= len(days):
            found.append(worked[0])
    return np.concatenate((*found, np.zeros((0, 2), np.int64))).astype(np.int64)
