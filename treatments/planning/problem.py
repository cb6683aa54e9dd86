"""A planning instance, checked and laid out as arrays.

Time is whole quarter-hours since Monday 00:00 of week 1; hours of work are whole quarter-hours too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from treatments.planning.reading import an_id, entries, whole
from treatments.planning.staffing import Staffing, read_staff

DAY, WEEK = 96, 672
RESOURCES = ("hood", "bench")
MOST_LEVELS = 60
LONGEST_WEEKS = 1_040  # twenty years: beyond it dates are surely mistyped

Ints = NDArray[np.int64]


class Work(NamedTuple):
    """Objects, their levels of treatment, and the steps of each level, preds before successors.

    Levels of object ``i`` are ``level_ptr[i]:level_ptr[i + 1]``, steps of level ``l`` ``step_ptr[l]:step_ptr[l + 1]``;
    ``pred_ptr`` and ``pred`` hold the steps that come before a step. ``latest`` is the last start of a step from which
    all that follows it can still meet its dates, if nobody ever had to wait. ``head`` is likewise
    the first start, release and what comes before considered. ``owner`` is the object of a level.
    """

    release: Ints
    mandatory: Ints
    level_ptr: Ints
    owner: Ints
    benefit: Ints
    step_ptr: Ints
    skill: Ints
    resource: Ints
    q: Ints
    cure: Ints
    head: Ints
    latest: Ints
    limit: Ints
    pred_ptr: Ints
    pred: Ints


@dataclass(frozen=True)
class Problem:
    """An instance ready to be solved: names on one side, arrays on the other."""

    object_ids: tuple[str, ...]
    cases: tuple[str, ...]
    step_ids: tuple[str, ...]
    kinds: tuple[str, ...]
    skills: tuple[str, ...]
    staff_ids: tuple[str, ...]
    dates: NDArray[np.int64]  # [objects, 3]: photo_by, mount_by, close_by
    horizon: int
    work: Work
    staffing: Staffing

    @property
    def objects(self) -> int:
        return len(self.object_ids)

    def levels_of(self, i: int) -> range:
        return range(int(self.work.level_ptr[i]), int(self.work.level_ptr[i + 1]))

    def steps_of(self, level: int) -> range:
        return range(int(self.work.step_ptr[level]), int(self.work.step_ptr[level + 1]))


def read_instance(instance: Mapping[str, Any]) -> Problem:
    """Check an instance and lay it out as arrays.

    Parameters
    ----------
    instance : mapping with ``weeks``, ``staff``, ``hoods``, ``benches`` and ``objects``, as the planner writes it

    Raises
    ------
    ValueError
        Anything missing, out of range or contradictory; the message names the argument and the place in it.
    """
    if not isinstance(instance, Mapping):
        raise ValueError("instance must be a mapping")
    weeks = whole(instance.get("weeks", 1), "instance['weeks']", low=1, high=LONGEST_WEEKS)
    horizon = weeks * WEEK
    capacity = [whole(instance.get(key, 0), f"instance['{key}']", low=0, high=30_000) for key in ("hoods", "benches")]
    objects = entries(instance, "objects", "instance")
    staff = entries(instance, "staff", "instance")
    skills = _skills(objects, staff)
    return _lay_out(
        objects, skills, read_staff(staff, skills, capacity, horizon), [an_id(s, "staff") for s in staff], horizon
    )


def _skills(objects: Sequence[Mapping[str, Any]], staff: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """All skills that are asked for or offered, in order of first mention."""
    found: dict[str, None] = {}
    for person in staff:
        found.update(dict.fromkeys(str(s) for s in person.get("skills", ())))
    for thing in objects:
        for level in entries(thing, "levels", "object"):
            found.update(dict.fromkeys(str(s.get("skill")) for s in entries(level, "steps", "level")))
    return tuple(found)


def _lay_out(
    objects: Sequence[Mapping[str, Any]],
    skills: tuple[str, ...],
    staffing: Staffing,
    staff_ids: list[str],
    horizon: int,
) -> Problem:
    """Walk through the objects once and gather the columns of ``Work``."""
    ids = [an_id(o, "object") for o in objects]
    if len(set(ids)) < len(ids) or len(set(staff_ids)) < len(staff_ids):
        raise ValueError("instance has two objects or two people with one id")
    columns = _Columns({s: k for k, s in enumerate(skills)})
    dates = np.zeros((len(ids), 3), np.int64)
    for i, thing in enumerate(objects):
        dates[i] = _dates(thing, ids[i], horizon)
        columns.add_object(i, thing, ids[i], dates[i])
    return Problem(
        tuple(ids),
        tuple(str(o.get("case", "")) for o in objects),
        tuple(columns.step_ids),
        tuple(columns.kinds),
        skills,
        tuple(staff_ids),
        dates,
        horizon,
        columns.work(),
        staffing,
    )


def _dates(thing: Mapping[str, Any], name: str, horizon: int) -> tuple[int, int, int]:
    """Photography, mount and closing dates; a date that is not given binds no more than closing does."""
    close = thing.get("close_by")
    close = horizon if close is None else whole(close, f"close_by of object {name}", low=-(10**7), high=10**7)
    given = [thing.get(k) for k in ("photo_by", "mount_by")]
    photo, mount = (close if g is None else whole(g, f"date of object {name}", low=-(10**7), high=10**7) for g in given)
    return photo, mount, close


class _Columns:
    """Grows the columns of ``Work`` object by object."""

    def __init__(self, skill_index: dict[str, int]) -> None:
        self.skill_index = skill_index
        self.release: list[int] = []
        self.mandatory: list[int] = []
        self.level_ptr = [0]
        self.benefit: list[int] = []
        self.step_ptr = [0]
        self.rows: list[tuple[int, ...]] = []
        self.owner: list[int] = []
        self.pred_ptr = [0]
        self.pred: list[int] = []
        self.step_ids: list[str] = []
        self.kinds: list[str] = []

    def add_object(self, i: int, thing: Mapping[str, Any], name: str, dates: NDArray[np.int64]) -> None:
        self.release.append(whole(thing.get("release", 0), f"release of object {name}", low=-(10**7), high=10**7))
        self.mandatory.append(bool(thing.get("mandatory", False)))
        levels = entries(thing, "levels", f"object {name}")
        if len(levels) > MOST_LEVELS:
            raise ValueError(f"levels of object {name} must be at most {MOST_LEVELS}")
        for level in levels:
            self.benefit.append(whole(level.get("benefit", 0), f"benefit of object {name}", low=0, high=10**9))
            self.owner.append(i)
            self._add_steps(entries(level, "steps", f"a level of object {name}"), name, dates)
            self.step_ptr.append(len(self.rows))
        self.level_ptr.append(len(self.benefit))

    def _add_steps(self, steps: Sequence[Mapping[str, Any]], name: str, dates: NDArray[np.int64]) -> None:
        order, preds = _in_order(steps, name)
        first = len(self.rows)
        place = {s: first + n for n, s in enumerate(order)}
        own = [self._step(steps[s], name, dates) for s in order]
        latest = [limit - q for *_, q, _, limit in own]
        for n in reversed(range(len(order))):
            for p in preds[order[n]]:
                m = place[p] - first
                latest[m] = min(latest[m], latest[n] - own[m][2] - own[m][3])
        head = [max(self.release[-1], 0)] * len(order)
        for n, s in enumerate(order):
            for p in preds[s]:
                m = place[p] - first
                head[n] = max(head[n], head[m] + own[m][2] + own[m][3])
            self.rows.append((*own[n], latest[n], head[n]))
            self.pred.extend(place[p] for p in preds[s])
            self.pred_ptr.append(len(self.pred))
            self.step_ids.append(an_id(steps[s], f"step of object {name}"))
            self.kinds.append(str(steps[s].get("kind", "")))

    def _step(self, step: Mapping[str, Any], name: str, dates: NDArray[np.int64]) -> tuple[int, int, int, int, int]:
        """Skill, resource, working time, cure and last end of one step."""
        q = whole(step.get("q"), f"q of a step of object {name}", low=1, high=10**7)
        cure = whole(step.get("cure", 0), f"cure of a step of object {name}", low=0, high=10**7)
        resource = step.get("resource")
        if resource is not None and resource not in RESOURCES:
            raise ValueError(f"resource of a step of object {name} must be 'hood', 'bench' or nothing")
        photo, mount, close = (int(d) for d in dates)
        limit = min({"photo": photo, "mount": mount}.get(str(step.get("kind", "")), close), close - cure)
        return (
            self.skill_index[str(step.get("skill"))],
            -1 if resource is None else RESOURCES.index(resource),
            q,
            cure,
            limit,
        )

    def work(self) -> Work:
        table = np.array(self.rows, np.int64).reshape(-1, 7)
        skill, resource, q, cure, limit, latest, head = (np.ascontiguousarray(c) for c in table.T)
        gathered = (self.release, self.mandatory, self.level_ptr, self.owner, self.benefit, self.step_ptr)
        release, mandatory, level_ptr, owner, benefit, step_ptr = (np.array(c, np.int64) for c in gathered)
        preds = (np.array(self.pred_ptr, np.int64), np.array(self.pred, np.int64))
        of_objects = (release, mandatory, level_ptr, owner, benefit, step_ptr)
        return Work(*of_objects, skill, resource, q, cure, head, latest, limit, *preds)


def _in_order(steps: Sequence[Mapping[str, Any]], name: str) -> tuple[list[int], list[list[int]]]:
    """Positions of the steps so that each comes after its predecessors, and the predecessors' positions."""
    place = {an_id(s, f"step of object {name}"): n for n, s in enumerate(steps)}
    if len(place) < len(steps):
        raise ValueError(f"a level of object {name} has two steps with one id")
    try:
        preds = [[place[str(p)] for p in s.get("preds", ())] for s in steps]
    except KeyError as missing:
        raise ValueError(f"preds of a step of object {name} name an unknown step {missing}") from None
    order: list[int] = []
    waiting = [len(p) for p in preds]
    follows: list[list[int]] = [[] for _ in steps]
    for n, before in enumerate(preds):
        for p in before:
            follows[p].append(n)
    ready = [n for n, w in enumerate(waiting) if w == 0]
    while ready:
        n = ready.pop(0)
        order.append(n)
        for f in follows[n]:
            waiting[f] -= 1
            if waiting[f] == 0:
                ready.append(f)
    if len(order) < len(steps):
        raise ValueError(f"preds of the steps of object {name} run in a circle")
    return order, preds
