"""What all joints are like, for scoring, and what drives the hours of an object; few queries, however many rows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from operator import itemgetter
from typing import NamedTuple
from uuid import UUID

from django.db.models import QuerySet, TextField
from django.db.models.functions import Cast

from survey.condition.db.models import AdhesiveEvidence, Answer, Assessment, Fill, Joint, JointSeen, Overpaint, Sign
from survey.register.db.models import Object

FAILING = 2  # the first stage at which the adhesive no longer holds all along
CHUNK = 5_000

Objects = QuerySet[Object] | Collection[UUID]


def standing() -> QuerySet[Assessment]:
    """Finished assessments that no finished correction has replaced.

    A correction keeps the ``started_at`` of what it corrects, so that is the time of the look for both.
    """
    # Not a correlated EXISTS: where hardly anything is corrected, SQLite would scan the table for every row.
    corrections = Assessment.objects.filter(corrects__isnull=False, finished_at__isnull=False)
    return Assessment.objects.filter(finished_at__isnull=False).exclude(pk__in=corrections.values("corrects_id"))


class JointRow(NamedTuple):
    """A joint that is still in place; ``None`` and empty text mean not known."""

    id: UUID
    object_id: UUID
    restoration_id: UUID
    workshop_id: UUID | None
    label: str
    part: str
    length_mm: float | None
    wall_mm: float | None
    lever_mm: float | None
    held_mass_kg: float | None
    structural: bool | None
    adhesive: str
    basis: str
    year_earliest: int | None
    year_latest: int | None


class VisitRow(NamedTuple):
    """A look at a joint. ``stage`` is None when ``answer`` is not_seen or not_known."""

    joint_id: UUID
    at: datetime
    stage: int | None
    answer: str
    visit: str
    surveyor_id: int
    assessment_id: UUID


class SignRow(NamedTuple):
    """A sign that was present at the last look at the joint; ``extent_percent`` of its length, None if not said."""

    joint_id: UUID
    code: str
    extent_percent: int | None


class EvidenceRow(NamedTuple):
    joint_id: UUID
    basis: str
    finding: str
    at: datetime


@dataclass(frozen=True)
class JointStates:
    """Rows by joint: ``joints`` by id; ``visits`` and ``evidence`` by joint, then time; ``signs`` by joint."""

    joints: list[JointRow]
    visits: list[VisitRow]
    signs: list[SignRow]
    evidence: list[EvidenceRow]


def joint_states(objects: Objects | None = None) -> JointStates:
    """All joints in place, with every standing look at them. Five queries.

    ``objects`` narrows to some objects: a queryset, or a small collection of ids; None is the whole collection.
    """
    keys = _Keys()
    joints = _joints(objects, keys)
    kept = {row.id for row in joints}
    looks = _looks(objects, keys)
    visits = [row for row in _visits(objects, looks, keys) if row.joint_id in kept]
    return JointStates(joints, visits, _last_signs(objects, visits, keys), _evidence(objects, kept, keys))


class _Keys(dict[str, UUID]):
    """Keys as the database writes them to UUIDs, each made once: a million of them cost more than the queries."""

    def __missing__(self, text: str) -> UUID:
        made = self[text] = UUID(text)
        return made


def _text(name: str) -> Cast:
    return Cast(name, TextField())


def _joints(objects: Objects | None, keys: _Keys) -> list[JointRow]:
    joints = Joint.objects.filter(ended_at=None, restoration__object__withdrawn_at=None)
    if objects is not None:
        joints = joints.filter(restoration__object__in=objects)
    rows = joints.order_by("id").values_list(
        _text("id"), _text("restoration__object_id"), _text("restoration_id"), _text("restoration__workshop_id"),
        "label", "part", "length_mm", "wall_mm", "lever_mm", "held_mass_kg", "structural", "adhesive", "basis",
        "restoration__year_earliest", "restoration__year_latest",
    )  # fmt: skip
    return [
        JointRow(keys[pk], keys[owner], keys[campaign], keys[shop] if shop else None, *rest)
        for pk, owner, campaign, shop, *rest in rows.iterator(CHUNK)
    ]


class _Look(NamedTuple):
    order: int
    at: datetime
    visit: str
    surveyor_id: int


def _looks(objects: Objects | None, keys: _Keys) -> dict[UUID, _Look]:
    rows = standing() if objects is None else standing().filter(object__in=objects)
    found = rows.order_by("started_at", "finished_at", "pk").values_list(
        _text("pk"), "started_at", "visit", "surveyor_id"
    )
    return {keys[pk]: _Look(order, *rest) for order, (pk, *rest) in enumerate(found.iterator(CHUNK))}


def _visits(objects: Objects | None, looks: dict[UUID, _Look], keys: _Keys) -> list[VisitRow]:
    seen = JointSeen.objects.all() if objects is None else JointSeen.objects.filter(assessment__object__in=objects)
    rows = seen.order_by("joint_id").values_list(_text("joint_id"), _text("assessment_id"), "stage", "answer")
    found = []
    for joint, assessment, stage, answer in rows.iterator(CHUNK):
        look = looks.get(keys[assessment])
        if look:
            found.append((joint, look.order, keys[assessment], stage, answer, look))
    found.sort(key=itemgetter(0, 1))
    return [
        VisitRow(keys[joint], look.at, stage, answer, look.visit, look.surveyor_id, assessment)
        for joint, _, assessment, stage, answer, look in found
    ]


def _last_signs(objects: Objects | None, visits: list[VisitRow], keys: _Keys) -> list[SignRow]:
    last = {row.joint_id: row.assessment_id for row in visits if row.stage is not None}
    signs = Sign.objects.filter(answer=Answer.PRESENT, joint__isnull=False)
    if objects is not None:
        signs = signs.filter(assessment__object__in=objects)
    rows = signs.order_by("joint_id", "code").values_list(
        _text("joint_id"), _text("assessment_id"), "code", "extent_percent"
    )
    return [
        SignRow(keys[joint], code, extent)
        for joint, assessment, code, extent in rows.iterator(CHUNK)
        if last.get(keys[joint]) == keys[assessment]
    ]


def _evidence(objects: Objects | None, kept: set[UUID], keys: _Keys) -> list[EvidenceRow]:
    rows = AdhesiveEvidence.objects.order_by("joint_id", "at", "id")
    if objects is not None:
        rows = rows.filter(joint__restoration__object__in=objects)
    found = rows.values_list(_text("joint_id"), "basis", "finding", "at").iterator(CHUNK)
    return [EvidenceRow(keys[joint], *rest) for joint, *rest in found if keys[joint] in kept]


@dataclass(frozen=True)
class Drivers:
    """What the hours of a treatment grow with. None is not known; zero says that there is none."""

    joints: int | None
    joint_length_cm: float | None
    fill_area_cm2: float | None
    paint_area_cm2: float | None
    sherds: int | None


NOT_KNOWN = Drivers(None, None, None, None, None)
NOTHING = Drivers(0, 0.0, 0.0, 0.0, 0)


@dataclass(frozen=True)
class ObjectDrivers:
    """Drivers of the whole old restoration, and of its failing joints (stage 2 or worse when last seen)."""

    all: Drivers
    failing: Drivers


def drivers(objects: Objects) -> dict[UUID, ObjectDrivers]:
    """Drivers of each object that was ever surveyed or has a restoration on record. Five queries.

    Of things partly measured, the mean of the measured stands for the rest; with none measured the driver is None.
    Sherds are taken as one more than joints, the most that so many joints can tie together. Fills and paint are not
    tied to joints in the record: failing joints are given their share by number.
    """
    lengths: dict[UUID, list[tuple[float | None, bool]]] = defaultdict(list)
    joints = Joint.objects.filter(ended_at=None, restoration__object__in=objects)
    stages = _last_stages(objects)
    for pk, owner, length in joints.values_list("id", "restoration__object_id", "length_mm"):
        lengths[owner].append((length, (stages.get(pk) or 0) >= FAILING))
    fills, paint = _areas(Fill, objects), _areas(Overpaint, objects)
    answers = dict(
        standing().filter(object__in=objects).order_by("started_at", "finished_at")
        .exclude(old_restoration="").values_list("object_id", "old_restoration")
    )  # fmt: skip
    made = {}
    for owner in {*lengths, *fills, *paint, *answers}:
        if owner not in lengths and owner not in fills and owner not in paint:
            nothing = NOTHING if answers.get(owner) == Answer.NONE else NOT_KNOWN
            made[owner] = ObjectDrivers(nothing, nothing)
        else:
            made[owner] = _drivers(lengths.get(owner, []), fills.get(owner, []), paint.get(owner, []))
    return made


def _last_stages(objects: Objects) -> dict[UUID, int | None]:
    looks = standing().filter(object__in=objects)
    seen = JointSeen.objects.filter(assessment__in=looks, stage__isnull=False)
    return dict(seen.order_by("assessment__started_at", "id").values_list("joint_id", "stage"))


def _areas(model: type[Fill] | type[Overpaint], objects: Objects) -> dict[UUID, list[float | None]]:
    found: dict[UUID, list[float | None]] = defaultdict(list)
    rows = model.objects.filter(ended_at=None, restoration__object__in=objects)
    for owner, area in rows.values_list("restoration__object_id", "area_cm2"):
        found[owner].append(area)
    return found


def _sum_with_mean_for_missing(values: list[float | None]) -> float | None:
    measured = [value for value in values if value is not None]
    if not values:
        return 0.0
    return sum(measured) / len(measured) * len(values) if measured else None


def _drivers(
    joints: list[tuple[float | None, bool]], fills: list[float | None], paint: list[float | None]
) -> ObjectDrivers:
    failing = [length for length, fails in joints if fails]
    share = len(failing) / len(joints) if joints else 0.0
    filled, painted = _sum_with_mean_for_missing(fills), _sum_with_mean_for_missing(paint)
    whole = _centimetres([length for length, _ in joints])
    return ObjectDrivers(
        all=Drivers(len(joints), whole, filled, painted, _sherds(len(joints))),
        failing=Drivers(
            len(failing), _centimetres(failing), _share(filled, share), _share(painted, share), _sherds(len(failing))
        ),
    )


def _share(area: float | None, share: float) -> float | None:
    return None if area is None else area * share


def _centimetres(lengths: list[float | None]) -> float | None:
    total = _sum_with_mean_for_missing(lengths)
    return None if total is None else total / 10


def _sherds(joints: int) -> int:
    return joints + 1 if joints else 0
