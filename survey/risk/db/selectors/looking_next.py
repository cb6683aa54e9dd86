"""What to look at next, as it is shown: steps of the newest list, filtered, with the shelves they stand on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Sum

from media.base.models import Job, JobState
from media.base.pages import Page, keyset
from survey.condition.db.models import AdhesiveEvidence, Assessment
from survey.condition.db.selectors import standing
from survey.register.db.models import ChecklistEntry, Object, Place
from survey.register.exporting import neutralise
from survey.risk.db.models import NextList, NextStep, StepKind
from survey.risk.db.selectors.peers import ANSWERED
from survey.risk.db.selectors.ranking import WORDS
from survey.risk.db.selectors.shelves import shelf_of
from survey.risk.look_next import TESTS_WITH_SAMPLE, TOUCHING

ORDER = ("-rate", "id")
FIRST = 20  # steps that the answer speaks of
SHELVES = 6
NEXT_JOB = "survey.risk.look_next"


@dataclass(frozen=True)
class Asked:
    """What a person asks of the list; all that is given must hold. Without a kind, the best step of each object."""

    kind: str = ""
    listed: bool = False
    place: Place | None = None
    words: str = ""

    @property
    def narrowed(self) -> bool:
        return self != Asked()


def newest_list() -> NextList | None:
    """The newest list that is worked out, with its run and exhibition. One query."""
    made = NextList.objects.filter(made_at__isnull=False).select_related("run__exhibition", "run__parameters")
    return made.order_by("-made_at").first()


def found_steps(of: NextList, asked: Asked) -> QuerySet[NextStep]:
    """Steps that pass the filters and have not been made since, in no order yet."""
    # No part of these is correlated with a row: each is worked out once, and hardly anything is in them.
    rows = NextStep.objects.filter(list=of)
    rows = rows.exclude(object__in=Object.objects.filter(withdrawn_at__isnull=False).values("pk"))
    rows = rows.filter(kind=asked.kind) if asked.kind else rows.filter(best=True)
    looked = standing().filter(finished_at__gt=of.made_at, old_restoration__in=ANSWERED)
    tested = AdhesiveEvidence.objects.filter(at__gt=of.made_at)
    rows = rows.exclude(kind=StepKind.LOOK, object__in=looked.values("object"))
    rows = rows.exclude(joint__in=tested.values("joint"))
    if asked.listed:
        rows = rows.filter(Exists(_entries(of).filter(object=OuterRef("object_id"))))
    if asked.place:
        rows = rows.filter(object__place__path__startswith=asked.place.path)
    for word in asked.words.split()[:WORDS]:
        number = Q(object__number__icontains=word) | Q(object__number_key__icontains=word)
        rows = rows.filter(number | Q(object__simple_name__icontains=word) | Q(object__title__icontains=word))
    return rows


def _entries(of: NextList) -> QuerySet[ChecklistEntry]:
    return ChecklistEntry.objects.filter(exhibition=of.run.exhibition, removed_at=None)


@dataclass(frozen=True)
class StepLine:
    """One step of the page; ``entry`` is the object's place on the checklist."""

    step: NextStep
    entry: ChecklistEntry | None

    @property
    def touches(self) -> str:
        """What it takes from the object: ``sample``, ``contact`` or nothing."""
        if self.step.kind in TESTS_WITH_SAMPLE:
            return "sample"
        return "contact" if self.step.kind in TOUCHING else ""

    @property
    def symbol(self) -> str:
        """The drawing of what is to be done."""
        if self.step.kind == StepKind.LOOK:
            return "mark-unseen"
        return "certainty-analysed" if self.step.kind == StepKind.FTIR else "certainty-tested"


def next_page(of: NextList, asked: Asked, *, after: str | None, size: int = 50) -> Page[StepLine]:
    """Steps, most worth for each minute first. Two queries. Raises ``BadCursor`` for a cursor of another order."""
    rows = found_steps(of, asked).select_related("object__place__parent", "joint")
    page = keyset(rows, order=ORDER, after=after, size=size)
    entries = {each.object_id: each for each in _entries(of).filter(object__in=[row.object_id for row in page.rows])}
    return Page([StepLine(row, entries.get(row.object_id)) for row in page.rows], page.next)


@dataclass(frozen=True)
class NextAnswer:
    """Numbers of the one sentence: of the ``first`` steps their minutes and share of all worth; ``by_shelf`` the share
    that the same minutes would bring in any other order, on average."""

    steps: int
    minutes: float
    first: int
    first_minutes: float
    share: float
    by_shelf: float

    @property
    def first_hours(self) -> float:
        return self.first_minutes / 60


def totals(of: NextList, asked: Asked) -> dict[str, Any]:
    """How many steps pass the filters, and their minutes and worth together. One query."""
    rows = found_steps(of, asked).order_by()
    return rows.aggregate(count=Count("pk"), minutes=Sum("minutes"), worth=Sum("worth"))


