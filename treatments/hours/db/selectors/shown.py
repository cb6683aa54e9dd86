"""Levels and hours as the pages and files show them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.utils import timezone

from media.base.errors import BadCursor, NotThere
from survey.register.db.models import ChecklistEntry, Exhibition, Object
from survey.register.db.selectors import current_exhibition
from survey.register.exporting import neutralise
from survey.risk.db.models import ObjectRisk
from survey.risk.db.selectors import latest_run
from treatments.hours.db.models import LoggedTime, Treatment
from treatments.hours.db.selectors.learned import Experience
from treatments.hours.db.selectors.plans import (
    LevelHours,
    ObjectPlan,
    all_levels,
    experience,
    hours_needed,
    object_plans,
    plans_of,
)
from treatments.options.db import selectors as options
from treatments.options.db.selectors import Accepted
from treatments.options.steps import ZERO, LevelRates, ThreePoint
from treatments.options.suggesting import HANDS_OFF, Suggestion


@dataclass(frozen=True)
class TreatmentLine:
    """One object of the checklist as the list shows it."""

    entry: ChecklistEntry
    plan: ObjectPlan
    risk: ObjectRisk | None


@dataclass(frozen=True)
class LevelShare:
    """How many objects a level counts for, and the likely hours they come to."""

    level: LevelRates
    objects: int
    hours: float


@dataclass(frozen=True)
class TreatmentsPage:
    """A page of the checklist, and what all of it comes to.

    ``open`` are suggestions that can be accepted as they stand, ``asks`` the objects whose restriction asks for a
    person's word first; both within the level that is shown.
    """

    exhibition: Exhibition | None
    lines: list[TreatmentLine]
    next: str | None
    shares: list[LevelShare]
    hours: ThreePoint
    chosen: int
    objects: int
    experience: Experience
    level: str
    order: str
    open: int
    asks: int
    accepted: Accepted | None


Key = Callable[[TreatmentLine], tuple[Any, ...]]
ORDERS: dict[str, tuple[str, Key]] = {
    "section": ("section and number", lambda line: (line.entry.section,)),
    "chance": ("chance to let go", lambda line: (-(line.risk.before_opening if line.risk else -1.0),)),
    "hours": ("hours", lambda line: (-line.plan.counts.hours.likely,)),
}
"""Ways to order the list: name in the address, words, what comes first."""


def treatments_page(*, after: str | None, level: str = "", order: str = "section", size: int = 50) -> TreatmentsPage:
    """The checklist with levels and hours. A fixed number of queries; ``after`` is the id of the last object shown."""
    order = order if order in ORDERS else "section"
    exhibition, known = current_exhibition(timezone.localdate()), experience()
    if exhibition is None:
        return TreatmentsPage(None, [], None, [], ZERO, 0, 0, known, "", order, 0, 0, None)
    lines = treatment_lines(exhibition, order=order)
    plans = [line.plan for line in lines]
    wanted = [line for line in lines if not level or line.plan.level == level]
    shown, following = _after(wanted, after, size)
    acceptable, asks = _open(wanted)
    return TreatmentsPage(
        exhibition=exhibition,
        lines=shown,
        next=following,
        shares=_shares(plans),
        hours=hours_needed(plans, known),
        chosen=sum(plan.chosen is not None for plan in plans),
        objects=len(plans),
        experience=known,
        level=level,
        order=order,
        open=len(acceptable),
        asks=asks,
        accepted=options.last_accepted(exhibition),
    )


def treatment_lines(exhibition: Exhibition, *, order: str = "section") -> list[TreatmentLine]:
    """The whole checklist in the order asked for. Hours are reckoned, not stored, so it is ordered here."""
    plans, run = object_plans(exhibition), latest_run()
    scores = ObjectRisk.objects.filter(run=run, object__in=list(plans)).defer("reasons", "magnitude", "warnings")
    risks = {row.object_id: row for row in scores} if run else {}
    entries = exhibition.entries.filter(removed_at=None).select_related("object__place")
    lines = [
        TreatmentLine(entry, plans[entry.object_id], risks.get(entry.object_id))
        for entry in entries.order_by("object__number_key")
        if entry.object_id in plans
    ]
    return sorted(lines, key=ORDERS[order][1])


def _after(lines: Sequence[TreatmentLine], after: str | None, size: int) -> tuple[list[TreatmentLine], str | None]:
    """Some lines after an object. Raises ``BadCursor`` for one that is not in the list."""
    first = 0
    if after:
        places = [n for n, line in enumerate(lines) if str(line.entry.object_id) == after]
        if not places:
            raise BadCursor
        first = places[0] + 1
    shown = list(lines[first : first + size])
    more = len(lines) > first + size
    return shown, str(shown[-1].entry.object_id) if more else None


def _open(lines: Sequence[TreatmentLine]) -> tuple[dict[UUID, Suggestion], int]:
    """Suggestions that nobody has decided about, and how many more ask for a person's word."""
    undecided = [line for line in lines if not line.plan.chosen and not line.plan.unknown]
    asks = [line for line in undecided if line.entry.object.restriction and line.plan.level not in HANDS_OFF]
    left = {line.plan.object_id for line in asks}
    return {line.plan.object_id: line.plan.suggestion for line in undecided if line.plan.object_id not in left}, len(
        asks
    )


