"""Joints taken through visits, years and moves: the loops behind every score, compiled.

A *run* is one joint taken with one pace of its clock: the speed of the class its adhesive may be, times what makes
the joint itself faster. A joint has as many runs as there are classes and frailties to weigh.
"""

from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from media.compiled import compiled
from survey.risk.adhesives import sound_strengths_pa
from survey.risk.carrying import STATES, ChainTable, carry
from survey.risk.holding import HoldTable, between, spot
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.stages import AGES_IF_UNKNOWN, OPEN, StagePrior, checked_visits, transition_matrix, with_slips

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_FIRST_PACE, _PACE_STEP, _PACES = -6.0, 0.05, 241  # logarithms of paces from 1/400 to 400


@dataclass(frozen=True)
class Passages:
    """Results of runs [q] before milestones [m], handled as ``handling`` [h].

    Attributes
    ----------
    likelihood : [q], chance of what the visits saw
    now : [q, 5], belief about the stage today
    opens : [q, m], chance to be open by itself
    stands : [q, m, h], chance to be closed still and to hold through the moves
    later : [q], chance to be open by itself at the horizon
    """

    likelihood: Floats
    now: Floats
    opens: Floats
    stands: Floats
    later: Floats

    def among(self, count: int, places: Whole) -> "Passages":
        """These runs at ``places`` among ``count``, the others 0."""
        made = {}
        for each in fields(self):
            values = getattr(self, each.name)
            made[each.name] = np.zeros((count, *values.shape[1:]))
            made[each.name][places] = values
        return Passages(**made)


@dataclass(frozen=True)
class Way:
    """What runs have in common under one belief: visits checked, moves looked up, loads in logarithms.

    ``log_load`` [j] is ln(stress at rest in Pa), ``log_strength`` [c] of the sound adhesives, ``log_share`` [4] what is
    left of it in each stage but open; ``list_of`` [j, m] the row of ``holds`` for a joint's moves.
    """

    inputs: JointInputs
    assumptions: Assumptions
    seen: Whole
    ago: Floats
    log_load: Floats
    log_strength: Floats
    log_share: Floats
    list_of: Whole
    counts: Floats
    error: Floats

    @classmethod
    def of(cls, inputs: JointInputs, assumptions: Assumptions) -> "Way":
        """ValueError for visits out of order or stages out of range, named."""
        _, ago, seen = checked_visits(inputs.age_now, inputs.visit_ago, inputs.visit_stages, states=STATES)
        joints, milestones, kinds = inputs.moves.shape
        counts, list_of = _lists(inputs.moves.reshape(-1, kinds))
        with np.errstate(divide="ignore"):
            log_load = np.log(inputs.load.peak_stress(np.ones(1))[:, 0])
            log_share = np.log(np.asarray(assumptions.share_by_stage, dtype=np.float64)[:OPEN])
        return cls(
            inputs, assumptions, seen, np.where(seen >= 0, ago, 0.0), log_load,
            np.log(sound_strengths_pa(assumptions.adhesives)), log_share,
            list_of.reshape(joints, milestones).astype(np.int64), counts,
            with_slips(np.asarray(assumptions.misclassification, dtype=np.float64)),
        )  # fmt: skip

    def holds(self, *, scatter: float, shared: float) -> HoldTable:
        """Chances to give for every list of moves."""
        shocks = self.assumptions.shocks.as_array()
        return HoldTable.of(self.counts, shocks, scatter=scatter, shared=shared)

    def longest(self, fastest: float) -> float:
        """Equivalent years that a clock may run, at ``fastest`` times a joint's own pace."""
        ahead = np.maximum(self.inputs.years_ahead.max(initial=0.0), self.assumptions.horizon_years)
        past = np.nan_to_num(self.inputs.age_now).max(initial=0.0) + self.ago.max(initial=0.0)
        return float(fastest * (past + ahead * self.inputs.rate_per_year.max(initial=0.0)) + 1.0)


def _lists(moves: Floats) -> tuple[Floats, Whole]:
    """The lists of counts that occur [u, k], and which one each row [i] is; by one number for each list, for speed."""
    number = np.zeros(moves.shape[0], dtype=np.int64)
    for column in moves.T:
        values, which = np.unique(column, return_inverse=True)
        number = number * values.size + which
        number = np.unique(number, return_inverse=True)[1]  # stays below the number of rows
    _, example, which = np.unique(number, return_index=True, return_inverse=True)
    return moves[example], which


def passages(
    way: Way, prior: StagePrior, holds: HoldTable, joint: Whole, kind: Whole, clock: Floats, handling: Floats
) -> Passages:
    """Take runs of ``joint`` [q] with class ``kind`` [q] and pace ``clock`` [q], >= 0, through visits and moves.

    ``handling`` [h] is added to ln(stress): how this object happens to be handled, in logarithms.
    """
    table = ChainTable.of(prior.rates, way.longest(float(clock.max(initial=0.0))))
    runs, milestones = joint.size, way.inputs.years_ahead.shape[1]
    made = Passages(
        np.empty(runs), np.empty((runs, STATES)), np.empty((runs, milestones)),
        np.empty((runs, milestones, handling.size)), np.empty(runs),
    )  # fmt: skip
    _run_all(
        joint, clock, way.log_load[joint] - way.log_strength[kind], way.inputs.age_now, way.ago, way.seen,
        way.inputs.rate_per_year, way.inputs.years_ahead, way.list_of, way.assumptions.horizon_years,
        table.rates, table.step, table.digits, way.error, at_any_age(prior), way.assumptions.age_trust,
        way.log_share, handling, holds.first, holds.step, holds.points,
        np.empty((milestones, handling.size, STATES - 1)),
        made.likelihood, made.now, made.opens, made.stands, made.later,
    )  # fmt: skip
    return made


