"""Time at the bench as it is shown: the running clock, a person's week, what was done on an object."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID

from django.utils import timezone

from media.base.errors import FettleError, NotThere
from media.base.models import Role, User
from survey.register.db.models import Object
from survey.register.db.selectors import current_exhibition
from survey.register.exporting import neutralise
from treatments.hours.db.models import LoggedTime, RunningClock, Treatment
from treatments.hours.db.selectors.plans import ObjectPlan, plans_of
from treatments.options.db import selectors as options
from treatments.options.steps import ThreePoint

ASK_AFTER = timedelta(hours=6)
"""A clock that has run for so long, or over midnight, was probably forgotten (common practice: a sitting at the bench
without a break seldom lasts longer than four hours)."""
DAY_ENDS = time(17)
COLUMNS = (
    "date", "person", "accession_number", "simple_name", "level", "step", "started_at", "ended_at", "hours",
    "step_finished", "note",
)  # fmt: skip


def forgotten(clock: RunningClock, now: datetime) -> bool:
    """Whether a running clock must be asked about before its time is believed."""
    return now - clock.started_at > ASK_AFTER or timezone.localdate(now) != timezone.localdate(clock.started_at)


@dataclass(frozen=True)
class ShownClock:
    """A running clock; ``suggested`` is when its work probably ended, if it was forgotten."""

    row: RunningClock
    step: str
    since: datetime
    forgotten: bool
    suggested: datetime


def step_names() -> dict[str, str]:
    """Code to name of every step in the table in use."""
    return {step.code: step.name for level in options.table_in_use().levels for step in level.steps}


def clock_of(user: User, now: datetime) -> ShownClock | None:
    """The clock that a person has running. One query, two with one running."""
    row = RunningClock.objects.filter(worker=user).select_related("object").first()
    if row is None:
        return None
    start = timezone.localtime(row.started_at)
    closing = timezone.make_aware(datetime.combine(start.date(), DAY_ENDS))
    suggested = min(now, closing if closing > row.started_at else row.started_at + timedelta(hours=1))
    return ShownClock(row, step_names().get(row.step, row.step), start, forgotten(row, now), suggested)


@dataclass(frozen=True)
class TimeLine:
    """Logged time with the name of its step."""

    row: LoggedTime
    step: str


@dataclass(frozen=True)
class Week:
    """A person's time from Monday to Sunday; ``days`` has each day with anything on it, the newest first."""

    person: User
    monday: date
    days: list[tuple[date, float, list[TimeLine]]]
    struck: list[TimeLine]
    hours: float

    @property
    def before(self) -> date:
        return self.monday - timedelta(weeks=1)

    @property
    def after(self) -> date:
        return self.monday + timedelta(weeks=1)


def week_of(person: User, day: date) -> Week:
    """What somebody worked in the week of a day. Three queries."""
    monday = day - timedelta(days=day.weekday())
    rows = LoggedTime.objects.filter(worker=person, on__gte=monday, on__lt=monday + timedelta(weeks=1))
    rows = rows.select_related("treatment__object", "worker").order_by("-on", "-started_at", "-pk")
    names, days = step_names(), defaultdict(list)
    lines = [TimeLine(row, names.get(row.step, row.step)) for row in rows.filter(corrected_by=None)]
    for line in lines:
        if line.row.taken_out_at is None:
            days[line.row.on].append(line)
    shown = [(on, sum(line.row.hours for line in found), found) for on, found in days.items()]
    return Week(person, monday, shown, [x for x in lines if x.row.taken_out_at], sum(hours for _, hours, _ in shown))


def people_who_log() -> list[User]:
    """Everybody whose time at the bench can be written down."""
    rows = User.objects.filter(is_active=True, role__in=[Role.CONSERVATOR, Role.HEAD])
    return sorted(rows, key=lambda user: user.shown.casefold())


def the_person(number: str) -> User:
    """Who has a number, as an address says it. Raises ``FettleError``."""
    whole = number.isascii() and number.isdigit() and len(number) < 10
    found = User.objects.filter(pk=int(number)).first() if whole else None
    if found is None:
        raise FettleError("Nobody of that number is known here. Choose a person from the list.")
    return found


def logged(pk: int) -> LoggedTime:
    """One entry of time. Raises ``NotThere``."""
    row = LoggedTime.objects.select_related("treatment__object", "worker").filter(pk=pk).first()
    if row is None:
        raise NotThere("This time is not in the record.")
    return row


