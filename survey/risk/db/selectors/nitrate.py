"""Joints that are likely of ageing cellulose nitrate, one by one: where they stand, whose work, how sure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

from django.db.models import Count, QuerySet, Sum

from media.base.pages import keyset
from survey.condition.db.models import Workshop
from survey.register.db.models import Place
from survey.register.exporting import neutralise
from survey.risk.db.models import JointRisk, RiskRun
from survey.risk.db.selectors.details import certainties
from survey.risk.db.selectors.workshops import NITRATE
from survey.risk.stages import STAGES

LEAST = 0.05  # a smaller chance is no entry on a list to act by
ORDER = ("-nitrate_ageing", "joint_id")
CHUNK = 500
HEADINGS = (
    "number", "simple_name", "place", "workshop", "joint", "part", "last_seen_stage", "chance_cellulose_nitrate",
    "chance_ageing_cellulose_nitrate", "certainty",
)  # fmt: skip
SURE = {"guessed": "guessed", "looked": "looked at", "tested": "tested", "analysed": "analysed"}


@dataclass(frozen=True)
class NitrateJoint:
    """One joint; ``chance`` that it is cellulose nitrate, ``certainty`` by the strongest finding on it."""

    risk: JointRisk
    chance: float
    certainty: str

    @property
    def sure(self) -> str:
        return SURE[self.certainty]


@dataclass(frozen=True)
class NitratePage:
    rows: Sequence[NitrateJoint]
    next: str | None


def nitrate_joints(
    run: RiskRun, *, workshop: Workshop | None = None, place: Place | None = None
) -> QuerySet[JointRisk]:
    """Joints of a run that may be of ageing cellulose nitrate, in no order yet; none in runs that did not say."""
    rows = JointRisk.objects.filter(run=run, object__withdrawn_at=None, nitrate_ageing__gte=LEAST)
    if workshop:
        rows = rows.filter(joint__restoration__workshop=workshop)
    if place:
        rows = rows.filter(object__place__path__startswith=place.path)
    return rows


def nitrate_sums(rows: QuerySet[JointRisk]) -> dict[str, Any]:
    """How many of these joints there are, and how many are expected to be of it. One query."""
    return rows.aggregate(count=Count("pk"), expected=Sum("nitrate_ageing"))


def _whole(rows: QuerySet[JointRisk]) -> QuerySet[JointRisk]:
    return rows.select_related("object__place", "joint__restoration__workshop")


def nitrate_page(rows: QuerySet[JointRisk], *, after: str | None, size: int = 50) -> NitratePage:
    """Some of these joints, the likeliest first. Two queries. Raises ``BadCursor``."""
    page = keyset(_whole(rows), order=ORDER, after=after, size=size)
    return NitratePage(_lines(page.rows), page.next)


def _lines(rows: Sequence[JointRisk]) -> list[NitrateJoint]:
    bases = {row.joint_id: row.joint.basis for row in rows}
    levels = certainties(bases, within=bases)
    return [NitrateJoint(row, row.class_chances.get(NITRATE, 0.0), levels[row.joint_id]) for row in rows]


def nitrate_rows(rows: QuerySet[JointRisk]) -> Iterator[Sequence[Any]]:
    """The same joints for a file, under ``HEADINGS``."""
    found = _whole(rows).order_by(*ORDER).iterator(CHUNK)
    while some := list(islice(found, CHUNK)):
        for line in _lines(some):
            risk, thing, joint = line.risk, line.risk.object, line.risk.joint
            workshop = joint.restoration.workshop
            yield (
                neutralise(thing.number), neutralise(thing.simple_name),
                neutralise(thing.place.full_name if thing.place else ""), neutralise(workshop.name if workshop else ""),
                neutralise(joint.label), neutralise(joint.part), "" if risk.stage is None else STAGES[risk.stage],
                round(line.chance, 4), round(risk.nitrate_ageing or 0.0, 4), line.sure,
            )  # fmt: skip
