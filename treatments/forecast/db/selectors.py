"""The work of an exhibition as a planning instance, and forecasts as they are shown."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from media.base.models import Job
from media.base.pages import Page, keyset
from survey.register.db.models import ChecklistEntry, Exhibition, MilestoneKind, Use
from survey.register.db.selectors import entry_map, milestones_of
from treatments.forecast.db.models import Forecast, ObjectForecast
from treatments.hours.db.models import Treatment
from treatments.hours.db.selectors import LevelHours, ObjectPlan, object_plans
from treatments.hours.estimate import lognormal_from_quantiles
from treatments.options.steps import StepHours
from treatments.planning.calendar import end_of_day, monday_of, quarter_of, weeks_up_to
from treatments.planning.db.models import StaffMember
from treatments.planning.db.selectors import Department, department, quarters

SITTING = 16  # quarter-hours: nobody works at one step for longer without a break
PLACES = {"fume_hood": "hood", "photography_bench": "bench", "none": None}
MOUNTED = {Use.OPEN_MOUNT, Use.TRAVELS}


@dataclass(frozen=True)
class Work:
    """The checklist as a planning instance. ``due`` is the day by which each object must be ready."""

    exhibition: Exhibition
    monday: date
    milestones: dict[str, date]
    due: dict[UUID, date]
    plans: dict[UUID, ObjectPlan]
    entries: dict[UUID, ChecklistEntry]
    department: Department
    instance: dict[str, Any]
    done: set[UUID] = field(default_factory=set)

    @property
    def planned(self) -> dict[str, Any]:
        """The plan that names a level for each object and leaves the order to its dates."""
        return {"levels": {thing["id"]: 0 for thing in self.instance["objects"]}}


def gather_work(exhibition: Exhibition, now: datetime) -> Work:
    """Levels, dates, people and benches from ``now`` (local, without a zone) to opening day. About twenty queries."""
    monday, milestones = monday_of(now.date()), milestones_of(exhibition)
    entries, plans = entry_map(exhibition), object_plans(exhibition)
    last = max([*milestones.values(), now.date() + timedelta(weeks=1)])
    opening = milestones.get("opening", last)
    weeks = weeks_up_to(max(opening, now.date()), monday)
    there = department(monday, weeks, not_before=quarter_of(now, monday))
    due = {pk: due_day(entry, milestones, opening) for pk, entry in entries.items()}
    finished = Treatment.objects.filter(exhibition=exhibition, finished_on__isnull=False)
    done = set(finished.values_list("object_id", flat=True)) & entries.keys()
    now_quarter = quarter_of(now, monday)
    objects = [
        _as_object(plans[pk], entry, due[pk], milestones, opening, monday, now_quarter)
        for pk, entry in entries.items()
        if pk not in done and plans[pk].counts.steps
    ]
    instance = {**there.as_instance(), "objects": objects}
    return Work(exhibition, monday, milestones, due, plans, entries, there, instance, done)


def due_day(entry: ChecklistEntry, milestones: Mapping[str, date], opening: date) -> date:
    """When an object must be ready: its own date, else mount-making for what is mounted, else case closing."""
    if entry.need_by:
        return entry.need_by
    kind = "mount_making" if entry.use in MOUNTED else "case_closing"
    return milestones.get(kind, opening)


def _as_object(
    plan: ObjectPlan,
    entry: ChecklistEntry,
    due: date,
    milestones: Mapping[str, date],
    opening: date,
    monday: date,
    now: int,
) -> dict[str, Any]:
    close = end_of_day(due, monday)
    steps = _as_steps(plan.counts)
    benefit = round(1000 * entry.importance / max(1.0, plan.counts.hours.likely))
    return {
        "id": str(plan.object_id),
        "case": entry.section or "all",
        "importance": entry.importance,
        "mandatory": entry.importance >= 4,
        "release": now,
        "photo_by": min(close, end_of_day(milestones.get("photography", opening), monday)),
        "mount_by": close,
        "close_by": close,
        "levels": [{"name": plan.level, "benefit": max(1, benefit), "steps": steps}],
    }


def _as_steps(level: LevelHours) -> list[dict[str, Any]]:
    """Steps as sittings of at most four hours, each after the one before and its wait."""
    made: list[dict[str, Any]] = []
    before: list[str] = []
    for turn, step in enumerate(level.steps):
        total = quarters(_mean_hours(step))
        parts = math.ceil(total / SITTING)
        for part in range(parts):
            name = f"{turn:02d}-{step.code}" + (f"-{part + 1}" if parts > 1 else "")
            made.append(
                {
                    "id": name,
                    "kind": "photo" if step.code == "photograph_after" else step.kind,
                    "skill": step.skill,
                    "resource": PLACES[step.resource],
                    "q": total // parts + (1 if part < total % parts else 0),
                    "cure": round(step.wait.likely * 4) if part == parts - 1 else 0,
                    "preds": before,
                }
            )
            before = [name]
    return made


def _mean_hours(step: StepHours) -> float:
    """Mean of the log-normal through low and high: what a long run of such steps takes on average."""
    return float(lognormal_from_quantiles(step.hours.low, step.hours.high).mean)


def latest_forecast(exhibition: Exhibition | None) -> Forecast | None:
    """The newest finished forecast of an exhibition."""
    if exhibition is None:
        return None
    rows = Forecast.objects.filter(exhibition=exhibition, finished_at__isnull=False)
    return rows.select_related("exhibition", "job").order_by("-finished_at").first()


def earlier_forecasts(forecast: Forecast, *, at_most: int = 30) -> list[Forecast]:
    """Finished forecasts before this one, oldest first; one a day."""
    rows = Forecast.objects.filter(exhibition=forecast.exhibition, finished_at__lt=forecast.finished_at)
    newest: dict[date, Forecast] = {}
    for row in rows.order_by("finished_at").only("as_of", "finish", "chance_all", "chances"):
        newest[row.as_of] = row
    return list(newest.values())[-at_most:]


def nobody_works() -> bool:
    """Whether no staff are recorded at all: then there is nothing to forecast with."""
    return not StaffMember.objects.exists()


def running_job(exhibition: Exhibition | None) -> Job | None:
    """The job of a forecast that is being made now."""
    if exhibition is None:
        return None
    row = Forecast.objects.filter(exhibition=exhibition, finished_at=None, job__state__in=("queued", "running"))
    found = row.select_related("job").order_by("-made_at").first()
    return found.job if found else None


@dataclass(frozen=True)
class MilestoneChance:
    """A date, and the chance that all due by it is ready."""

    name: str
    date: date
    chance: float


@dataclass(frozen=True)
class ShownForecast:
    """A forecast as its page draws it."""

    row: Forecast
    milestones: list[MilestoneChance]
    opening: date | None
    at_opening: float | None
    finish: dict[str, date | None]
    history: list[dict[str, Any]]
    weeks: list[dict[str, Any]]
    readiness: list[tuple[date, float]]
    late: list[ObjectForecast]

    @property
    def short(self) -> float:
        """Hours needed beyond those that there are, likely; negative when there are hours to spare."""
        return float(self.row.hours_needed.get("likely", 0.0)) - self.row.hours_there


def shown_forecast(exhibition: Exhibition | None) -> ShownForecast | None:
    """The newest finished forecast with everything that its page draws. Five queries."""
    row = latest_forecast(exhibition)
    if row is None or exhibition is None:
        return None
    dates = milestones_of(exhibition)
    chances = [
        MilestoneChance(str(MilestoneKind(kind).label), dates[kind], chance)
        for kind, chance in row.chances.items()
        if kind in dates
    ]
    past = [point for earlier in earlier_forecasts(row) if (point := _ready_point(earlier))]
    return ShownForecast(
        row=row,
        milestones=sorted(chances, key=lambda milestone: milestone.date),
        opening=dates.get("opening"),
        at_opening=row.chances.get("opening"),
        finish={name: date.fromisoformat(day) if day else None for name, day in row.finish.items()},
        history=past,
        weeks=[{**week, "week": date.fromisoformat(week["week"])} for week in row.weeks],
        readiness=[(date.fromisoformat(day), chance) for day, chance in row.curve],
        late=list(row.object_forecasts.filter(late__gt=0.1).select_related("object").order_by("-late", "object")[:12]),
    )


def _ready_point(row: Forecast) -> dict[str, Any] | None:
    """One forecast in the history: the day it was made and the chance it gave."""
    return {"date": row.as_of, "chance": row.chances["opening"]} if "opening" in row.chances else None


def late_page(forecast: Forecast | None, *, after: str | None, size: int = 50) -> Page[ObjectForecast]:
    """Objects of a forecast, the most likely late first. One query."""
    rows = ObjectForecast.objects.filter(forecast=forecast).select_related("object__place")
    return keyset(rows, order=["-late", "object_id"], after=after, size=size)
