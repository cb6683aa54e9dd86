"""People, their skills and shifts, and the benches that they share, as arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from treatments.planning.reading import whole

LONGEST_SHIFT = 64  # quarter-hours in one machine word; a longer shift is cut into parts of at most 16 h
DAY = 96

Ints = NDArray[np.int64]


class Staffing(NamedTuple):
    """Shifts of person ``p`` are ``shift_ptr[p]:shift_ptr[p + 1]``, in order and apart from each other.

    ``able[skill_ptr[k]:skill_ptr[k + 1]]`` are the people with skill ``k``, those with the fewest skills first.
    ``first_shift[p, d]`` is the first shift of ``p`` that ends after day ``d`` begins. ``capacity``: hoods, benches.
    """

    shift_ptr: Ints
    shift_start: Ints
    shift_end: Ints
    first_shift: Ints
    skill_ptr: Ints
    able: Ints
    capacity: Ints


def read_staff(
    staff: Sequence[Mapping[str, Any]], skills: Sequence[str], capacity: Sequence[int], horizon: int
) -> Staffing:
    """Shifts clipped to the weeks of the plan, and who can do what.

    Raises
    ------
    ValueError
        A shift that is not a pair of whole quarter-hours, the second later.
    """
    shifts = [_shifts(person, horizon) for person in staff]
    ptr = np.cumsum([0, *(len(s) for s in shifts)], dtype=np.int64)
    flat = np.array([s for person in shifts for s in person], np.int64).reshape(-1, 2)
    days = horizon // DAY + 2
    first = np.zeros((len(staff), days), np.int64)
    for p, own in enumerate(shifts):
        ends = np.array([e for _, e in own], np.int64)
        first[p] = ptr[p] + np.searchsorted(ends, np.arange(days) * DAY, side="right")
    skill_ptr, able = _able(staff, skills)
    return Staffing(
        ptr,
        np.ascontiguousarray(flat[:, 0]),
        np.ascontiguousarray(flat[:, 1]),
        first,
        skill_ptr,
        able,
        np.array(capacity, np.int64),
    )


def _able(staff: Sequence[Mapping[str, Any]], skills: Sequence[str]) -> tuple[Ints, Ints]:
    """The people able to do each skill, specialists first so that the versatile stay free."""
    has = [{str(s) for s in person.get("skills", ())} for person in staff]
    who = [sorted((p for p in range(len(staff)) if k in has[p]), key=lambda p: (len(has[p]), p)) for k in skills]
    return (np.cumsum([0, *(len(w) for w in who)], dtype=np.int64), np.array([p for w in who for p in w], np.int64))


def _shifts(person: Mapping[str, Any], horizon: int) -> list[tuple[int, int]]:
    """Shifts in order, without overlap, inside the weeks of the plan, none longer than a machine word."""
    name = f"shifts of {person.get('id')}"
    given = []
    for pair in person.get("shifts", ()):
        if isinstance(pair, str) or not isinstance(pair, Sequence) or len(pair) != 2:
            raise ValueError(f"{name} must be pairs of quarter-hours")
        start, end = (whole(v, name, low=-(10**7), high=10**7) for v in pair)
        if end <= start:
            raise ValueError(f"{name} must end after they start")
        given.append((start, end))
    kept: list[tuple[int, int]] = []
    last = 0
    for start, end in sorted(given):
        begin, stop = max(start, last), min(end, horizon)
        while begin < stop:
            part = min(stop, begin + LONGEST_SHIFT)
            kept.append((begin, part))
            begin = part
        last = max(last, stop)
    return kept
