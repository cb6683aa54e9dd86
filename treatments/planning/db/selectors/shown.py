"""Plans as they are shown: one week, all weeks, one person."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.utils import timezone

from media.base.models import Job, JobState
from survey.register.db.models import Exhibition, MilestoneKind
from survey.register.db.selectors import current_exhibition, milestones_of
from treatments.options.db import selectors as options
from treatments.planning.board import Board, Sitting, draw_week
from treatments.planning.calendar import monday_of
from treatments.planning.db.models import CalendarAddress, Plan, PlannedStep
from treatments.planning.db.selectors.staff import Department, department, holidays, staff_members

NOBODY = "Nobody any more"


@dataclass(frozen=True)
class Line:
    """One sitting as a line of the table: times in the museum's own."""

    step: PlannedStep
    starts: datetime
    ends: datetime
    wait_until: datetime | None
    level: str

    @property
    def hours(self) -> float:
        return (self.ends - self.starts).total_seconds() / 3600

    @property
    def person(self) -> str:
        return self.step.staff.name if self.step.staff else NOBODY


@dataclass(frozen=True)
class Cell:
    """One person's week in the view of all weeks: hours planned and there, where it is drawn."""

    monday: date
    planned: float
    there: float
    sittings: int


@dataclass(frozen=True)
class WeekView:
    """One week of a plan: its drawing and its sittings, and the weeks before and after within the plan."""

    monday: date
    last: date
    board: Board
    lines: list[Line]
    before: date | None
    after: date | None
    ids: list[str]

    @property
    def days(self) -> list[date]:
        """The days that the board shows."""
        return [self.monday + timedelta(days=n) for n in range(len(self.board.days))]


def newest_plan_job(exhibition: Exhibition | None) -> Job | None:
    """The job of the plan asked for last while it runs, or if it failed."""
    if exhibition is None:
        return None
    rows = Plan.objects.filter(exhibition=exhibition, job__isnull=False).select_related("job").order_by("-made_at")
    found = rows.first()
    wanted = {JobState.QUEUED, JobState.RUNNING, JobState.FAILED}
    return found.job if found and found.job and found.job.state in wanted else None


def span(plan: Plan) -> tuple[date, date]:
    """Mondays of the first week of a plan, and of the last: that of opening day, or of its last sitting."""
    first = monday_of(timezone.localtime(plan.made_at).date())
    opening = milestones_of(plan.exhibition).get("opening", first)
    last = plan.steps.order_by("-ends").values_list("ends", flat=True).first()
    ends = timezone.localtime(last).date() if last else first
    return first, monday_of(max(opening, ends, first))


def lines_of(plan: Plan, first: date, last: date, *, staff: Any = None) -> list[Line]:
    """Sittings that begin from one day to another, both included, in order of time. Two queries."""
    rows = _between(plan, first, last)
    return _as_lines(rows.filter(staff=staff) if staff else rows)


def _between(plan: Plan, first: date, last: date) -> Any:
    begin, end = _midnight(first), _midnight(last + timedelta(days=1))
    found = plan.steps.filter(starts__gte=begin, starts__lt=end)
    return found.select_related("object__place", "staff", "pinned_by").order_by("starts", "staff__name", "pk")


def _as_lines(rows: Any) -> list[Line]:
    names = {level.code: level.name for level in options.table_in_use().levels}
    return [
        Line(row, _local(row.starts), _local(row.ends), _local(row.wait_until) if row.wait_until else None,
             names.get(row.level, row.level))
        for row in rows
    ]  # fmt: skip


def week_view(plan: Plan, wanted: date | None, *, clashing: Collection[int] = ()) -> WeekView:
    """One week: the one asked for, else this one, within the plan. ``clashing`` sittings are marked. About ten queries.

    ``ids`` of the view are of whom the rows of the board are, empty for nobody.
    """
    first, last = span(plan)
    monday = min(max(monday_of(wanted or timezone.localdate()), first), last)
    there = department(monday, 1)
    lines = lines_of(plan, monday, monday + timedelta(days=6))
    begin = _midnight(monday)
    waiting = plan.steps.filter(starts__lt=begin, wait_until__gt=begin).select_related("object", "staff")
    people = [*there.names]
    if any(line.step.staff_id is None for line in lines):
        people.append(NOBODY)
    rows = {person.id: row for row, person in enumerate(there.people)}
    sittings = [
        Sitting(
            line.step.pk, rows.get(str(line.step.staff_id), len(people) - 1), line.starts, line.ends,
            line.step.object.number, _words(line) + (", clashes" if line.step.pk in clashing else ""), line.wait_until,
            line.step.pinned_by_id is not None, line.step.pk in clashing,
        )
        for line in [*lines, *(one for one in _as_lines(waiting) if str(one.step.staff_id) in rows)]
    ]  # fmt: skip
    board = draw_week(monday, people, sittings, away=_away(there, monday), dates=_dates(plan.exhibition))
    week = timedelta(weeks=1)
    before, after = monday - week, monday + week
    return WeekView(
        monday, monday + timedelta(days=6), board, lines,
        before if before >= first else None, after if after <= last else None,
        [*(person.id for person in there.people), *([""] if len(people) > len(there.people) else [])],
    )  # fmt: skip


