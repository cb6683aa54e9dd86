"""The work of an exhibition as a planning instance: levels, dates, people and benches from now to opening day."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any
from uuid import UUID

from media.base.errors import FettleError
from survey.register.db.models import ChecklistEntry, Exhibition, Use
from survey.register.db.selectors import entry_map, milestones_of
from treatments.hours.db.models import Treatment
from treatments.hours.db.selectors import LevelHours, ObjectPlan, left_of, object_plans, worked_on
from treatments.hours.estimate import lognormal_from_quantiles
from treatments.options.steps import StepHours
from treatments.planning.calendar import QUARTERS, end_of_day, monday_of, quarter_of, weeks_up_to
from treatments.planning.db.selectors.staff import Department, department

SITTING = 16  # quarter-hours: nobody works at one step for longer without a break
MOST_HOURS = 20_000.0  # of one object: ten years of one person at the bench, so surely a measure mistyped
MOST_AHEAD = timedelta(days=3653)
PLACES = {"fume_hood": "hood", "photography_bench": "bench", "none": None}
MOUNTED = {Use.OPEN_MOUNT, Use.TRAVELS}


@dataclass(frozen=True)
class Work:
    """The checklist as a planning instance. ``due`` is the day by which each object must be ready."""

    exhibition: Exhibition
    today: date
    monday: date
    milestones: dict[str, date]
    due: dict[UUID, date]
    plans: dict[UUID, ObjectPlan]
    entries: dict[UUID, ChecklistEntry]
    department: Department
    instance: dict[str, Any]
    done: set[UUID] = field(default_factory=set)
    begun: set[UUID] = field(default_factory=set)

    @property
    def planned(self) -> dict[str, Any]:
        """The plan that names a level for each object and leaves the order to its dates."""
        return {"levels": {thing["id"]: 0 for thing in self.instance["objects"]}}

    @property
    def overdue(self) -> set[UUID]:
        """Objects with work left whose day has passed: late already, whatever happens."""
        return {plan.object_id for plan in self.left if self.due[plan.object_id] < self.today}

    @property
    def left(self) -> list[ObjectPlan]:
        """What is still to be done: plans with work that is not finished."""
        return [plan for pk, plan in self.plans.items() if pk not in self.done and plan.counts.steps]


def days_ahead(exhibition: Exhibition, today: date) -> dict[str, date]:
    """Milestones of an exhibition that is still to open. Raises ``FettleError``, in words, for any other."""
    found = milestones_of(exhibition)
    opening = found.get("opening")
    if opening is None:
        raise FettleError(f"{exhibition} has no opening day yet. Set its dates first.")
    if opening < today:
        raise FettleError(
            f"{exhibition} opened on {opening:%-d %B %Y}: there is nothing to forecast or plan. "
            "Set new dates, or close it."
        )
    if opening - today > MOST_AHEAD:
        raise FettleError(f"{exhibition} opens on {opening:%-d %B %Y}, more than ten years ahead. Check the date.")
    return found


def gather_work(exhibition: Exhibition, now: datetime) -> Work:
    """Levels, dates, people and benches from ``now`` (local, without a zone) to opening day. About twenty queries.

    An object for which a treatment was finished for this exhibition is done; of one that goes on, what is left of its
    steps is to do. Raises ``FettleError`` where nothing can
    be forecast.
    """
    milestones, monday = days_ahead(exhibition, now.date()), monday_of(now.date())
    entries, plans = entry_map(exhibition), object_plans(exhibition)
    # In the order in which they came onto the list: draws go by place, so what is added changes nobody else's.
    entries = {pk: entry for pk, entry in sorted(entries.items(), key=lambda item: item[1].pk) if pk in plans}
    there = department(
        monday, weeks_up_to(milestones["opening"], monday), not_before=quarter_of(now, monday)
    )  # fmt: skip
    due = {pk: due_day(entry, milestones) for pk, entry in entries.items()}
    finished = Treatment.objects.filter(exhibition=exhibition, finished_on__isnull=False)
    done = set(finished.values_list("object_id", flat=True)) & entries.keys()
    worked = worked_on(list(plans.keys() - done))
    for pk, steps in worked.items():
        plans[pk] = replace(plans[pk], counts=left_of(plans[pk].counts, steps))
    sittings = longest_sittings(there)
    clock = _Clock(now.date(), monday, quarter_of(now, monday), milestones)
    objects = [
        _as_object(plans[pk], entry, due[pk], clock, sittings)
        for pk, entry in entries.items()
        if pk not in done and plans[pk].counts.steps
    ]
    instance = {**there.as_instance(), "objects": objects}
    return Work(exhibition, now.date(), monday, milestones, due, plans, entries, there, instance, done, set(worked))


def due_day(entry: ChecklistEntry, milestones: Mapping[str, date]) -> date:
    """When an object must be ready: its own date, else mount-making for what is mounted, else case closing."""
    if entry.need_by:
        return entry.need_by
    kind = "mount_making" if entry.use in MOUNTED else "case_closing"
    return milestones.get(kind, milestones["opening"])


def longest_sittings(there: Department) -> dict[str, int]:
    """Skill to the longest sitting, in quarter-hours, that fits a shift of somebody who has it; at most four hours.

    A step cut longer than any shift could be given to nobody.
    """
    found: dict[str, int] = {}
    for person, shifts in zip(there.people, there.shifts, strict=True):
        longest = max((end - start for start, end in shifts), default=0)
        for skill in person.skills:
            found[skill] = max(found.get(skill, 0), min(longest, SITTING))
    return {skill: length for skill, length in found.items() if length}


@dataclass(frozen=True)
class _Clock:
    """Today, the Monday from which quarter-hours count, which of them is now, and the dates of the exhibition."""

    today: date
    monday: date
    now: int
    milestones: Mapping[str, date]

    def end(self, day: date | None) -> int:
        """The end of a day; of opening day for one that has passed, since work missed is still to be done."""
        opening = self.milestones["opening"]
        return end_of_day(day if day and day >= self.today else opening, self.monday)


def _as_object(
    plan: ObjectPlan, entry: ChecklistEntry, due: date, clock: _Clock, sittings: Mapping[str, int]
) -> dict[str, Any]:
    close = clock.end(due)
    expected = sum(mean_hours(step) for step in plan.counts.steps)
    if expected > MOST_HOURS:
        raise FettleError(
            f"{entry.object} comes to {expected:,.0f} hours. Check what was measured of it, or treat it less far."
        )
    return {
        "id": str(plan.object_id),
        "case": entry.section or "all",
        "importance": entry.importance,
        "mandatory": entry.importance >= 4,
        "release": clock.now,
        "photo_by": min(close, clock.end(clock.milestones.get("photography"))),
        "mount_by": close,
        "close_by": close,
        "levels": [
            {
                "name": plan.level,
                "benefit": max(1, round(1000 * entry.importance / max(1.0, expected))),
                "steps": as_steps(plan.counts, sittings),
            }
        ],
    }


def as_steps(level: LevelHours, sittings: Mapping[str, int]) -> list[dict[str, Any]]:
    """Steps as sittings, each after the one before and its wait. The last photograph is what photography waits for."""
    made: list[dict[str, Any]] = []
    before: list[str] = []
    photographs = [turn for turn, step in enumerate(level.steps) if step.kind == "photograph"]
    for place, step in enumerate(level.steps):
        turn = level.turns[place] if level.turns else place  # a step keeps its name when those before it are done
        lengths = _cut(max(1, round(mean_hours(step) * QUARTERS)), sittings.get(step.skill, SITTING))
        for part, length in enumerate(lengths):
            name = f"{turn:02d}-{step.code}" + (f"-{part + 1}" if len(lengths) > 1 else "")
            made.append(
                {
                    "id": name,
                    "kind": "photo" if place in photographs[-1:] else step.kind,
                    "skill": step.skill,
                    "resource": PLACES[step.resource],
                    "q": length,
                    "cure": round(step.wait.likely * QUARTERS) if part == len(lengths) - 1 else 0,
                    "preds": before,
                }
            )
            before = [name]
    return made


def _cut(total: int, longest: int) -> Sequence[int]:
    """A step's quarter-hours as sittings of nearly one length, none longer than ``longest``."""
    parts = math.ceil(total / longest)
    return [total // parts + (part < total % parts) for part in range(parts)]


def mean_hours(step: StepHours) -> float:
    """Mean of the log-normal through low and high: what a long run of such steps takes on average."""
    return _mean(step.hours.low, step.hours.high)


@lru_cache(maxsize=1 << 16)
def _mean(low: float, high: float) -> float:
    # Kept, since levels of an object share steps: that halves the time in which a first plan is there.
    return float(lognormal_from_quantiles(low, high).mean)