@lru_cache(maxsize=64)
def at_any_age(prior: StagePrior) -> Floats:
    """Beliefs [i, 5] about a joint whose age is not known, at paces of its clock from 1/400 to 400: any age up to a
    century is as likely, and a slow adhesive has come less far in it."""
    clocks = np.exp(_FIRST_PACE + _PACE_STEP * np.arange(_PACES))
    return np.asarray(transition_matrix(prior.rates, clocks[:, None] * AGES_IF_UNKNOWN)[:, :, 0, :].mean(axis=1))


@compiled
def look_back(
    belief: Floats, age: float, ago: Floats, seen: Whole, clock: float, rates: Floats, step: float, digits: Floats,
    error: Floats, any_age: Floats, age_trust: float,
) -> float:  # fmt: skip
    """Belief [5] about a joint today, from its making through its visits; returns the chance of what they saw."""
    first, looked = 0.0, False
    for visit in range(seen.size):
        if seen[visit] >= 0:
            first, looked = max(first, ago[visit]), True
    if age != age:
        place = (np.log(max(clock, 1e-300)) - _FIRST_PACE) / _PACE_STEP
        left = min(max(int(np.floor(place)), 1), _PACES - 3)
        t = min(max(place - left, 0.0), 1.0)
        for stage in range(STATES):  # the cubic through the four points around
            a, b, c, d = (
                any_age[left - 1, stage], any_age[left, stage], any_age[left + 1, stage], any_age[left + 2, stage]
            )  # fmt: skip
            read = b + 0.5 * t * (c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a)))
            belief[stage] = max(read, 0.0)
    else:
        for stage in range(STATES):
            belief[stage] = 0.0
        belief[0] = 1.0
        carry(belief, max(age * clock - first * clock, 0.0), rates, step, digits)
    if looked:
        for stage in range(STATES):
            belief[stage] = age_trust * belief[stage] + (1.0 - age_trust) / STATES
    reached, likelihood = first, 1.0
    for visit in range(seen.size):
        if seen[visit] < 0:
            continue
        carry(belief, (reached - ago[visit]) * clock, rates, step, digits)
        total = 0.0
        for stage in range(STATES):
            belief[stage] *= error[stage, seen[visit]]
            total += belief[stage]
        for stage in range(STATES):
            belief[stage] /= total
        likelihood *= total
        reached = ago[visit]
    carry(belief, reached * clock, rates, step, digits)
    return likelihood


@compiled
def _run_all(
    joint: Whole, clock: Floats, log_use: Floats, age: Floats, ago: Floats, seen: Whole,
    pace: Floats, ahead: Floats, list_of: Whole, horizon: float,
    rates: Floats, step: float, digits: Floats, error: Floats, any_age: Floats, age_trust: float,
    log_share: Floats, handling: Floats, first: float, spacing: float, points: Floats,
    held: Floats, likelihood: Floats, now: Floats, opens: Floats, stands: Floats, later: Floats,
) -> None:  # fmt: skip
    """One run after another: today's belief, then on to each milestone and to the horizon."""
    for q in range(joint.size):
        j = joint[q]
        belief = now[q]
        likelihood[q] = look_back(
            belief, age[j], ago[j], seen[j], clock[q], rates, step, digits, error, any_age, age_trust
        )
        today = belief[0], belief[1], belief[2], belief[3], belief[4]
        reached = 0.0
        if q == 0 or j != joint[q - 1] or log_use[q] != log_use[q - 1]:  # runs that differ in pace alone hold alike
            for h in range(handling.size):
                for stage in range(4):
                    at = log_use[q] - log_share[stage] + handling[h]
                    left, t = spot(at, first, spacing, points.shape[0])
                    for m in range(ahead.shape[1]):
                        held[m, h, stage] = 1.0 - between(points, left, t, list_of[j, m]) if at == at else np.nan
        for m in range(ahead.shape[1]):
            carry(belief, (ahead[j, m] - reached) * pace[j] * clock[q], rates, step, digits)
            reached = ahead[j, m]
            opens[q, m] = belief[4]
            for h in range(handling.size):
                stands[q, m, h] = (
                    belief[0] * held[m, h, 0] + belief[1] * held[m, h, 1]
                    + belief[2] * held[m, h, 2] + belief[3] * held[m, h, 3]
                )  # fmt: skip
        for stage in range(STATES):
            belief[stage] = today[stage]
        carry(belief, horizon * pace[j] * clock[q], rates, step, digits)
        later[q] = belief[4]
        for stage in range(STATES):
            belief[stage] = today[stage]