def open_suggestions(exhibition: Exhibition, *, level: str = "") -> tuple[dict[UUID, Suggestion], int]:
    """Object to suggestion where nobody has chosen, narrowed to a level; and how many restrictions were left out."""
    return _open([line for line in treatment_lines(exhibition) if not level or line.plan.level == level])


def _shares(plans: Sequence[ObjectPlan]) -> list[LevelShare]:
    counts, hours = Counter(plan.level for plan in plans), dict.fromkeys((plan.level for plan in plans), 0.0)
    for plan in plans:
        hours[plan.level] += plan.counts.hours.likely
    levels = options.table_in_use().levels
    return [LevelShare(level, counts[level.code], hours.get(level.code, 0.0)) for level in levels]


COLUMNS = (
    "accession_number", "simple_name", "section", "use", "importance", "need_by", "chance_before_opening", "band",
    "level", "decided", "why", "hours_low", "hours_likely", "hours_high", "wait_hours_likely", "look_again_on",
)  # fmt: skip
"""Headings of the list as a file."""


def export_rows(exhibition: Exhibition, *, level: str = "", order: str = "section") -> Iterator[list[Any]]:
    """The list as rows for a file; no text in it can start to compute in a spreadsheet."""
    for line in treatment_lines(exhibition, order=order if order in ORDERS else "section"):
        if level and line.plan.level != level:
            continue
        yield [neutralise("" if value is None else value) for value in _cells(line)]


def _cells(line: TreatmentLine) -> list[Any]:
    entry, plan, hours = line.entry, line.plan, line.plan.counts.hours
    chosen = plan.chosen
    return [
        entry.object.number, entry.object.simple_name, entry.section, entry.use, entry.importance, entry.need_by,
        round(line.risk.before_opening, 4) if line.risk else None, line.risk.band if line.risk else None,
        plan.level, "chosen" if chosen else "suggested", chosen.why if chosen else plan.suggestion.why,
        *(round(h, 2) for h in (hours.low, hours.likely, hours.high)), round(plan.counts.wait.likely, 2),
        chosen.look_again_on if chosen else None,
    ]  # fmt: skip


@dataclass(frozen=True)
class ObjectLevels:
    """Every level for one object, what is suggested and chosen, and how earlier work on it went."""

    object: Object
    exhibition: Exhibition | None
    plan: ObjectPlan | None
    levels: list[LevelHours]
    risk: ObjectRisk | None
    experience: Experience
    finished: list[tuple[str, Treatment, float]]
    cautions: tuple[str, ...]


def object_levels(pk: UUID) -> ObjectLevels:
    """One object's levels. A fixed number of queries. Raises ``NotThere``."""
    thing = Object.objects.select_related("place").filter(pk=pk).first()
    if thing is None:
        raise NotThere("This object is not in the register. Search for its number instead.")
    exhibition, run = current_exhibition(timezone.localdate()), latest_run()
    listed = exhibition and exhibition.entries.filter(object=thing, removed_at=None).exists()
    return ObjectLevels(
        object=thing,
        exhibition=exhibition,
        plan=plans_of(exhibition, [pk])[pk] if exhibition and listed else None,
        levels=all_levels(pk),
        risk=ObjectRisk.objects.filter(run=run, object=thing).first() if run else None,
        experience=experience(),
        finished=_finished(thing),
        cautions=options.table_in_use().cautions,
    )


def _finished(thing: Object) -> list[tuple[str, Treatment, float]]:
    """Name of the level, treatment, and the hours that it took, of each that is finished."""
    names = {level.code: level.name for level in options.table_in_use().levels}
    rows = list(Treatment.objects.filter(object=thing, finished_on__isnull=False).order_by("finished_on"))
    took = dict.fromkeys((row.pk for row in rows), 0.0)
    logged = LoggedTime.objects.standing().filter(treatment__in=rows)
    for treatment, hours in logged.values_list("treatment_id", "hours"):
        took[treatment] += hours
    return [(names.get(row.level, row.level), row, took[row.pk]) for row in rows]
