"""The work as it would be under changes that somebody thinks of, and what was reckoned of it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from statistics import median
from typing import Any
from uuid import UUID

from media.base.errors import NotThere
from media.base.models import Job, JobState
from survey.condition.db import selectors as condition
from survey.register.db.models import Exhibition, MilestoneKind, Object
from survey.risk.db.models import Band, ObjectRisk
from survey.risk.db.selectors import latest_run
from treatments.hours.db.selectors import LevelHours, ObjectPlan, learned
from treatments.hours.db.selectors.learned import bodies_of
from treatments.hours.db.selectors.plans import level_hours
from treatments.options.db import selectors as options
from treatments.options.db.models import ChosenLevel
from treatments.options.suggesting import HANDS_OFF
from treatments.planning.calendar import Person, end_of_day, quarter_of, shifts_of, weeks_up_to
from treatments.planning.db.selectors import Work, department, due_day, gather_work, holidays
from treatments.planning.db.selectors.offers import MAKE_GOOD, MIDDLING, MUST, UNSCORED
from treatments.planning.db.selectors.work import as_steps, longest_sittings, mean_hours
from treatments.whatif.db.models import Comparison, GivingWay, Scenario

MOST_SCENARIOS = 5
EXTRA = "extra"
OPENING, OWN_DATES = "opening", "dates"  # what a chance is of: all ready on opening day, or all own dates met
GOING = {JobState.QUEUED, JobState.RUNNING}


@dataclass(frozen=True)
class Ground:
    """The record as it is, read once: everything that suppositions about it need."""

    work: Work
    now: datetime
    numbers: dict[UUID, str]
    lighter: dict[UUID, list[LevelHours]]
    mandatory: set[UUID]
    worth: dict[UUID, float]


def ground(exhibition: Exhibition, now: datetime) -> Ground:
    """The work of an exhibition from ``now`` (local, without a zone) on. About thirty-five queries.

    ``lighter`` are the levels under the one that counts, from the next down to securing, each of fewer hours than the
    one before; ``worth`` is the share of an object that is expected to be lost, times significance and importance.
    """
    work = gather_work(exhibition, now)
    ids = list(work.entries)
    things = Object.objects.only("number", "significance").in_bulk(ids)
    run = latest_run()
    rows = ObjectRisk.objects.filter(run=run, object__in=ids) if run else ObjectRisk.objects.none()
    known = {pk: (loss, band) for pk, loss, band in rows.values_list("object_id", "loss", "band")}
    usual = median(loss for loss, _ in known.values()) if known else UNSCORED
    worth, mandatory = {}, set()
    for pk, entry in work.entries.items():
        loss, band = known.get(pk, (usual, ""))
        worth[pk] = loss * (things[pk].significance or MIDDLING) * entry.importance
        if entry.importance >= MUST or band == Band.DO_NOT_LIFT:
            mandatory.add(pk)
    numbers = {pk: things[pk].number for pk in ids}
    return Ground(work, now, numbers, _lighter(work), mandatory, worth)


def _lighter(work: Work) -> dict[UUID, list[LevelHours]]:
    table, known = options.table_in_use(), learned()
    ids = [plan.object_id for plan in work.left]
    drivers, bodies = condition.drivers(ids), bodies_of(ids)
    codes = [level.code for level in table.levels]
    found = {}
    for plan in work.left:
        least, lower = bench(plan.counts), []
        for code in reversed(codes[: codes.index(plan.level)] if plan.level in codes else []):
            if code in HANDS_OFF:
                continue
            pk = plan.object_id
            level = level_hours(table.level(code), drivers.get(pk), table, known, bodies.get(pk, ""))
            if level.steps and bench(level) < least:
                least = bench(level)
                lower.append(level)
        found[plan.object_id] = lower
    return found


def bench(level: LevelHours) -> float:
    """Hours at the bench that a level takes on average."""
    return sum(mean_hours(step) for step in level.steps)


def suppose(there: Ground, changes: Mapping[str, Any]) -> Work:
    """The work under changes. Raises ``FettleError`` where nothing could be reckoned. At most six queries."""
    work = _without(there, there.work, dropped(there, changes))
    work = _simpler(there, work, simplified(there, changes))
    if changes.get("dates"):
        days = {kind: date.fromisoformat(day) for kind, day in changes["dates"].items()}
        work = _other_dates(there, work, days)
    return _with_person(there, work, changes["person"]) if changes.get("person") else work


def dropped(there: Ground, changes: Mapping[str, Any]) -> set[UUID]:
    """Objects that changes leave out: named, and those up to an importance that need not be ready."""
    named = {UUID(name) for name in changes.get("drop", ())}
    return (named | _up_to(there, changes.get("drop_upto", 0))) & there.work.entries.keys()


def simplified(there: Ground, changes: Mapping[str, Any]) -> dict[UUID, int]:
    """Object to how many levels lighter it is treated, where there is a lighter one."""
    wanted = {UUID(name): int(count) for name, count in dict(changes.get("simplify", {})).items()}
    for pk in _up_to(there, changes.get("simplify_upto", 0)):
        wanted.setdefault(pk, 1)
    if changes.get("make_good"):
        wanted |= {p.object_id: max(1, wanted.get(p.object_id, 0)) for p in there.work.left if p.level == MAKE_GOOD}
    found = {pk: min(count, len(there.lighter.get(pk, ()))) for pk, count in wanted.items()}
    return {pk: count for pk, count in found.items() if count}


def _up_to(there: Ground, importance: int) -> set[UUID]:
    return {pk for pk, e in there.work.entries.items() if e.importance <= importance and pk not in there.mandatory}


def _without(there: Ground, work: Work, gone: Collection[UUID]) -> Work:
    if not gone:
        return work
    objects = [thing for thing in work.instance["objects"] if UUID(thing["id"]) not in gone]

    def kept(known: Mapping[UUID, Any]) -> dict[UUID, Any]:
        return {pk: value for pk, value in known.items() if pk not in gone}

    return replace(
        work, entries=kept(work.entries), plans=kept(work.plans), due=kept(work.due), done=work.done - set(gone),
        instance={**work.instance, "objects": objects},
    )  # fmt: skip


def _simpler(there: Ground, work: Work, by: Mapping[UUID, int]) -> Work:
    if not by:
        return work
    sittings = longest_sittings(work.department)
    plans: dict[UUID, ObjectPlan] = dict(work.plans)
    objects = []
    for thing in work.instance["objects"]:
        pk = UUID(thing["id"])
        if count := by.get(pk, 0):
            level = there.lighter[pk][count - 1]
            # A choice that is supposed only: it is never saved, and stands for one so that nothing else is offered.
            plans[pk] = replace(plans[pk], counts=level, chosen=ChosenLevel(level=level.level.code))
            thing = as_level(thing, level, sittings)
        objects.append(thing)
    return replace(work, plans=plans, instance={**work.instance, "objects": objects})


def as_level(thing: Mapping[str, Any], level: LevelHours, sittings: Mapping[str, int]) -> dict[str, Any]:
    """An object of an instance at another level."""
    made = {**thing["levels"][0], "name": level.level.code, "steps": as_steps(level, sittings)}
    return {**thing, "levels": [made]}


def _other_dates(there: Ground, work: Work, days: Mapping[str, date]) -> Work:
    dates = {**work.milestones, **days}
    opening, start = dates["opening"], quarter_of(there.now, work.monday)
    team = department(work.monday, weeks_up_to(opening, work.monday), not_before=start)
    due = {pk: due_day(entry, dates) for pk, entry in work.entries.items()}

    def end(day: date | None) -> int:
        return end_of_day(day if day and day >= work.today else opening, work.monday)

    objects = []
    for thing in work.instance["objects"]:
        close = end(due[UUID(thing["id"])])
        photo = min(close, end(dates.get("photography")))
        objects.append({**thing, "close_by": close, "mount_by": close, "photo_by": photo})
    instance = {**team.as_instance(), "objects": objects}
    return replace(work, milestones=dates, due=due, department=team, instance=instance)


def _with_person(there: Ground, work: Work, wish: Mapping[str, Any]) -> Work:
    """One more person at the bench: so many hours there in each of so many weeks, over five days."""
    first = date.fromisoformat(wish["since"])
    person = Person(
        id=EXTRA, skills=frozenset(wish["skills"]), week=dict.fromkeys(range(5), (9.0, wish["hours"] / 5)), since=first,
        until=first + timedelta(days=7 * wish["weeks"] - 1),
    )  # fmt: skip
    team = work.department
    off = {row.date for row in holidays(team.monday, team.monday + timedelta(weeks=team.weeks))}
    start = quarter_of(there.now, team.monday)
    shifts = shifts_of(person, team.monday, team.weeks, holidays=off, not_before=start)
    team = replace(
        team, people=(*team.people, person), names=(*team.names, "One more person"), shifts=(*team.shifts, shifts)
    )  # fmt: skip
    return replace(work, department=team, instance={**work.instance, **team.as_instance()})


def change_words(changes: Mapping[str, Any], numbers: Mapping[str, str]) -> list[str]:
    """What a scenario changes, a phrase each."""
    words = []
    if wish := changes.get("person"):
        since = date.fromisoformat(wish["since"])
        weeks = f"{wish['weeks']} week{'' if wish['weeks'] == 1 else 's'}"
        words.append(f"One more person for {weeks} from {since:%-d %B}, {wish['hours']:g} h a week at the bench")
    if changes.get("drop"):
        words.append(f"Without {_named(changes['drop'], numbers)}")
    if upto := changes.get("drop_upto", 0):
        words.append(f"Without what has importance {upto} or less and need not be ready")
    if changes.get("simplify"):
        words.append(f"Lighter: {_named(list(changes['simplify']), numbers)}")
    if upto := changes.get("simplify_upto", 0):
        words.append(f"One level lighter: what has importance {upto} or less and need not be ready")
    for kind, day in changes.get("dates", {}).items():
        words.append(f"{MilestoneKind(kind).label} on {date.fromisoformat(day):%-d %B %Y}")
    if changes.get("make_good"):
        words.append("Making good after the opening")
    return words


def _named(objects: Sequence[str], numbers: Mapping[str, str], most: int = 4) -> str:
    said = [numbers.get(name, "an object that is gone") for name in objects[:most]]
    return ", ".join(said) + (f" and {len(objects) - most} more" if len(objects) > most else "")


def scenarios(exhibition: Exhibition | None) -> list[Scenario]:
    """Scenarios of an exhibition in the order in which they were made. One query."""
    return list(Scenario.objects.filter(exhibition=exhibition).order_by("made_at", "pk")) if exhibition else []


def newest_comparison(exhibition: Exhibition | None) -> Comparison | None:
    rows = Comparison.objects.filter(exhibition=exhibition, finished_at__isnull=False).order_by("-made_at")
    return rows.first() if exhibition else None


def newest_giving_way(exhibition: Exhibition | None) -> GivingWay | None:
    rows = GivingWay.objects.filter(exhibition=exhibition, finished_at__isnull=False).order_by("-made_at")
    return rows.first() if exhibition else None


def the_giving_way(pk: int) -> GivingWay:
    """One search that has ended. Raises ``NotThere``."""
    found = GivingWay.objects.filter(pk=pk, finished_at__isnull=False).select_related("exhibition").first()
    if found is None:
        raise NotThere("This search is not there any more.")
    return found


def reckoned(pk: int, turn: int) -> tuple[Comparison, dict[str, Any]]:
    """A comparison and one of its results that has a plan. Raises ``NotThere``."""
    row = Comparison.objects.filter(pk=pk, finished_at__isnull=False).first()
    if row is None or turn >= len(row.results) or "plan" not in row.results[turn]:
        raise NotThere("This scenario's plan is not there any more. Reckon again.")
    return row, row.results[turn]


def running_job(exhibition: Exhibition | None) -> Job | None:
    """The job asked for last, of either kind, while it runs or if it failed. Two queries."""
    if exhibition is None:
        return None
    found = [
        model.objects.filter(exhibition=exhibition, job__isnull=False)
        .select_related("job")
        .order_by("-made_at")
        .first()
        for model in (Comparison, GivingWay)
    ]
    rows = sorted((row for row in found if row), key=lambda row: row.made_at)
    wanted = GOING | {JobState.FAILED}
    return rows[-1].job if rows and rows[-1].job and rows[-1].job.state in wanted else None


def numbers_of(exhibition: Exhibition) -> dict[str, str]:
    """Object id to accession number, of the checklist. One query."""
    rows = Object.objects.filter(entries__exhibition=exhibition).values_list("pk", "number")
    return {str(pk): number for pk, number in rows}