def _words(line: Line) -> str:
    """A sitting in one sentence, for those who hear it and for the tip."""
    held = ", pinned" if line.step.pinned_by_id else ""
    waits = f", sets until {line.wait_until:%A %H:%M}" if line.wait_until else ""
    return (
        f"{line.person}, {line.starts:%A %-d %B, %H:%M} to {line.ends:%H:%M}: {line.step.object.number}, "
        f"{line.step.name}{waits}{held}"
    )


def _away(there: Department, monday: date) -> list[tuple[int, date, str]]:
    """Days of the week on which somebody does not work: row, day, why."""
    off = {row.date: row.name or "Day off" for row in holidays(monday, monday + timedelta(days=6))}
    found = []
    for row, person in enumerate(there.people):
        for n in range(7):
            day = monday + timedelta(days=n)
            if person.works_on(day, off):
                continue
            leave = any(first <= day <= last for first, last in person.leave)
            found.append((row, day, off.get(day) or ("Leave" if leave else "Not in")))
    return found


def _dates(exhibition: Exhibition) -> list[tuple[str, date]]:
    return [(str(MilestoneKind(kind).label), day) for kind, day in milestones_of(exhibition).items() if kind != "end"]


def all_weeks(plan: Plan) -> dict[str, Any]:
    """All weeks: for each person and week, hours planned against hours there; and dates. About eight queries."""
    first, last = span(plan)
    weeks = (last - first).days // 7 + 1
    there = department(first, weeks)
    hours: dict[tuple[str, int], float] = defaultdict(float)
    counts: dict[tuple[str, int], int] = defaultdict(int)
    for staff, starts, ends in plan.steps.values_list("staff_id", "starts", "ends"):
        key = str(staff), (_local(starts).date() - first).days // 7
        hours[key] += (ends - starts).total_seconds() / 3600
        counts[key] += 1
    mondays = [first + timedelta(weeks=n) for n in range(weeks)]
    rows = []
    for name, person, shifts in zip(there.names, there.people, there.shifts, strict=True):
        per_week: dict[int, float] = defaultdict(float)
        for start, end in shifts:
            per_week[start // 672] += (end - start) / 4
        cells = [
            Cell(monday, hours[person.id, n], per_week[n], counts[person.id, n]) for n, monday in enumerate(mondays)
        ]
        rows.append((name, cells))
    due: dict[date, list[tuple[str, date]]] = defaultdict(list)
    for kind, day in _dates(plan.exhibition):
        due[monday_of(day)].append((kind, day))
    return {"mondays": [(monday, due.get(monday, [])) for monday in mondays], "rows": rows}


def pinned_objects(plan: Plan) -> int:
    """How many objects of a plan are held where they are. One query."""
    return plan.steps.filter(pinned_by__isnull=False).order_by().values("object").distinct().count()


def sheets(plan: Plan, monday: date) -> list[tuple[str, list[Line], float]]:
    """Each person's week for printing: name, sittings, hours. Everybody on the staff, those without work too."""
    by_person: dict[str, list[Line]] = {member.name: [] for member in staff_members()}
    for line in lines_of(plan, monday, monday + timedelta(days=6)):
        by_person.setdefault(line.person, []).append(line)
    return [(name, lines, sum(line.hours for line in lines)) for name, lines in by_person.items()]


def calendar_lines(token: str) -> tuple[CalendarAddress, Plan | None, list[Line]] | None:
    """Who has an address, the plan that stands, and that person's sittings; none for an address that has ended."""
    found = CalendarAddress.objects.filter(token=token).select_related("staff").first()
    if found is None:
        return None
    exhibition = current_exhibition(timezone.localdate())
    rows = Plan.objects.filter(exhibition=exhibition, finished_at__isnull=False, kept_at__isnull=False)
    plan = rows.order_by("-made_at").first()
    if plan is None:
        return found, None, []
    steps = plan.steps.filter(staff=found.staff).select_related("object__place", "staff", "pinned_by")
    return found, plan, _as_lines(steps.order_by("starts", "pk"))


def _midnight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time()))


def _local(moment: datetime) -> datetime:
    return timezone.localtime(moment).replace(tzinfo=None)
