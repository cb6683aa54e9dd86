"""The ranking shelf by shelf, for walking along, and what must not be lifted on each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from uuid import UUID

from django.db.models import F, OuterRef, QuerySet, Subquery

from survey.condition.db.models import Assessment, Handling
from survey.condition.db.selectors import standing
from survey.register.db.models import Object, Place, PlaceKind
from survey.risk.db.models import Band, ObjectRisk, RiskRun
from survey.risk.db.selectors.ranking import Wanted, found

MOST = 1500  # objects on one printable list; more is a list nobody walks with


def shelf_of(place: Place | None) -> Place | None:
    """The shelf that a tray stands on; any other place is itself."""
    return place.parent if place and place.kind == PlaceKind.TRAY and place.parent else place


@dataclass(frozen=True)
class Shelf:
    """One shelf, with its trays, as one walks; no place where it is not known."""

    place: Place | None
    risks: Sequence[ObjectRisk]


@dataclass(frozen=True)
class ShelfList:
    """Shelves in walking order; ``cut`` when there were more objects than one list holds."""

    shelves: Sequence[Shelf]
    count: int
    cut: bool


def shelf_list(run: RiskRun, wanted: Wanted) -> ShelfList:
    """Scored objects by shelf as one walks, those without a known place last. One query."""
    walk = (F("object__place__path").asc(nulls_last=True), "object__number_key")
    rows = list(found(run, wanted).select_related("object__place__parent").order_by(*walk)[: MOST + 1])
    kept = rows[:MOST]
    shelves = [Shelf(place, list(held)) for place, held in groupby(kept, key=lambda risk: shelf_of(risk.object.place))]
    return ShelfList(shelves, len(kept), len(rows) > MOST)


@dataclass(frozen=True)
class NotLifted:
    """An object that must not be lifted, why in one line, and the worst stage of its joints (None: not seen)."""

    object: Object
    reason: str
    stage: int | None
    listed: bool


@dataclass(frozen=True)
class NotLiftedShelf:
    """One shelf, with its trays, and what must not be lifted there."""

    place: Place | None
    objects: Sequence[NotLifted]


def must_not_be_lifted(run: RiskRun | None, *, within: Place | None = None) -> list[NotLiftedShelf]:
    """What the run's rules or the last surveyor's word forbid to lift, by shelf as one walks. Four queries."""
    kept = {each.object.pk: each for each in _by_rule(run, within)} if run else {}
    for thing, assessment in _by_word(within):
        if thing.pk not in kept:
            kept[thing.pk] = NotLifted(thing, _said(assessment), None, listed=False)
    walk = sorted(kept.values(), key=_step)
    return [
        NotLiftedShelf(place, list(held)) for place, held in groupby(walk, key=lambda each: shelf_of(each.object.place))
    ]


def _step(each: NotLifted) -> tuple[bool, str, str]:
    place = each.object.place
    return place is None, place.path if place else "", each.object.number_key


def _by_rule(run: RiskRun, within: Place | None) -> list[NotLifted]:
    rows = found(run, Wanted(band=Band.DO_NOT_LIFT, place=within)).select_related("object__place__parent")
    return [NotLifted(risk.object, one_line(risk), risk.worst_stage, risk.on_checklist) for risk in rows]


def one_line(risk: ObjectRisk) -> str:
    """Why it must not be lifted, from the reasons of its score, without saying once more that it must not."""
    said = {reason["code"]: reason["text"] for reason in risk.reasons}
    causes = said.get("do-not-lift", "").partition(": ")[2]
    told = said.get("told", "").replace(" said that it must not be lifted.", " said so.")
    words = " ".join(part for part in (causes[:1].upper() + causes[1:], told) if part)
    return words or "See its record."


def _by_word(within: Place | None) -> list[tuple[Object, Assessment]]:
    """Objects whose last surveyor said that they must not be lifted. Two queries."""
    forbidden = standing().filter(handling=Handling.DO_NOT_LIFT)
    latest = standing().filter(object=OuterRef("pk")).order_by("-started_at", "-finished_at")
    things: QuerySet[Object] = Object.objects.filter(withdrawn_at=None, pk__in=forbidden.values("object"))
    if within:
        things = things.filter(place__path__startswith=within.path)
    things = things.annotate(last=Subquery(latest.values("pk")[:1])).select_related("place__parent")
    by_last: dict[UUID, Object] = {thing.last: thing for thing in things}
    said = forbidden.filter(pk__in=list(by_last)).select_related("surveyor")
    return [(by_last[assessment.pk], assessment) for assessment in said]


def _said(assessment: Assessment) -> str:
    day = f"{assessment.started_at:%-d %B %Y}"
    seen = f" {assessment.observation.strip()}" if assessment.observation.strip() else ""
    return f"The surveyor of {day} said so.{seen}"
