"""Assessments: the one that is open, the latest of an object, and one with all that it saw."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, cast

from django.db.models import QuerySet

from media.base.errors import NotThere
from media.base.models import Event, User
from survey.condition import grades
from survey.condition.db.models import (
    AdhesiveEvidence,
    Answer,
    Assessment,
    Fill,
    Joint,
    JointSeen,
    ObjectPhotograph,
    Overpaint,
    Restoration,
    Sign,
)
from survey.condition.db.selectors.book import definitions
from survey.condition.db.selectors.states import standing

STEPS = ("answered", "added", "removed", "saw")
MOST_CORRECTIONS = 100


def the_assessment(pk: uuid.UUID) -> Assessment:
    """One assessment with what its head shows. Raises ``NotThere``."""
    rows = Assessment.objects.select_related("object__place", "surveyor", "round", "place_found", "corrects")
    found = rows.filter(pk=pk).first()
    if found is None:
        raise NotThere("This assessment does not exist; it may have been discarded. Look at the object's page.")
    return found


def open_assessment(object_id: uuid.UUID, by: User) -> Assessment | None:
    """What ``by`` has begun on an object and not finished."""
    rows = Assessment.objects.filter(object=object_id, surveyor=by, finished_at=None)
    return rows.select_related("object", "round", "place_found").order_by("-started_at").first()


def others_at_work(object_id: uuid.UUID, by: User) -> list[Assessment]:
    """Unfinished assessments of an object by other people."""
    rows = Assessment.objects.filter(object=object_id, finished_at=None).exclude(surveyor=by)
    return list(rows.select_related("surveyor").order_by("started_at")[:5])


def correction_of(old: Assessment) -> Assessment | None:
    """The correction of an assessment, finished or being made."""
    return old.corrections.select_related("surveyor").order_by("finished_at", "pk").last()


def latest_assessment(object_id: uuid.UUID) -> Assessment | None:
    """The latest finished look at an object that no correction has replaced."""
    rows = standing().filter(object=object_id).select_related("surveyor", "round", "place_found")
    return rows.order_by("-started_at", "-finished_at").first()


def assessments_of(object_id: uuid.UUID) -> list[Assessment]:
    """All standing assessments of an object, latest first. One query."""
    rows = standing().filter(object=object_id).select_related("surveyor", "round")
    return list(rows.order_by("-started_at", "-finished_at"))


@dataclass(frozen=True)
class LastStep:
    """The step that undoing would take back: its events newest first, and what it did in words."""

    id: str
    words: str
    events: Sequence[Event]


def last_step(assessment: Assessment) -> LastStep | None:
    """The newest step of an assessment that is not taken back yet. One query."""
    rows = Event.objects.filter(subject_kind="survey.assessment", subject_id=str(assessment.pk))
    taken_back: set[str] = set()
    newest: list[Event] = []
    for event in rows.filter(verb__in=[*STEPS, "took back"]).order_by("-pk").iterator(200):
        step = payload(event)["step"]
        if event.verb == "took back":
            taken_back.add(step)
        elif newest and step != payload(newest[0])["step"]:
            break
        elif step not in taken_back:
            newest.append(event)
    return LastStep(payload(newest[0])["step"], newest[0].note, newest) if newest else None


def payload(event: Event) -> dict[str, Any]:
    """What an event of a step says that it made of which row."""
    return cast(dict[str, Any], event.became)


@dataclass(frozen=True)
class SignSeen:
    """A sign as answered, with its words; ``extent_percent`` None where not said."""

    code: str
    name: str
    answer: str
    extent_percent: int | None

    @property
    def words(self) -> str:
        if self.answer != Answer.PRESENT:
            return Answer(self.answer).label.lower()
        return extent_words(self.extent_percent)


EXTENTS = {5: "at a spot", 25: "along a quarter", 50: "along half", 75: "along three quarters", 100: "all along"}


def extent_words(percent: int | None) -> str:
    """How far a sign runs, as a person says it."""
    if percent is None:
        return "present, how far not said"
    return EXTENTS.get(percent, f"along {percent} %")


@dataclass
class ThingSeen:
    """A joint, fill or area of paint with what one assessment says of it; ``answer`` is "" while nothing is said."""

    kind: str
    thing: Joint | Fill | Overpaint
    stage: int | None = None
    stage_name: str = ""
    answer: str = ""
    signs: list[SignSeen] = field(default_factory=list)
    evidence: list[AdhesiveEvidence] = field(default_factory=list)
    earlier_stage: int | None = None

    @property
    def told(self) -> bool:
        """Whether anything is said of it yet."""
        return bool(self.answer or (self.kind != "joint" and self.signs))

    @property
    def present(self) -> list[SignSeen]:
        return [sign for sign in self.signs if sign.answer == Answer.PRESENT]

    @property
    def stage_title(self) -> str:
        return self.stage_name.capitalize()

    @property
    def symbol(self) -> str:
        """The drawing of a joint's stage."""
        return "stage-unknown" if self.stage is None else f"stage-{self.stage}"

    @property
    def words(self) -> str:
        """What is said of it, in a line."""
        if not self.told:
            return "nothing said yet"
        said = [self.stage_name or SEEN_WORDS.get(self.answer, "")] if self.kind == "joint" else []
        said += [f"{sign.name.lower()} {sign.words}" for sign in self.present]
        if not said:
            said = ["no sign" if any(sign.answer == Answer.NONE for sign in self.signs) else "not seen"]
        return ", ".join(said)


@dataclass
class RestorationSeen:
    """A restoration with its parts in order of label."""

    restoration: Restoration
    joints: list[ThingSeen] = field(default_factory=list)
    fills: list[ThingSeen] = field(default_factory=list)
    overpaints: list[ThingSeen] = field(default_factory=list)

    @property
    def things(self) -> list[ThingSeen]:
        return [*self.joints, *self.fills, *self.overpaints]


