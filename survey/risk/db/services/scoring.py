"""Running the scoring: batches of objects, each written whole, then the order over all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from django.db import transaction
from numpy.typing import NDArray

from media.base import bulk, events, jobs
from media.base.models import Job, User
from survey.condition.db.models import Joint
from survey.register.db.models import Exhibition, MilestoneKind, Object
from survey.register.db.selectors import current_exhibition
from survey.risk.consequence import SPREAD, display_weight, expected_loss, significance_weight
from survey.risk.db.models import Band, JointRisk, ObjectRisk, ParameterSet, RiskRun
from survey.risk.db.selectors.gathering import Ahead, Gathered, Setting, gather
from survey.risk.identification import CLASSES
from survey.risk.inputs import Assumptions
from survey.risk.magnitude import score
from survey.risk.objects import JointScores, ObjectScores, score_joints, score_objects, unsure_ranks
from survey.risk.reasons import Reason, object_numbers, reasons
from survey.risk.urgency import Urgency, urgency
from survey.risk.what_if import chances_if

BATCH = 400
OTHERWISE_AHEAD = timedelta(days=365)
SHIPPED = {"activation_energy": 100_000.0, "humidity_exponent": 1.3, "default_climate": "heated"}


def ensure_parameters(*, at: datetime) -> ParameterSet:
    """The newest parameter set; the shipped defaults become number 1 where there is none."""
    newest = ParameterSet.objects.order_by("-number").first()
    return newest or ParameterSet.objects.create(
        number=1, name="Shipped defaults", values=SHIPPED, adopted_at=at, reason="As Fettle came"
    )


@transaction.atomic
def start_run(*, by: User | None, at: datetime, exhibition: Exhibition | None = None) -> tuple[RiskRun, Job]:
    """Ask for a scoring of everything; it goes on as a job."""
    exhibition = exhibition or current_exhibition()
    run = RiskRun.objects.create(
        parameters=ensure_parameters(at=at), exhibition=exhibition, as_of=at.date(), began_at=at, asked_by=by
    )
    job = jobs.enqueue("survey.risk.run", by=by, title="Scoring all joints", run_id=str(run.pk))
    run.job = job
    run.save(update_fields=["job"])
    events.record(run, "asked for a scoring", by=by, at=at, became={"as_of": run.as_of, "exhibition": str(exhibition)})
    return run, job


def setting_of(run: RiskRun) -> Setting:
    """Dates and climate of a run; without an exhibition, a year ahead."""
    values = {**SHIPPED, **run.parameters.values}
    return Setting(
        as_of=run.as_of,
        ahead=milestones_ahead(run.exhibition, run.as_of),
        default_climate=str(values["default_climate"]),
        activation_energy=float(values["activation_energy"]),
        humidity_exponent=float(values["humidity_exponent"]),
    )


def milestones_ahead(exhibition: Exhibition | None, as_of: date) -> tuple[Ahead, ...]:
    """Milestones up to opening day in the order of time, opening last; a year from now where there is none."""
    dated = dict(exhibition.milestones.values_list("kind", "date")) if exhibition else {}
    if MilestoneKind.OPENING not in dated:
        return (Ahead("year", "a year from now", as_of + OTHERWISE_AHEAD),)
    opening = dated.pop(MilestoneKind.OPENING)
    before = sorted((day, kind) for kind, day in dated.items() if kind != MilestoneKind.END and day <= opening)
    names = {"photography": "photography ends", "mount_making": "mounts are made", "case_closing": "cases close"}
    return (*(Ahead(kind, names[kind], day) for day, kind in before), Ahead("opening", "opening day", opening))


def objects_to_score() -> list[UUID]:
    """Objects with a joint in place, in the order in which a run goes through them."""
    owners = Joint.objects.filter(ended_at=None, restoration__object__withdrawn_at=None)
    return sorted(set(owners.values_list("restoration__object_id", flat=True)))


def batches(ids: Sequence[UUID], *, after: str) -> list[list[UUID]]:
    """What is left of a run, in batches."""
    left = [pk for pk in ids if not after or pk > UUID(after)]
    return [left[start : start + BATCH] for start in range(0, len(left), BATCH)]


@dataclass(frozen=True)
class _Scored:
    """The numbers of one batch, in the order of ``gathered``."""

    gathered: Gathered
    joints: JointScores
    objects: ObjectScores
    urgency: Urgency
    if_changed: dict[str, NDArray[np.float64]]
    loss: NDArray[np.float64]
    weighted: NDArray[np.float64]
    share_of_value: NDArray[np.float64]


def collection_weight() -> float:
    """Sum of the weights of all objects of the register: the whole that each is a share of."""
    known = Object.objects.filter(withdrawn_at=None).values_list("significance", flat=True)
    values = np.array([np.nan if value is None else value for value in known], dtype=np.float64)
    return float(significance_weight(values).sum()) or 1.0


def score_batch(run: RiskRun, objects: Sequence[UUID], *, whole: float) -> int:
    """Score some objects and write their rows, replacing any that the run had; returns how many joints."""
    setting = setting_of(run)
    gathered = gather(objects, run.exhibition, setting)
    ObjectRisk.objects.filter(run=run, object__in=objects).delete()
    JointRisk.objects.filter(run=run, object__in=objects).delete()
    if not gathered.joints:
        return 0
    scored = _score(gathered, whole)
    middle = Assumptions().middle
    bulk.insert(JointRisk, _joint_rows(run, scored, setting, middle), leave_out=("id",))
    bulk.insert(ObjectRisk, _object_rows(run, scored, setting, middle), leave_out=("id",))
    return len(gathered.joints)


def _score(gathered: Gathered, whole: float) -> _Scored:
    assumptions = Assumptions()
    joints = score_joints(gathered.inputs, assumptions)
    objects = score_objects(gathered.inputs, joints, assumptions)
    chance = joints.before[assumptions.middle, :, -1]
    loss = expected_loss(chance, gathered.loss[:, 1], gathered.inputs.object_index, len(gathered.facts))
    matters = significance_weight(_or_nan(fact.significance for fact in gathered.facts))
    shown = display_weight(_or_nan(fact.importance for fact in gathered.facts))
    return _Scored(
        gathered=gathered,
        joints=joints,
        objects=objects,
        urgency=urgency(gathered.signs, gathered.use),
        if_changed=chances_if(gathered.inputs, objects.worst_joint, assumptions),
        loss=loss,
        weighted=loss * matters * shown,
        share_of_value=matters / whole,
    )


def _or_nan(values: Any) -> NDArray[np.float64]:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _joint_rows(run: RiskRun, scored: _Scored, setting: Setting, middle: int) -> list[JointRisk]:
    gathered, joints = scored.gathered, scored.joints
    kinds = [ahead.kind for ahead in setting.ahead]
    rows = []
    for row, joint in enumerate(gathered.joints):
        before = joints.before[middle, row]
        by_itself = joints.opens[middle, row, -1]
        shares = gathered.inputs.class_probabilities[row]
        seen = int(gathered.inputs.last_seen[row])
        assumed = ["load"] if gathered.inputs.load.estimated[row] else []
        assumed += ["age"] if np.isnan(gathered.inputs.age_now[row]) else []
        rows.append(
            JointRisk(
                run=run,
                joint_id=joint.id,
                object_id=joint.object_id,
                before_opening=float(before[-1]),
                before_milestones=dict(zip(kinds, map(float, before.round(6)), strict=True)),
                stage=seen if seen >= 0 else None,
                stage_chances=joints.stage_now[middle, row].round(4).tolist(),
                class_chances={c: round(float(p), 4) for c, p in zip(CLASSES, shares, strict=True) if p >= 0.005},
                move_share=float(1 - by_itself / before[-1]) if before[-1] > 0 else 0.0,
                assumed=assumed,
            )
        )
    return rows


def _object_rows(run: RiskRun, scored: _Scored, setting: Setting, middle: int) -> list[ObjectRisk]:
    gathered, objects = scored.gathered, scored.objects
    kinds = [ahead.kind for ahead in setting.ahead]
    rows = []
    for index, fact in enumerate(gathered.facts):
        mine = np.flatnonzero(gathered.inputs.object_index == index)
        if not mine.size:
            continue
        band = _band(scored, index)
        seen = gathered.inputs.last_seen[mine]
        rows.append(
            ObjectRisk(
                run=run,
                object_id=fact.id,
                band=band,
                band_order=0 if band == Band.DO_NOT_LIFT else 1,
                before_opening=float(objects.middle[index, -1]),
                before_opening_low=float(objects.low[index, -1]),
                before_opening_high=float(objects.high[index, -1]),
                before_milestones=dict(zip(kinds, map(float, objects.middle[index].round(6)), strict=True)),
                yearly=float(objects.per_year[middle, index]),
                loss=float(scored.loss[index]),
                weighted_loss=float(scored.weighted[index]),
                magnitude=_magnitude(scored, index, mine),
                worst_stage=int(seen.max()) if seen.max() >= 0 else None,
                joints=int(mine.size),
                reasons=[{"code": r.code, "text": r.text} for r in _reasons(scored, setting, index, middle)],
                on_checklist=bool(fact.use),
                warnings=gathered.warnings.get(fact.id, []),
            )
        )
    return rows


def _band(scored: _Scored, index: int) -> str:
    """The rule's band; a surveyor's word that it must not be lifted stands above any rule."""
    if scored.gathered.facts[index].told_not_to_lift:
        return Band.DO_NOT_LIFT
    return Band(BAND_OF_RULE[int(scored.urgency.band[index])])


BAND_OF_RULE = (Band.NOT_SEEN, Band.MONITOR, Band.BEFORE_OPENING, Band.BEFORE_MOVE, Band.DO_NOT_LIFT)


def _magnitude(scored: _Scored, index: int, mine: NDArray[np.int64]) -> dict[str, list[float]]:
    """A, B, C as low, probable, high; A from the yearly rate under the three priors, B from the worst joint's loss."""
    rates = np.sort(scored.objects.per_year[:, index])
    worst = mine[int(np.argmax(scored.gathered.loss[mine, 1]))]
    share = float(scored.share_of_value[index])
    of_what = np.clip([share / SPREAD, share, share * SPREAD], 0, 1)
    years = 1 / np.maximum(rates, 1e-9)
    parts = score(years, scored.gathered.loss[worst], of_what)
    return {name: part.round(3).tolist() for name, part in zip("ABC", parts, strict=True)}


