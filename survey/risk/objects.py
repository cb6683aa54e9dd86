"""Scores of joints and of the objects they hold together: chance of failing before each milestone, and per year.

Each joint is a mixture over the classes its adhesive may be: each class runs its own chain at its own speed and
fails at its own strength, and the results are weighted by the class probabilities. Speeds are never averaged: half a
chance of a fast adhesive is not an adhesive of middling speed.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.risk.adhesives import sound_strengths_pa, speeds
from survey.risk.holding import HoldTable
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.load import utilisation
from survey.risk.passing import Way, passages
from survey.risk.stages import OPEN, StagePrior


@dataclass(frozen=True)
class JointScores:
    """Results for joints [j] under each prior [p], before each milestone [m].

    Attributes
    ----------
    stage_now : [p, j, s], belief about the stage today
    opens : [p, j, m], chance to be open by itself
    gives : [p, j, m], chance to give in a move, if it has not opened by itself
    before : [p, j, m], chance of either: ``1 - (1 - opens) * (1 - gives)``
    per_year : [p, j], long-term yearly rate of opening by itself
    worst_use : [j, k], stress over strength of each kind of move at the stage last seen (or sound), for the
        likeliest class
    """

    stage_now: NDArray[np.float64]
    opens: NDArray[np.float64]
    gives: NDArray[np.float64]
    before: NDArray[np.float64]
    per_year: NDArray[np.float64]
    worst_use: NDArray[np.float64]


@dataclass(frozen=True)
class ObjectScores:
    """Results for objects [n]: chance that at least one joint fails.

    Attributes
    ----------
    before : [p, n, m], joints taken as independent. They share a batch and a hand, so this overstates;
    at_least : [p, n, m], chance of the worst joint alone: the least it can be, if all joints stand or fall together
    low, middle, high : [n, m], of ``before`` over the priors
    per_year : [p, n], long-term yearly rate of the first joint to open by itself
    worst_joint : int [n, m], row of the joint most likely to fail under the middle prior; -1 for no joints
    rank_unsure : bool [n, m], the rank moves by more than a quarter of the list from prior to prior
    """

    before: NDArray[np.float64]
    at_least: NDArray[np.float64]
    low: NDArray[np.float64]
    middle: NDArray[np.float64]
    high: NDArray[np.float64]
    per_year: NDArray[np.float64]
    worst_joint: NDArray[np.int64]
    rank_unsure: NDArray[np.bool_]


def score_joints(inputs: JointInputs, assumptions: Assumptions | None = None) -> JointScores:
    """Score every joint under every prior.

    Parameters
    ----------
    inputs : JointInputs
    assumptions : Assumptions, optional

    Returns
    -------
    JointScores

    Raises
    ------
    ValueError
        Visits out of order or stages out of range, named.

    Notes
    -----
    Moves are judged at the stage the joint will have reached by the milestone, which is a little late for early moves.
    """
    chosen = assumptions or Assumptions()
    way = Way.of(inputs, chosen)
    holds = way.holds(scatter=chosen.scatter, shared=chosen.shared_scatter)
    results = [_under(prior, way, holds) for prior in chosen.priors]
    now, opens, before, per_year = (np.stack(arrays) for arrays in zip(*results, strict=True))
    with np.errstate(invalid="ignore", divide="ignore"):
        gives = np.where(opens < 1.0, (before - opens) / (1.0 - opens), 0.0)
    return JointScores(
        stage_now=now,
        opens=opens,
        gives=np.clip(gives, 0.0, 1.0),
        before=before,
        per_year=per_year,
        worst_use=use_as_seen(inputs, chosen),
    )


def score_objects(inputs: JointInputs, joints: JointScores, assumptions: Assumptions | None = None) -> ObjectScores:
    """Combine joints into objects: ``1 - prod(1 - p)``, with the worst joint as the lower bound.

    Parameters
    ----------
    inputs : JointInputs
    joints : JointScores, of the same inputs and assumptions

    Returns
    -------
    ObjectScores
        An object without joints gets 0: it has nothing that this core can score.
    """
    middle = (assumptions or Assumptions()).middle
    before = _any_of(joints.before, inputs)
    at_least = np.zeros(before.shape)
    for prior in range(before.shape[0]):
        np.maximum.at(at_least[prior], inputs.object_index, joints.before[prior])
    per_year = np.zeros((before.shape[0], inputs.object_count))
    for prior in range(before.shape[0]):
        np.add.at(per_year[prior], inputs.object_index, joints.per_year[prior])
    return ObjectScores(
        before=before,
        at_least=at_least,
        low=before.min(axis=0),
        middle=before[middle],
        high=before.max(axis=0),
        per_year=per_year,
        worst_joint=worst_joints(joints.before[middle], inputs),
        rank_unsure=unsure_ranks(before),
    )


def unsure_ranks(before: NDArray[np.float64], *, share: float = 0.25) -> NDArray[np.bool_]:
    """Whether an object's rank [n, m] moves by more than ``share`` of the list over the priors of ``before`` [p, n, m].

    Ties share the middle of their ranks.
    """
    ranks = np.stack([np.apply_along_axis(_middle_ranks, 0, scores) for scores in before])
    return np.asarray(ranks.max(axis=0) - ranks.min(axis=0) > share * max(1, before.shape[1]))


_TOGETHER = 4096  # joints taken through at once: what they need at a time stays small


def _under(
    prior: StagePrior, way: Way, holds: HoldTable
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Stage today, chance open by itself, chance of either, and yearly rate, under one prior."""
    joints, milestones = way.inputs.years_ahead.shape
    now, opens, stands = np.zeros((joints, OPEN + 1)), np.zeros((joints, milestones)), np.zeros((joints, milestones))
    later = np.zeros(joints)
    for start in range(0, joints, _TOGETHER):
        rows = slice(start, start + _TOGETHER)
        shares = way.inputs.class_probabilities[rows]
        which, kind = np.nonzero(shares > 0)
        joint = which + start
        clock = speeds(way.assumptions.adhesives)[kind] * way.inputs.rate_factor[joint]
        made = passages(way, prior, holds, joint, kind, clock, np.zeros(1))
        weight = shares[which, kind]
        for values, mixed in ((made.now, now), (made.opens, opens), (made.stands[..., 0], stands), (made.later, later)):
            mixed[rows] = _mixed(values, weight, which)
    per_year = yearly_rate(now[:, OPEN], later, way.assumptions.horizon_years)
    return now, opens, 1.0 - stands, per_year


