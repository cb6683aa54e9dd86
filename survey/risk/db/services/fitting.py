"""Fitting rates to the department's own repeated surveys: a proposal that the head adopts or leaves."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from django.db import transaction

from media.base import events, jobs
from media.base.errors import Clash, FettleError
from media.base.models import Job, JobState, User
from survey.condition.db.models import Visit
from survey.condition.db.selectors import JointRow
from survey.risk.db.models import OwnFit, ParameterDraft, RiskRun
from survey.risk.db.selectors import latest_run
from survey.risk.db.selectors.findings import found_on, object_key, shops_of, years_of
from survey.risk.db.selectors.gathering import gather
from survey.risk.db.selectors.light import light_for, setting_of
from survey.risk.db.selectors.own_surveys import (
    OwnSurveys,
    PlannedLook,
    double_pairs,
    ended_joints,
    own_surveys,
    planned,
    rounds_at_objects,
    values_before_fits,
)
from survey.risk.db.services.parameters import begin_draft
from survey.risk.db.services.scoring import (
    batches,
    ensure_parameters,
    learned_for,
    objects_to_score,
)
from survey.risk.fitting import Panel, Whole
from survey.risk.identification import NITRATE, coded
from survey.risk.own_fit import Looked, Tell, fit_looks, moves_seen, too_few
from survey.risk.parameters import read
from survey.risk.stages import OPEN
from survey.risk.workshops import Findings, identify

FIT_JOB = "survey.risk.fit"
LIKELY = 0.5  # chance of cellulose nitrate from which a joint is fitted as such
YEAR = 365.25
PARTS = 5  # of the joints, each foretold by a fit to the others


@transaction.atomic
def ask_for_fit(*, by: User | None, at: datetime) -> tuple[OwnFit, Job]:
    """Have rates fitted to all own surveys. Raises ``Clash`` while that goes on."""
    if Job.objects.filter(name=FIT_JOB, state__in=(JobState.QUEUED, JobState.RUNNING)).exists():
        raise Clash("Rates are being fitted already. Wait until that is done.")
    fit = OwnFit.objects.create(parameters=ensure_parameters(at=at), asked_by=by, asked_at=at)
    job = jobs.enqueue(FIT_JOB, by=by, title="Fitting rates to our own surveys", fit_id=str(fit.pk))
    events.record(fit, "asked for a fit", by=by, at=at)
    return fit, job


@transaction.atomic
def keep_fit(fit: OwnFit, outcome: Outcome, *, at: datetime) -> OwnFit:
    """Write down what a fit found; nothing is put in force by it."""
    fit.counts, fit.result, fit.proposed, fit.finished_at = outcome.counts, outcome.result, outcome.proposed, at
    fit.save(update_fields=["counts", "result", "proposed", "finished_at"])
    events.record(fit, "fitted", by=fit.asked_by, at=at, became=fit.counts)
    return fit


@transaction.atomic
def propose_fit(fit: OwnFit, *, by: User, at: datetime) -> ParameterDraft:
    """Begin a draft of a parameter set from a fit: its effect on the ranking is worked out before it is decided."""
    if not fit.proposed:
        raise FettleError("This fit proposes nothing: too few joints were looked at again.")
    held = ensure_parameters(at=at).values
    draft = begin_draft({**held, **fit.proposed}, by=by, at=at)
    events.record(fit, "proposed", by=by, at=at, became=fit.proposed)
    return draft


@transaction.atomic
def leave_fit(fit: OwnFit, *, by: User, at: datetime) -> None:
    """Decide not to adopt a fit; it stays on record."""
    fit.left_at, fit.left_by = at, by
    fit.save(update_fields=["left_at", "left_by"])
    events.record(fit, "left", by=by, at=at)


@transaction.atomic
def take_up_fit(fit: OwnFit, *, by: User, at: datetime) -> None:
    """Take back that a fit was left."""
    fit.left_at = fit.left_by = None
    fit.save(update_fields=["left_at", "left_by"])
    events.record(fit, "taken up again", by=by, at=at)


@dataclass(frozen=True)
class Outcome:
    """What a fit comes to; ``result`` None where there was too little to fit."""

    counts: dict[str, Any]
    result: dict[str, Any] | None
    proposed: dict[str, float]


def fit_own_surveys(fit: OwnFit, *, tell: Tell) -> Outcome:
    """Fit all own looks, held by the beliefs of the fit's parameter set as they were before any fit. Writes nothing."""
    tell("Reading looks at joints")
    surveys = own_surveys()
    run = RiskRun(parameters=fit.parameters, as_of=fit.asked_at.date(), began_at=fit.asked_at)
    tell("Weighing which joints are cellulose nitrate")
    joints = _nitrate(surveys, run)
    looked, shops, counts = _looked(surveys, joints, _rates(run))
    if too_few(looked.panel):
        return Outcome(counts, None, {})
    made = fit_looks(looked, read(values_before_fits(fit.parameters.values)), tell)
    return Outcome(counts, {**made.result, "workshop_ids": [str(pk) for pk in shops]}, made.proposed)


def _rates(run: RiskRun) -> dict[UUID, float]:
    """Equivalent years in a calendar year of each object with joints in place."""
    setting, found = setting_of(run), {}
    for ids in batches(objects_to_score(), after=""):
        gathered = gather(ids, None, setting)
        for joint, rate in zip(gathered.joints, gathered.inputs.rate_per_year, strict=True):
            found[joint.object_id] = float(rate)
    return found