SEEN_WORDS = {"not_seen": "not seen", "not_known": "not known"}
MODELS: dict[str, type[Joint] | type[Fill] | type[Overpaint]] = {"joint": Joint, "fill": Fill, "overpaint": Overpaint}
VOCABULARY = {"joint": "joint", "fill": "fill", "overpaint": "paint"}


def restorations_seen(assessment: Assessment) -> list[RestorationSeen]:
    """Restorations with their parts and what an assessment says of each. Eight queries, however many parts.

    An open assessment has all parts that are on the object now; a frozen one only those of which it speaks.
    """
    now = assessment.finished_at is None
    rows = Restoration.objects.filter(object=assessment.object_id).select_related("workshop")
    made = {row.pk: RestorationSeen(row) for row in rows.order_by("year_earliest", "pk")}
    seen = {row.joint_id: row for row in JointSeen.objects.filter(assessment=assessment)}
    signs = _signs(assessment)
    earlier = _earlier_stages(assessment) if now else {}
    stages = definitions(assessment.definitions).stages
    for kind, model in MODELS.items():
        for thing in _parts(model, assessment):
            told = ThingSeen(kind, thing, signs=signs[thing.pk], earlier_stage=earlier.get(thing.pk))
            if thing.pk in seen:
                told.stage, told.answer = seen[thing.pk].stage, seen[thing.pk].answer
                told.stage_name = "" if told.stage is None else stages[told.stage].name.lower()
            if now or told.answer or told.signs:
                getattr(made[thing.restoration_id], f"{kind}s").append(told)
    _add_evidence(assessment, made)
    return [each for each in made.values() if now or each.things]


def _parts(model: type[Joint] | type[Fill] | type[Overpaint], assessment: Assessment) -> list[Any]:
    rows = model._default_manager.filter(restoration__object=assessment.object_id).select_related("restoration")
    if assessment.finished_at is None:
        rows = rows.filter(ended_at=None)
    return sorted(rows, key=lambda thing: (len(thing.label), thing.label))


def _signs(assessment: Assessment) -> dict[uuid.UUID, list[SignSeen]]:
    found: dict[uuid.UUID, list[SignSeen]] = defaultdict(list)
    book = definitions(assessment.definitions)
    order = {s.code: (i, s.name) for kind in grades.THINGS for i, s in enumerate(book.signs[kind])}
    rows = list(Sign.objects.filter(assessment=assessment))
    for row in sorted(rows, key=lambda sign: order.get(sign.code, (99, ""))):
        owner = row.joint_id or row.fill_id or row.overpaint_id
        name = order.get(row.code, (99, row.code.replace("_", " ").capitalize()))[1]
        if owner:
            found[owner].append(SignSeen(row.code, name, row.answer, row.extent_percent))
    return found


def _earlier_stages(assessment: Assessment) -> dict[uuid.UUID, int | None]:
    rows = JointSeen.objects.filter(assessment__in=standing(), joint__restoration__object=assessment.object_id)
    if assessment.corrects_id:
        rows = rows.exclude(assessment=assessment.corrects_id)
    return dict(
        rows.filter(stage__isnull=False).order_by("assessment__started_at", "pk").values_list("joint_id", "stage")
    )


def _add_evidence(assessment: Assessment, made: dict[uuid.UUID, RestorationSeen]) -> None:
    rows = AdhesiveEvidence.objects.filter(joint__restoration__object=assessment.object_id).select_related("by")
    if assessment.finished_at:
        rows = rows.filter(at__lte=assessment.finished_at)
    found: dict[uuid.UUID, list[AdhesiveEvidence]] = defaultdict(list)
    for row in rows.order_by("at", "pk"):
        found[row.joint_id].append(row)
    for restoration in made.values():
        for told in restoration.joints:
            told.evidence = found[told.thing.pk]


def photographs_in(assessment: Assessment) -> list[ObjectPhotograph]:
    """Photographs of an assessment and of those that it corrects, oldest first."""
    chain, old = [assessment.pk], assessment.corrects_id
    while old and len(chain) < MOST_CORRECTIONS:
        chain.append(old)
        old = Assessment.objects.filter(pk=old).values_list("corrects_id", flat=True).first()
    rows = ObjectPhotograph.objects.filter(assessment__in=chain).select_related("photograph", "by")
    return list(rows.order_by("at", "pk"))


def photographs_of(object_id: uuid.UUID, *, most: int = 50) -> list[ObjectPhotograph]:
    """Photographs of an object, newest first. One query."""
    rows = ObjectPhotograph.objects.filter(object=object_id).select_related("photograph", "by", "assessment")
    return list(rows.order_by("-at", "-pk")[:most])


def the_thing(kind: str, pk: uuid.UUID, object_id: uuid.UUID) -> Joint | Fill | Overpaint:
    """A joint, fill or overpaint of an object. Raises ``NotThere``."""
    rows: QuerySet[Any] = MODELS[kind]._default_manager.select_related("restoration")
    found: Joint | Fill | Overpaint | None = rows.filter(pk=pk, restoration__object=object_id, ended_at=None).first()
    if found is None:
        raise NotThere("This part is no longer recorded on the object. Go back to the list of its parts.")
    return found


def the_restoration(pk: uuid.UUID, object_id: uuid.UUID) -> Restoration:
    """A restoration of an object. Raises ``NotThere``."""
    found = Restoration.objects.select_related("workshop").filter(pk=pk, object=object_id).first()
    if found is None:
        raise NotThere("This restoration is no longer recorded on the object. Go back to the list of its parts.")
    return found
