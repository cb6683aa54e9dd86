"""Rounds and shelves: what is left, what stands where in walking order, and what comes next."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, cast

from django.db.models import Case, Count, Exists, F, Max, OuterRef, Q, QuerySet, When

from media.base.errors import NotThere
from media.base.models import User
from media.base.pages import Page, keyset
from survey.condition.db.models import Assessment, Found, Handling, JointSeen, SurveyRound
from survey.condition.db.selectors.states import standing
from survey.register.db.models import Object, Place, PlaceKind
from survey.register.db.selectors.objects import alike_numbers, same_number

Which = Literal["left", "begun", "all"]


@dataclass(frozen=True)
class RoundLine:
    """A round with how far it has come; ``objects`` are all of the register that have a place."""

    round: SurveyRound
    looked_at: int
    objects: int
    unfinished: int


@dataclass(frozen=True)
class Mark:
    """One object on a shelf. ``stage`` is that of its worst joint when last seen; None: no joint seen."""

    id: uuid.UUID
    number: str
    simple_name: str
    seen: bool
    begun: bool
    stage: int | None
    do_not_lift: bool
    misplaced: bool

    @property
    def symbol(self) -> str:
        """Its drawing, as on the shelf."""
        if self.do_not_lift:
            return "do-not-lift"
        if self.misplaced:
            return "mark-misplaced"
        if self.stage is not None and self.seen:
            return f"stage-{self.stage}"
        return "mark-seen" if self.seen else "mark-unseen"


@dataclass(frozen=True)
class ShelfLine:
    """A shelf with its objects in walking order."""

    place: Place
    marks: Sequence[Mark]

    @property
    def looked_at(self) -> int:
        return sum(mark.seen for mark in self.marks)


def open_rounds() -> list[SurveyRound]:
    """Rounds that have not ended, the latest begun first."""
    return list(SurveyRound.objects.filter(ended_on=None).order_by("-started_on", "name"))


def ended_rounds() -> list[SurveyRound]:
    return list(SurveyRound.objects.filter(ended_on__isnull=False).order_by("-ended_on", "name")[:50])


def the_round(pk: uuid.UUID | str) -> SurveyRound:
    """One round. Raises ``NotThere``."""
    found = SurveyRound.objects.filter(pk=pk).first()
    if found is None:
        raise NotThere("This survey round does not exist. Choose one on the survey page.")
    return found


def _placed() -> QuerySet[Object]:
    return Object.objects.filter(withdrawn_at=None, place__isnull=False)


# The shelf on which an object stands: the tray's, if it stands in one.
SHELF = Case(
    When(place__kind=PlaceKind.TRAY, place__parent__isnull=False, then=F("place__parent_id")), default=F("place_id")
)


def _holds(objects: Q) -> Q:
    """Shelves with such an object: one walk over the objects, not one per shelf."""
    return Q(pk__in=_placed().filter(objects).annotate(shelf=SHELF).values("shelf"))


def _looked_at(survey_round: SurveyRound | None) -> Q:
    """Objects with a finished assessment in the round; without a round, with any."""
    done = Assessment.objects.filter(object=OuterRef("pk"), finished_at__isnull=False)
    return Q(Exists(done.filter(round=survey_round) if survey_round else done))


def round_line(survey_round: SurveyRound) -> RoundLine:
    """How far a round has come. Two queries."""
    counts = Assessment.objects.filter(round=survey_round, object__withdrawn_at=None).aggregate(
        looked_at=Count("object", filter=Q(finished_at__isnull=False, object__place__isnull=False), distinct=True),
        unfinished=Count("pk", filter=Q(finished_at=None)),
    )
    return RoundLine(survey_round, objects=_placed().count(), **counts)


def on_shelf(place: Place) -> QuerySet[Object]:
    """Objects that should stand on a shelf, or in its trays, in walking order."""
    here = Q(place=place) | Q(place__parent=place, place__kind=PlaceKind.TRAY)
    return Object.objects.filter(here, withdrawn_at=None).order_by("place__path", "number_key")


def shelves(survey_round: SurveyRound | None, *, which: Which, after: str | None, size: int = 20) -> Page[Place]:
    """Shelves (or whatever objects stand in directly) in walking order. One query; ``shelf_lines`` draws them."""
    rows = Place.objects.exclude(kind=PlaceKind.TRAY, parent__isnull=False)
    looked_at = _looked_at(survey_round)
    wanted = {"left": [~looked_at], "begun": [looked_at, ~looked_at], "all": [Q()]}[which]
    rows = rows.filter(*map(_holds, wanted))
    return keyset(rows, order=["path"], after=after, size=size)


def shelf_lines(places: Sequence[Place], survey_round: SurveyRound | None, by: User) -> list[ShelfLine]:
    """The objects of some shelves, drawn. Four queries, however many shelves and objects."""
    rows = list(
        _placed().annotate(shelf=SHELF).filter(shelf__in=[place.pk for place in places])
        .order_by("place__path", "number_key").values_list("pk", "number", "simple_name", "shelf")
    )  # fmt: skip
    drawn = marks([(pk, number, name) for pk, number, name, _ in rows], survey_round, by)
    by_shelf: dict[uuid.UUID, list[Mark]] = defaultdict(list)
    for mark, row in zip(drawn, rows, strict=True):
        by_shelf[row[3]].append(mark)
    return [ShelfLine(place, by_shelf[place.pk]) for place in places]


def marks(objects: Sequence[tuple[uuid.UUID, str, str]], survey_round: SurveyRound | None, by: User) -> list[Mark]:
    """Objects (id, number, simple name) with what surveys say of them. Three queries."""
    ids = [pk for pk, _, _ in objects]
    in_round = Assessment.objects.filter(object__in=ids).filter(Q(round=survey_round) if survey_round else Q())
    seen, begun = set(), set()
    for owner, finished, surveyor in in_round.values_list("object_id", "finished_at", "surveyor_id"):
        if finished:
            seen.add(owner)
        elif surveyor == by.pk:
            begun.add(owner)
    latest = _latest(ids)
    stages = dict(
        JointSeen.objects.filter(assessment__in=[row["pk"] for row in latest.values()], joint__ended_at=None)
        .order_by().values_list("assessment__object").annotate(worst=Max("stage"))
    )  # fmt: skip
    return [
        Mark(
            pk, number, name, seen=pk in seen, begun=pk in begun, stage=stages.get(pk),
            do_not_lift=latest.get(pk, {}).get("handling") == Handling.DO_NOT_LIFT,
            misplaced=latest.get(pk, {}).get("found") == Found.MISSING,
        )
        for pk, number, name in objects
    ]  # fmt: skip


def _latest(ids: Sequence[uuid.UUID]) -> dict[uuid.UUID, dict[str, Any]]:
    rows = standing().filter(object__in=ids).order_by("started_at", "finished_at")
    return {row["object_id"]: cast(dict[str, Any], row) for row in rows.values("object_id", "pk", "handling", "found")}


@dataclass(frozen=True)
class Neighbours:
    """Where one stands on a shelf: the object before, the next one, and the next that is still to be looked at."""

    position: int
    count: int
    previous: Mark | None
    next: Mark | None
    next_left: Mark | None


def neighbours(marks_: Sequence[Mark], pk: uuid.UUID) -> Neighbours:
    """Neighbours of an object among those of its shelf; one found on a shelf where it does not belong has none."""
    index = next((i for i, mark in enumerate(marks_) if mark.id == pk), None)
    if index is None:
        left = next((mark for mark in marks_ if not mark.seen), None)
        return Neighbours(0, len(marks_), None, left, left)
    onward = [*marks_[index + 1 :], *marks_[:index]]
    return Neighbours(
        index + 1,
        len(marks_),
        marks_[index - 1] if index else None,
        marks_[index + 1] if index + 1 < len(marks_) else None,
        next((mark for mark in onward if not mark.seen), None),
    )


def by_number(number: str) -> Object | None:
    """The object in the register that a number on a shelf means: as written, else whatever its capitals and blanks."""
    same = same_number(number)
    if same is None:
        alike = alike_numbers(number)
        return alike[0] if len(alike) == 1 else None
    return None if same.withdrawn_at else same


def unfinished_of(by: User) -> list[Assessment]:
    """What a person has begun and not finished, oldest first."""
    rows = Assessment.objects.filter(surveyor=by, finished_at=None).select_related("object", "round")
    return list(rows.order_by("started_at")[:50])