def _reasons(scored: _Scored, setting: Setting, index: int, middle: int) -> list[Reason]:
    gathered = scored.gathered
    last = len(setting.ahead) - 1
    rules = [(code, [gathered.labels.part[row] for row in rows]) for code, rows in scored.urgency.reasons(index)]
    numbers = object_numbers(
        gathered.inputs,
        scored.joints,
        scored.objects,
        gathered.labels,
        index=index,
        milestone=last,
        milestone_name=setting.ahead[last].name,
        prior=middle,
        band=BAND_CODE_OF_RULE[int(scored.urgency.band[index])],
        rules=rules,
        if_changed={code: float(changed[index, last]) for code, changed in scored.if_changed.items()},
    )
    told = gathered.facts[index].told_not_to_lift
    said = [Reason("told", f"The surveyor of {told:%-d %B %Y} said that it must not be lifted.")] if told else []
    return [*said, *reasons(numbers)]


BAND_CODE_OF_RULE = ("not-seen", "monitor", "before-opening", "before-mount-or-travel", "do-not-lift")


def finish_run(run: RiskRun, *, at: datetime) -> None:
    """Put all of a run in order, mark ranks that the priors disagree on, and make it the one that is shown."""
    rows = list(ObjectRisk.objects.filter(run=run).order_by("object_id"))
    if rows:
        three = [[row.before_opening_low, row.before_opening, row.before_opening_high] for row in rows]
        unsure = unsure_ranks(np.array(three).T[:, :, None])[:, 0]
        for order, field in (("loss", "rank_by_loss"), ("weighted_loss", "rank_by_weighted")):
            ranked = sorted(rows, key=lambda row: (row.band_order, -getattr(row, order), row.object_id))
            for rank, row in enumerate(ranked, start=1):
                setattr(row, field, rank)
        for row, moves in zip(rows, unsure, strict=True):
            _mark_unsure(row, bool(moves))
        ObjectRisk.objects.bulk_update(rows, ["rank_by_loss", "rank_by_weighted", "reasons"], batch_size=500)
    counts = {"objects": len(rows), "joints": JointRisk.objects.filter(run=run).count()}
    counts["do_not_lift"] = sum(row.band == Band.DO_NOT_LIFT for row in rows)
    run.counts, run.finished_at = counts, at
    run.save(update_fields=["counts", "finished_at"])
    events.record(run, "scored", by=run.asked_by, at=at, became=counts)


def _mark_unsure(row: ObjectRisk, unsure: bool) -> None:
    kept = [reason for reason in row.reasons if reason["code"] != "rank-unsure"]
    text = "Its place in the ranking moves by more than a quarter of the list from one belief to another."
    row.reasons = [*kept, {"code": "rank-unsure", "text": text}] if unsure else kept