@dataclass(frozen=True)
class StepDone:
    """A step of an object's treatment: what it should take, what it took, whether it is finished."""

    code: str
    name: str
    kind: str
    expected: ThreePoint | None
    hours: float
    done: bool
    running: list[User]


@dataclass(frozen=True)
class ObjectTime:
    """Everything about the time that an object took and takes."""

    object: Object
    plan: ObjectPlan
    treatment: Treatment | None
    steps: list[StepDone]
    others: list[tuple[str, str]]
    lines: list[TimeLine]
    struck: list[TimeLine]
    finished: list[Treatment]
    hours: float

    @property
    def taken_down(self) -> bool:
        return any(step.kind == "take_down" and (step.done or step.hours) for step in self.steps)

    @property
    def expected(self) -> float:
        return sum(step.expected.likely for step in self.steps if step.expected)


def object_time(pk: UUID) -> ObjectTime:
    """An object's treatment that goes on, or else how it would go, step by step. Raises ``NotThere``."""
    thing = Object.objects.select_related("place").filter(pk=pk).first()
    if thing is None:
        raise NotThere("This object is not in the register. Search for its number instead.")
    exhibition = current_exhibition(timezone.localdate())
    listed = exhibition and exhibition.entries.filter(object=thing, removed_at=None).exists()
    plan = plans_of(exhibition if listed else None, [pk])[pk]
    treatments = list(Treatment.objects.filter(object=thing).order_by("-finished_on", "-pk"))
    going = next((row for row in treatments if row.finished_on is None), None)
    rows = LoggedTime.objects.filter(treatment=going, corrected_by=None) if going else LoggedTime.objects.none()
    names = step_names()
    lines = [
        TimeLine(row, names.get(row.step, row.step))
        for row in rows.select_related("worker", "treatment__object").order_by("-on", "-started_at", "-pk")
    ]
    standing = [line for line in lines if line.row.taken_out_at is None]
    steps = _steps(thing, plan, going, standing)
    offered = {step.code for step in steps}
    return ObjectTime(
        object=thing, plan=plan, treatment=going, steps=steps,
        others=[(code, name) for code, name in names.items() if code not in offered],
        lines=standing, struck=[line for line in lines if line.row.taken_out_at],
        finished=[row for row in treatments if row.finished_on], hours=sum(line.row.hours for line in standing),
    )  # fmt: skip


def _steps(thing: Object, plan: ObjectPlan, going: Treatment | None, lines: list[TimeLine]) -> list[StepDone]:
    """Steps of the level in order, then any other on which time was logged."""
    kinds = {step.code: step for level in options.table_in_use().levels for step in level.steps}
    running = defaultdict(list)
    for clock in RunningClock.objects.filter(object=thing).select_related("worker"):
        running[clock.step].append(clock.worker)
    expected = {step.code: step.hours for step in plan.counts.steps}
    if going and going.estimate and going.level != plan.level:
        expected = {code: ThreePoint(*points) for code, points in going.estimate.items()}
    hours: dict[str, float] = defaultdict(float)
    done = {line.row.step for line in lines if line.row.step_done}
    for line in lines:
        hours[line.row.step] += line.row.hours
    codes = [*expected, *(code for code in {**hours, **running} if code not in expected)]
    return [
        StepDone(
            code, kinds[code].name if code in kinds else code, kinds[code].kind if code in kinds else "",
            expected.get(code), hours.get(code, 0.0), code in done, running.get(code, []),
        )
        for code in codes
    ]  # fmt: skip


def time_rows(first: date, last: date, *, person: User | None = None) -> Iterator[list[Any]]:
    """Standing time from day to day as rows for a file; no text in it can start to compute in a spreadsheet."""
    rows = LoggedTime.objects.standing().filter(on__gte=first, on__lte=last)
    rows = rows.filter(worker=person) if person else rows
    for row in rows.select_related("treatment__object", "worker").order_by("on", "started_at", "pk").iterator(2_000):
        cells = [
            row.on, row.worker.shown, row.treatment.object.number, row.treatment.object.simple_name,
            row.treatment.level, row.step, _moment(row.started_at), _moment(row.ended_at), round(row.hours, 2),
            "yes" if row.step_done else "", row.note,
        ]  # fmt: skip
        yield [neutralise("" if cell is None else cell) for cell in cells]


def _moment(when: datetime | None) -> str:
    return timezone.localtime(when).strftime("%Y-%m-%d %H:%M") if when else ""
