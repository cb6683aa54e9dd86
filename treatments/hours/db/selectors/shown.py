"""Levels and hours as the pages show them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from uuid import UUID

from django.utils import timezone

from media.base.errors import NotThere
from media.base.pages import Page, keyset
from survey.register.db.models import ChecklistEntry, Exhibition, Object
from survey.register.db.selectors import current_exhibition
from survey.risk.db.models import ObjectRisk
from survey.risk.db.selectors import latest_run
from treatments.hours.db.models import LoggedTime, Treatment
from treatments.hours.db.selectors.plans import (
    Experience,
    LevelHours,
    ObjectPlan,
    all_levels,
    experience,
    object_plans,
    plans_of,
)
from treatments.options.db import selectors as options
from treatments.options.steps import LevelRates


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
    """A page of the checklist, and what all of it comes to."""

    exhibition: Exhibition | None
    lines: list[TreatmentLine]
    next: str | None
    shares: list[LevelShare]
    hours: float
    chosen: int
    objects: int
    experience: Experience
    level: str


def treatments_page(*, after: str | None, level: str = "", size: int = 50) -> TreatmentsPage:
    """The checklist by section and number, with levels and hours. A fixed number of queries."""
    exhibition = current_exhibition(timezone.localdate())
    known = experience()
    if exhibition is None:
        return TreatmentsPage(None, [], None, [], 0.0, 0, 0, known, "")
    plans = object_plans(exhibition)
    entries = exhibition.entries.filter(removed_at=None).select_related("object__place")
    if level:
        entries = entries.filter(object__in=[pk for pk, plan in plans.items() if plan.level == level])
    page: Page[ChecklistEntry] = keyset(entries, order=["section", "object__number_key"], after=after, size=size)
    ids = [entry.object_id for entry in page.rows]
    scores = ObjectRisk.objects.filter(run=latest_run(), object__in=ids).defer("reasons", "magnitude")
    by_object = {row.object_id: row for row in scores}
    lines = [TreatmentLine(entry, plans[entry.object_id], by_object.get(entry.object_id)) for entry in page.rows]
    return TreatmentsPage(
        exhibition=exhibition,
        lines=lines,
        next=page.next,
        shares=_shares(plans),
        hours=sum(plan.counts.hours.likely for plan in plans.values()),
        chosen=sum(plan.chosen is not None for plan in plans.values()),
        objects=len(plans),
        experience=known,
        level=level,
    )


def _shares(plans: dict[UUID, ObjectPlan]) -> list[LevelShare]:
    counts, hours = Counter(plan.level for plan in plans.values()), Counter[str]()
    for plan in plans.values():
        hours[plan.level] += plan.counts.hours.likely  # type: ignore[assignment]  # a Counter adds any numbers
    return [LevelShare(level, counts[level.code], hours[level.code]) for level in options.table_in_use().levels]


@dataclass(frozen=True)
class ObjectLevels:
    """Every level for one object, what is suggested and chosen, and how earlier work on it went."""

    object: Object
    exhibition: Exhibition | None
    plan: ObjectPlan | None
    levels: list[LevelHours]
    risk: ObjectRisk | None
    experience: Experience
    finished: list[tuple[Treatment, float]]
    cautions: tuple[str, ...]

    @property
    def widest(self) -> float:
        """The longest of all levels, hours: the end of the scale on which they are drawn."""
        return max((level.hours.high for level in self.levels), default=0.0)


def object_levels(pk: UUID) -> ObjectLevels:
    """One object's levels. A fixed number of queries. Raises ``NotThere``."""
    thing = Object.objects.select_related("place").filter(pk=pk).first()
    if thing is None:
        raise NotThere("This object is not in the register. Search for its number instead.")
    exhibition = current_exhibition(timezone.localdate())
    listed = exhibition and exhibition.entries.filter(object=thing, removed_at=None).exists()
    plan = plans_of(exhibition, [pk])[pk] if exhibition and listed else None
    took: Counter[UUID] = Counter()
    for treatment, hours in LoggedTime.objects.filter(treatment__object=thing, corrected_by=None).values_list(
        "treatment", "hours"
    ):
        took[treatment] += hours  # type: ignore[assignment]  # a Counter adds any numbers
    finished = Treatment.objects.filter(object=thing, finished_on__isnull=False).order_by("finished_on")
    return ObjectLevels(
        object=thing,
        exhibition=exhibition,
        plan=plan,
        levels=all_levels(pk),
        risk=ObjectRisk.objects.filter(run=latest_run(), object=thing).first(),
        experience=experience(),
        finished=[(row, float(took[row.pk])) for row in finished],
        cautions=options.table_in_use().cautions,
    )