def _nitrate(surveys: OwnSurveys, run: RiskRun) -> list[JointRow]:
    """Joints that are more likely than not of cellulose nitrate, by evidence and by their workshops' habits."""
    joints = surveys.states.joints
    if not joints:
        return []
    latest = latest_run()
    same = latest is not None and latest.parameters_id == run.parameters_id and latest.learned
    run.learned = same or learned_for(run, objects_to_score())
    light, parameters = light_for(run), read(run.parameters.values)
    number: dict[UUID, int] = {}
    restoration = np.array([number.setdefault(joint.restoration_id, len(number)) for joint in joints])
    firsts = [joints[row] for row in np.unique(restoration, return_index=True)[1]]
    dates = years_of(firsts)
    shops = [-1 if shop is None else light.number.get(shop, -1) for shop in shops_of(firsts, dates)]
    findings = Findings.of(
        coded(found_on(surveys.states, parameters.table, defaultdict(list)), parameters.table), parameters.table,
        restoration=restoration, workshop=np.array(shops, dtype=np.int64), years=dates, prior=parameters.class_prior,
        sharing=parameters.sharing,
    )  # fmt: skip
    found = identify(findings, parameters.sharing, workshops=light.learned.workshops)
    return [joint for joint, likely in zip(joints, found.rows[:, NITRATE] >= LIKELY, strict=True) if likely]


def _looked(
    surveys: OwnSurveys, joints: Sequence[JointRow], rates: dict[UUID, float]
) -> tuple[Looked, list[UUID], dict[str, Any]]:
    """Looks laid out for fitting, the workshops by their number, and what it all rests on."""
    by_joint, usual = surveys.by_joint, float(np.median(list(rates.values()))) if rates else 1.0
    rounds, ended = rounds_at_objects(), ended_joints()
    rows: list[tuple[int, float, PlannedLook]] = []
    kept: list[JointRow] = []
    lives: list[tuple[float, float, float]] = []
    middles = years_of(joints).mean(axis=1) if joints else np.zeros(0)
    for joint, year in zip(joints, middles, strict=True):
        looks = planned(by_joint.get(joint.id, ()), rounds.get(joint.object_id, ()), ended=joint.id in ended)
        rate = rates.get(joint.object_id, usual)
        if looks:
            rows += [(len(kept), round(_years(looks[0], look) * rate, 2), look) for look in looks]
            kept.append(joint)
            if np.isfinite(year) and looks[0].stage < OPEN:
                lives.append(_life(looks, year, rate))
    panel = Panel(
        joint=np.array([row[0] for row in rows], dtype=np.int64),
        time=np.array([row[1] for row in rows], dtype=np.float64),
        stage=np.array([row[2].stage for row in rows], dtype=np.int64),
        exact=np.array([row[2].exact for row in rows], dtype=np.bool_),
        at_least=np.array([row[2].at_least for row in rows], dtype=np.bool_),
    )
    pairs = np.array([pair for looks in by_joint.values() for pair in double_pairs(looks)], dtype=np.int64)
    pairs = pairs.reshape(-1, 2)
    workshop, shops = _numbered([each.workshop_id for each in kept])
    span = np.array(lives, dtype=float).reshape(-1, 3)
    looked = Looked(
        panel, workshop, _numbered([each.restoration_id for each in kept])[0],
        np.array([object_key(each.object_id) % PARTS for each in kept], dtype=np.int64),
        pairs[:, 0], pairs[:, 1], span[:, 0], span[:, 1], span[:, 2],
    )  # fmt: skip
    counts = {
        "joints": len(surveys.states.joints),
        "nitrate": len(kept),
        "again": panel.seen_again,
        "looks": int(panel.joint.size),
        "moves": moves_seen(panel),
        "exact": int(panel.exact.sum()),
        "looked_bad": sum(look.visit == Visit.LOOKED_BAD for look in surveys.looks),
        "at_least": int(panel.at_least.sum()),
        "pairs": int(pairs.shape[0]),
        "agreed": int(np.sum(pairs[:, 0] == pairs[:, 1])),
    }
    return looked, shops, counts


def _years(first: PlannedLook, then: PlannedLook) -> float:
    return (then.at - first.at).total_seconds() / 86_400 / YEAR


def _life(looks: Sequence[PlannedLook], made: float, rate: float) -> tuple[float, float, float]:
    """Equivalent years from its making at which a joint was first seen, last seen holding, and first seen open."""

    def age(look: PlannedLook) -> float:
        return max(0.01, (look.at.year + look.at.timetuple().tm_yday / YEAR - made) * rate)

    entry = left = age(looks[0])
    for look in looks:
        if look.stage == OPEN:
            return entry, (age(look) if look.exact else left), age(look)
        if not look.at_least:
            left = age(look)
    return entry, left, np.inf


def _numbered(keys: Sequence[UUID | None]) -> tuple[Whole, list[UUID]]:
    """Keys as numbers from 0, -1 for none, and the keys in that order."""
    number: dict[UUID, int] = {}
    found = [-1 if key is None else number.setdefault(key, len(number)) for key in keys]
    return np.array(found, dtype=np.int64), list(number)
