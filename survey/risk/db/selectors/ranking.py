"""The ranking as it is shown: rows of the newest finished run, filtered, with what a row needs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from media.base.pages import keyset
from survey.condition.db.models import ObjectPhotograph, Restoration, Workshop
from survey.register.db.models import ChecklistEntry, Place
from survey.risk.db.models import Band, ObjectRisk, RiskRun

Order = Literal["with", "without"]
ORDERS: dict[Order, tuple[str, ...]] = {
    "with": ("band_order", "-weighted_loss", "object_id"),
    "without": ("band_order", "-loss", "object_id"),
}
WORDS = 6


def latest_run() -> RiskRun | None:
    """The newest finished run, with its exhibition, parameters and job."""
    runs = RiskRun.objects.filter(finished_at__isnull=False).select_related("exhibition", "parameters", "job")
    return runs.order_by("-finished_at").first()


@dataclass(frozen=True)
class Wanted:
    """What a person asks of the ranking. All that is given must hold; ``section`` None is any, "" is unnamed."""

    order: Order = "with"
    listed: bool = False
    section: str | None = None
    place: Place | None = None
    band: str = ""
    workshop: Workshop | None = None
    words: str = ""

    @property
    def narrowed(self) -> bool:
        """Whether anything is left out."""
        return self != Wanted(order=self.order)

    @property
    def band_words(self) -> str:
        """The band asked for as a person says it; empty for any."""
        return str(Band(self.band).label) if self.band else ""


@dataclass(frozen=True)
class Line:
    """One object of the ranking; ``entry`` is its place on the run's checklist, ``photograph`` a SHA-256 or empty."""

    risk: ObjectRisk
    entry: ChecklistEntry | None
    photograph: str

    @property
    def unsure(self) -> bool:
        """Whether, in a run that drew nothing, its rank hangs on a belief about how long joints last."""
        return any(reason["code"] == "rank-unsure" for reason in self.risk.reasons)

    @property
    def tied_with(self) -> tuple[int, int] | None:
        """First and last rank, with significance, among which the draws cannot tell; None where it stands alone."""
        return tie(self.risk, "weighted")

    @property
    def tied_without(self) -> tuple[int, int] | None:
        """The same by expected loss alone."""
        return tie(self.risk, "loss")


def tie(risk: ObjectRisk, order: str) -> tuple[int, int] | None:
    """First and last rank of the group that an object cannot be told apart from; None where it stands alone."""
    first, last = risk.ties.get(order, (0, 0))
    return (first, last) if last > first else None


@dataclass(frozen=True)
class RankingPage:
    """Some lines of the ranking and the cursor to the next."""

    rows: Sequence[Line]
    next: str | None


def listed_in(run: RiskRun) -> QuerySet[ChecklistEntry]:
    """Checklist entries of the outer row's object in the exhibition that a run looks ahead to."""
    return ChecklistEntry.objects.filter(exhibition=run.exhibition, removed_at=None, object=OuterRef("object_id"))


def in_run(run: RiskRun) -> QuerySet[ObjectRisk]:
    """Scores of the objects that are still in the register."""
    return ObjectRisk.objects.filter(run=run, object__withdrawn_at=None)


def found(run: RiskRun, wanted: Wanted) -> QuerySet[ObjectRisk]:
    """Scores that pass the filters, in no order yet."""
    rows = in_run(run)
    if wanted.band:
        rows = rows.filter(band=wanted.band)
    if wanted.section is not None:
        rows = rows.filter(Exists(listed_in(run).filter(section=wanted.section)))
    elif wanted.listed:
        rows = rows.filter(Exists(listed_in(run)))
    if wanted.place:
        rows = rows.filter(object__place__path__startswith=wanted.place.path)
    if wanted.workshop:
        rows = rows.filter(Exists(Restoration.objects.filter(object=OuterRef("object_id"), workshop=wanted.workshop)))
    for word in wanted.words.split()[:WORDS]:
        anywhere = Q(object__number__icontains=word) | Q(object__number_key__icontains=word)
        rows = rows.filter(anywhere | Q(object__simple_name__icontains=word) | Q(object__title__icontains=word))
    return rows


def ranking_page(run: RiskRun, wanted: Wanted, *, after: str | None, size: int = 50) -> RankingPage:
    """Lines in the order asked for: what must not be lifted first, then by expected loss. Three queries.

    Raises ``BadCursor`` for a cursor that this order did not make.
    """
    rows = found(run, wanted).select_related("object__place")
    page = keyset(rows, order=ORDERS[wanted.order], after=after, size=size)
    return RankingPage(lines(run, page.rows), page.next)


def lines(run: RiskRun, risks: Sequence[ObjectRisk]) -> list[Line]:
    """Scores with their checklist entries and newest photographs. Two queries."""
    ids = [risk.object_id for risk in risks]
    entries = ChecklistEntry.objects.filter(exhibition=run.exhibition, removed_at=None, object__in=ids)
    by_object = {entry.object_id: entry for entry in entries}
    pictures = newest_photographs(ids)
    return [Line(risk, by_object.get(risk.object_id), pictures.get(risk.object_id, "")) for risk in risks]


def newest_photographs(objects: Iterable[UUID]) -> dict[UUID, str]:
    """SHA-256 of the newest photograph of each object that has one. One query."""
    rows = ObjectPhotograph.objects.filter(object__in=list(objects)).order_by("at", "pk")
    return dict(rows.values_list("object_id", "photograph_id"))