def next_answer(of: NextList, asked: Asked, *, changed: bool) -> NextAnswer:
    """What the list comes to under these filters; the whole of one that has not ``changed`` is kept with it. At most
    two queries."""
    rows = found_steps(of, asked).order_by()
    kept = None if changed or asked.narrowed else of.counts.get("whole")
    whole = kept or totals(of, asked)
    first = list(rows.order_by(*ORDER).values_list("minutes", "worth")[:FIRST])
    minutes, worth = whole["minutes"] or 0.0, whole["worth"] or 0.0
    spent = sum(each[0] for each in first)
    return NextAnswer(
        steps=whole["count"],
        minutes=minutes,
        first=len(first),
        first_minutes=spent,
        share=sum(each[1] for each in first) / worth if worth else 0.0,
        by_shelf=spent / minutes if minutes else 0.0,
    )


@dataclass(frozen=True)
class ShelfAhead:
    """A shelf with what is worth looking at on it; ``share`` of all that the listed looks are worth."""

    place: Place
    steps: int
    minutes: float
    share: float

    @property
    def hours(self) -> float:
        return self.minutes / 60


def shelves_ahead(of: NextList, asked: Asked, *, changed: bool) -> Sequence[ShelfAhead]:
    """The shelves whose looks are together worth most, in walking order. At most two queries."""
    kept = None if changed or asked.narrowed else of.counts.get("shelves")
    kept = shelf_sums(of, asked) if kept is None else kept
    places = Place.objects.in_bulk([UUID(row[0]) for row in kept])
    shelves = [
        ShelfAhead(places[UUID(pk)], steps, minutes, share) for pk, steps, minutes, share in kept if UUID(pk) in places
    ]
    return sorted(shelves, key=lambda ahead: ahead.place.path)


def shelf_sums(of: NextList, asked: Asked) -> list[list[Any]]:
    """Key, looks, minutes and share of all that looks are worth, of the shelves worth most. Two queries."""
    rows = found_steps(of, asked).filter(kind=StepKind.LOOK, object__place__isnull=False).order_by()
    sums = rows.values_list("object__place").annotate(Count("pk"), Sum("minutes"), Sum("worth"))
    by_place = {pk: numbers for pk, *numbers in sums}
    shelves: dict[UUID, list[float]] = defaultdict(lambda: [0, 0.0, 0.0])
    for place in Place.objects.filter(pk__in=by_place).select_related("parent"):
        shelf = shelf_of(place)
        if shelf is not None:
            held = shelves[shelf.pk]
            held[:] = [one + more for one, more in zip(held, by_place[place.pk], strict=True)]
    whole = sum(worth for _, _, worth in shelves.values()) or 1.0
    best = sorted(shelves.items(), key=lambda item: (-item[1][2], str(item[0])))[:SHELVES]
    return [[str(pk), steps, minutes, worth / whole] for pk, (steps, minutes, worth) in best]


def seen_since(of: NextList) -> int:
    """Assessments finished since the list was worked out. One query."""
    return Assessment.objects.filter(finished_at__gt=of.made_at).count()


def next_job() -> Job | None:
    """The working out that goes on, or that ended badly after the last good one. One query."""
    job = Job.objects.filter(name=NEXT_JOB).order_by("-asked_at").first()
    return None if job is None or job.state == JobState.DONE else job


def left_out() -> QuerySet[Object]:
    """Objects with a restriction, which no test that touches is offered for."""
    return Object.objects.filter(withdrawn_at=None).exclude(restriction="")


HEADINGS = (
    "rank", "number", "simple_name", "place", "on_checklist", "what", "joint", "minutes", "takes", "chance_of_change",
    "failing_expected", "other_objects", "worth", "why",
)  # fmt: skip


def next_rows(of: NextList, asked: Asked) -> Iterator[list[Any]]:
    """The list as it is shown, streamed; numbers stay numbers, no text can start to compute in a spreadsheet."""
    listed = set(_entries(of).values_list("object_id", flat=True)) if of.run.exhibition else set()
    rows = found_steps(of, asked).select_related("object__place", "joint").order_by(*ORDER)
    for rank, step in enumerate(rows.iterator(chunk_size=1000), start=1):
        line = StepLine(step, None)
        values = (
            rank, step.object.number, step.object.simple_name,
            step.object.place.full_name if step.object.place else "", "yes" if step.object_id in listed else "no",
            step.get_kind_display(), step.joint.label if step.joint else "", round(step.minutes, 1),
            line.touches or "nothing", round(step.changes, 4), round(step.failing, 3), step.others, step.worth,
            step.text,
        )  # fmt: skip
        yield [neutralise(value) for value in values]
