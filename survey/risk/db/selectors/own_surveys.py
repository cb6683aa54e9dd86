"""The department's own looks at joints over the years, those since taken down among them, as fitting needs them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from media.base.errors import NotThere
from media.base.models import Job, JobState
from survey.condition.db.models import AdhesiveEvidence, Assessment, Joint, JointSeen, Visit, Workshop
from survey.condition.db.selectors import EvidenceRow, JointRow, JointStates, standing
from survey.risk.db.models import OwnFit, ParameterSet
from survey.risk.db.selectors.parameters import values_of as read_values
from survey.risk.entries import entries

DOUBLE_DAYS = 60  # two people's looks within one round and this time saw the joint in one state
OPEN_STAGE = 4
FIT_JOB = "survey.risk.fit"


class OwnLook(NamedTuple):
    """One look at one joint that said a stage."""

    joint_id: UUID
    at: datetime
    stage: int
    visit: str
    surveyor_id: int
    round_id: UUID | None


@dataclass(frozen=True)
class OwnSurveys:
    """Joints ever looked at, in place or since ended, by key; their looks by joint and time; evidence by joint."""

    states: JointStates
    looks: list[OwnLook]

    @property
    def by_joint(self) -> dict[UUID, list[OwnLook]]:
        found: dict[UUID, list[OwnLook]] = defaultdict(list)
        for look in self.looks:
            found[look.joint_id].append(look)
        return found


def own_surveys() -> OwnSurveys:
    """All standing looks at joints of objects in the register. Three queries.

    Joints that were taken down since stay in: those were the bad ones, and without them lives would look longer.
    """
    seen = JointSeen.objects.filter(
        assessment__in=standing(), stage__isnull=False, joint__restoration__object__withdrawn_at=None
    )
    rows = seen.order_by("joint_id", "assessment__started_at", "id").values_list(
        "joint_id", "assessment__started_at", "stage", "assessment__visit", "assessment__surveyor_id",
        "assessment__round_id",
    )  # fmt: skip
    looks = [OwnLook(*row) for row in rows.iterator(5_000)]  # type: ignore[arg-type]  # a stage is always said here
    kept = {look.joint_id for look in looks}
    return OwnSurveys(JointStates(_joints(kept), [], [], _evidence(kept)), looks)


def _joints(kept: set[UUID]) -> list[JointRow]:
    rows = Joint.objects.filter(restoration__object__withdrawn_at=None).order_by("id").values_list(
        "id", "restoration__object_id", "restoration_id", "restoration__workshop_id", "label", "part", "length_mm",
        "wall_mm", "lever_mm", "held_mass_kg", "structural", "adhesive", "basis", "restoration__year_earliest",
        "restoration__year_latest",
    )  # fmt: skip
    return [JointRow(*row) for row in rows.iterator(5_000) if row[0] in kept]


def _evidence(kept: set[UUID]) -> list[EvidenceRow]:
    rows = AdhesiveEvidence.objects.order_by("joint_id", "at", "id").values_list("joint_id", "basis", "finding", "at")
    return [EvidenceRow(*row) for row in rows.iterator(5_000) if row[0] in kept]


def double_pairs(looks: Sequence[OwnLook]) -> list[tuple[int, int]]:
    """Stages said by two people of one joint in one round within ``DOUBLE_DAYS``; each look in at most one pair."""
    pairs, first = [], None
    for look in looks:
        if first is not None and _same_time(first, look) and first.surveyor_id != look.surveyor_id:
            pairs.append((first.stage, look.stage))
            first = None
        else:
            first = look
    return pairs


def _same_time(one: OwnLook, other: OwnLook) -> bool:
    return (
        one.joint_id == other.joint_id
        and one.round_id is not None
        and one.round_id == other.round_id
        and (other.at - one.at).days <= DOUBLE_DAYS
    )


class PlannedLook(NamedTuple):
    """A look that a fit may use. ``exact``: the joint opened at that very time; ``at_least``: by then it was in that
    stage or a worse one."""

    at: datetime
    stage: int
    exact: bool = False
    at_least: bool = False


def planned(looks: Sequence[OwnLook], rounds: Sequence[datetime] = (), *, ended: bool = False) -> list[PlannedLook]:
    """Looks of one joint that a fit may use, from all its looks and the times at which rounds came to its object.

    Looks in the round count as they are. A joint found open after an incident or a move opened then. Looks made because
    something looked bad come when a joint is bad, so their time says too much. Where the joint has ``ended`` by their
    doing, to leave them out would say too little (measured: lives come out a sixth to many times too long): the next
    round that came to the object would have found that stage or a worse one, and so it is taken. Else they are left
    out.
    """
    kept: list[PlannedLook] = []
    for look in looks:
        if look.visit == Visit.ROUND:
            kept.append(PlannedLook(look.at, look.stage))
        elif look.visit == Visit.INCIDENT and look.stage == OPEN_STAGE:
            return [*kept, PlannedLook(look.at, look.stage, exact=True)]  # nothing after it is of this joint
    last = looks[-1] if looks else None
    if ended and kept and last and last.visit == Visit.LOOKED_BAD and last.stage:
        then = next((at for at in rounds if at > last.at), None)
        if then:
            kept.append(PlannedLook(then, last.stage, at_least=True))
    return kept


def rounds_at_objects() -> dict[UUID, list[datetime]]:
    """When looks in the round came to each object, in order of time. One query."""
    found: dict[UUID, list[datetime]] = defaultdict(list)
    rows = standing().filter(visit=Visit.ROUND, object__withdrawn_at=None).order_by("started_at")
    for pk, at in rows.values_list("object_id", "started_at").iterator(5_000):
        found[pk].append(at)
    return found


def ended_joints() -> set[UUID]:
    """Joints that were taken down. One query."""
    return set(Joint.objects.filter(ended_at__isnull=False).values_list("pk", flat=True))


def newest_fit() -> OwnFit | None:
    """The newest fit that is finished. One query."""
    fits = OwnFit.objects.filter(finished_at__isnull=False).select_related("parameters", "asked_by", "left_by")
    return fits.order_by("-finished_at").first()


def adopted_as(fit: OwnFit) -> ParameterSet | None:
    """The first set put in force after a fit that holds all it proposed. One query."""
    if not fit.proposed:
        return None
    later = ParameterSet.objects.filter(adopted_at__gte=fit.asked_at).order_by("number")
    return next((each for each in later if fit.proposed.items() <= each.values.items()), None)


FITTED = ("beliefs.", "stays.")


def values_before_fits(values: Mapping[str, Any]) -> dict[str, Any]:
    """Values of a set with what it took from a fit put back as it was before: looks that are in the beliefs already
    must not hold the next fit to themselves. One query for each fit in turn that was adopted, and one more."""
    for fit in OwnFit.objects.exclude(proposed={}).select_related("parameters").order_by("-asked_at"):
        taken = {path: value for path, value in fit.proposed.items() if path.startswith(FITTED)}
        if taken.items() <= values.items() and not taken.items() <= fit.parameters.values.items():
            before = values_before_fits(fit.parameters.values)
            kept = {path: value for path, value in values.items() if path not in fit.proposed}
            return {**kept, **{path: before[path] for path in fit.proposed if path in before}}
    return dict(values)


def the_fit(pk: UUID) -> OwnFit:
    """One finished fit. Raises ``NotThere``."""
    found = OwnFit.objects.filter(pk=pk, finished_at__isnull=False).first()
    if found is None:
        raise NotThere("This fit is not on record. See the newest one.")
    return found


def fit_job() -> Job | None:
    """The fitting that goes on, or that ended badly after the last good one. One query."""
    job = Job.objects.filter(name=FIT_JOB).order_by("-asked_at").first()
    return None if job is None or job.state == JobState.DONE else job


def seen_since(fit: OwnFit) -> int:
    """Assessments finished since a fit was asked for. One query."""
    return Assessment.objects.filter(finished_at__gt=fit.asked_at).count()


@dataclass(frozen=True)
class WorkshopPace:
    """How fast the joints of a workshop pass through their stages, as a factor, and how many it rests on."""

    name: str
    pace: float
    low: float
    high: float
    joints: int


def workshop_paces(result: Mapping[str, Any]) -> list[WorkshopPace]:
    """Paces of workshops with joints looked at again, the most first. One query."""
    names = Workshop.objects.in_bulk([UUID(pk) for pk in result["workshop_ids"]])
    found = [
        WorkshopPace(names[UUID(pk)].name if UUID(pk) in names else "No longer on record", *numbers)
        for pk, numbers in zip(result["workshop_ids"], result["workshops"], strict=True)
    ]
    return sorted((each for each in found if each.joints), key=lambda each: (-each.joints, each.name))


def proposals(fit: OwnFit) -> list[tuple[str, str, str, str]]:
    """What a fit would change, in words: name, unit, as it was, as proposed."""
    was = read_values(fit.parameters.values)
    known = entries()
    return [
        (known[path].name, known[path].unit, known[path].shown(was[path]), known[path].shown(value))
        for path, value in fit.proposed.items()
        if path in known
    ]