def _mixed(values: NDArray[np.float64], weight: NDArray[np.float64], which: NDArray[np.int64]) -> NDArray[np.float64]:
    """Values [q, ...] of runs weighted into joints [j, ...]; the runs of a joint stand together."""
    weighted = weight.reshape(-1, *[1] * (values.ndim - 1)) * values
    return np.clip(np.add.reduceat(weighted, np.flatnonzero(np.diff(which, prepend=-1)), axis=0), 0.0, 1.0)


def yearly_rate(open_now: NDArray[np.float64], open_later: NDArray[np.float64], years: float) -> NDArray[np.float64]:
    """Constant rate that opens as many of the joints still closed over the horizon; what is open now is no rate."""
    closed_now, closed_later = np.maximum(1.0 - open_now, 1e-12), np.maximum(1.0 - open_later, 1e-12)
    return np.maximum(np.log(closed_now / closed_later), 0.0) / years


def _any_of(chances: NDArray[np.float64], inputs: JointInputs) -> NDArray[np.float64]:
    """Chance [p, n, m] that at least one of an object's joints fails, independent."""
    logs = np.zeros((chances.shape[0], inputs.object_count, chances.shape[2]))
    with np.errstate(divide="ignore"):
        for prior in range(chances.shape[0]):
            np.add.at(logs[prior], inputs.object_index, np.log1p(-chances[prior]))
    return -np.expm1(logs)


def worst_joints(chances: NDArray[np.float64], inputs: JointInputs) -> NDArray[np.int64]:
    """Row [n, m] of the joint most likely to fail, the first of equals; -1 for an object without joints."""
    worst = np.full((inputs.object_count, chances.shape[1]), -1, dtype=np.int64)
    for milestone in range(chances.shape[1]):
        rising = np.lexsort((-np.arange(chances.shape[0]), chances[:, milestone]))
        worst[inputs.object_index[rising], milestone] = rising  # the last written, the worst, stays
    return worst


def _middle_ranks(scores: NDArray[np.float64]) -> NDArray[np.float64]:
    """Ranks from 0, ties sharing the middle of theirs."""
    ordered = np.sort(scores)
    return (np.searchsorted(ordered, scores, side="left") + np.searchsorted(ordered, scores, side="right") - 1) / 2.0


def use_as_seen(inputs: JointInputs, assumptions: Assumptions) -> NDArray[np.float64]:
    """Stress over strength [j, k] of the likeliest class at the stage last seen, taken as sound where none was."""
    stage = np.maximum(inputs.last_seen, 0)
    likeliest = inputs.class_probabilities.argmax(axis=1)
    left = sound_strengths_pa(assumptions.adhesives)[likeliest] * np.asarray(assumptions.share_by_stage)[stage]
    return utilisation(inputs.load.peak_stress(assumptions.shocks.as_array()), left[:, None])
