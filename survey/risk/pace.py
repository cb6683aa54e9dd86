"""How fast cellulose nitrate joints pass through their stages: one continuous, wide belief, and what visits say of it.

The named beliefs of ``stages.PRIORS`` are points of it: the fastest lies at 5 %, the middle at 50 %, the slowest at
95 %. A department's own visits move it; how much of it is still prior is said.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from media.compiled import compiled
from survey.risk.adhesives import speeds
from survey.risk.bonds import FRAILTIES, Bonds, normal_nodes
from survey.risk.carrying import STATES, ChainTable
from survey.risk.identification import CLASSES
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.passing import Way, at_any_age, look_back
from survey.risk.workshops import Sharing

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

POINTS = 60  # of equal prior weight, over which a pace is weighed
_END = float(ndtri(0.95))
_TOGETHER = 4096  # joints worked on at once
LOG_STEP = 0.15  # between paces at which the likelihood of a joint's visits is tabled; read by cubics (tested)


@dataclass(frozen=True)
class Pace:
    """Belief about the mean life of a cellulose nitrate joint, in equivalent years.

    ``years`` [g], increasing, each with prior weight 1/g; ``weights`` [g] with the visits counted, adding up to 1.
    """

    years: Floats
    weights: Floats

    @classmethod
    def prior(cls, assumptions: Assumptions, points: int = POINTS) -> "Pace":
        """The belief before any visit: lognormal in two pieces through the named beliefs at 5, 50 and 95 %."""
        if points < 1:
            raise ValueError("points must be at least 1")
        return cls(years_at(assumptions, (np.arange(points) + 0.5) / points), np.full(points, 1.0 / points))

    def after(self, log_likelihood: Floats, *, trust: float = 1.0) -> "Pace":
        """The belief once visits are counted, to the power ``trust`` (0 to 1) where they may mislead."""
        if log_likelihood.shape != self.years.shape or not np.all(np.isfinite(log_likelihood)):
            raise ValueError("log_likelihood must be finite, one for each of years")
        if not 0 <= trust <= 1:
            raise ValueError("trust must lie between 0 and 1")
        weights = self.weights * np.exp(trust * (log_likelihood - log_likelihood.max()))
        return Pace(self.years, weights / weights.sum())

    @property
    def prior_share(self) -> float:
        """How much of the doubt about the pace is left: variance of log years now over before, at most 1."""
        logs = np.log(self.years)
        before = logs.var()
        if before == 0:
            return 1.0
        now = self.weights @ (logs - self.weights @ logs) ** 2
        return float(min(1.0, now / before))

    def quantile(self, share: float) -> float:
        """Mean life below which it lies with chance ``share``."""
        return float(np.interp(share, np.cumsum(self.weights) - self.weights / 2.0, self.years))


def years_at(assumptions: Assumptions, share: Floats) -> Floats:
    """Mean lives at prior probabilities ``share``: 5, 50 and 95 % are the least, the middle and the greatest named."""
    named = [prior.mean_years for prior in assumptions.priors]
    middle, scores = assumptions.priors[assumptions.middle].mean_years, ndtri(share)
    below, above = np.log(middle / min(named)) / _END, np.log(max(named) / middle) / _END
    return np.asarray(middle * np.exp(np.where(scores < 0, below, above) * scores))


@dataclass(frozen=True)
class VisitTable:
    """Log-likelihood [j, i] of what was seen of each joint if its clock ran ``exp(LOG_STEP * (first + i))`` times as
    fast as that of cellulose nitrate under the middle belief; ``looked`` [j], whether anything was seen at all."""

    first: int
    logs: Floats
    looked: NDArray[np.bool_]


def log_paces(assumptions: Assumptions, years: Floats) -> Floats:
    """Logarithm [g] of how fast clocks run if cellulose nitrate joints live ``years`` [g]; 0 at the middle belief."""
    return np.asarray(np.log(assumptions.priors[assumptions.middle].mean_years / years))


def visit_table(way: Way, rows: Whole, slowest: float, fastest: float) -> VisitTable:
    """The table for joints ``rows``, for log paces from ``slowest`` to ``fastest``."""
    assumptions = way.assumptions
    prior = assumptions.priors[assumptions.middle]
    first = int(np.floor(slowest / LOG_STEP)) - 2
    points = int(np.ceil(fastest / LOG_STEP)) - first + 4
    clocks = np.exp(LOG_STEP * (first + np.arange(points)))
    table = ChainTable.of(prior.rates, way.longest(float(clocks[-1])))
    logs = np.zeros((rows.size, points))
    looked = np.any(way.seen[rows] >= 0, axis=1)
    _fill(
        rows, looked, clocks, way.inputs.age_now, way.ago, way.seen, table.rates, table.step, table.digits,
        way.error, at_any_age(prior), assumptions.age_trust, np.empty(STATES), logs,
    )  # fmt: skip
    return VisitTable(first, logs, looked)


def pace_evidence(inputs: JointInputs, bonds: Bonds, assumptions: Assumptions, years: Floats) -> Floats:
    """Log-likelihood [g] of all visits to these joints for each mean life ``years`` [g].

    Add up what batches of whole objects give, then ``Pace.prior(...).after(sum)``. Visits made because a joint looked
    bad make lives look shorter than they are; leave them out.
    """
    bonds.check(inputs)
    way = Way.of(inputs, assumptions)
    paces, pace_weights = bonds.paces()
    log_speed, log_frailty = np.log(speeds(assumptions.adhesives)), np.log(paces)
    ahead = log_paces(assumptions, years)
    total = np.zeros(years.size)
    order = np.argsort(bonds.restoration, kind="stable")
    begins = np.flatnonzero(np.diff(bonds.restoration[order], prepend=-1))
    ends = np.append(begins[1:], order.size)
    for part in np.array_split(np.arange(begins.size), max(1, order.size // _TOGETHER)):
        if not part.size:
            continue
        low, high = begins[part[0]], ends[part[-1]]
        rows = order[low:high]
        own = np.log(np.maximum(inputs.rate_factor[rows], 1e-6))
        reach = np.array([f(x) for f in (np.min, np.max) for x in (log_speed, log_frailty, ahead, own)])
        table = visit_table(way, rows, float(reach[:4].sum()), float(reach[4:].sum()))
        _weigh(
            np.append(begins[part], high) - low, bonds.restorations[bonds.restoration[order[begins[part]]]],
            pace_weights, log_speed, log_frailty, ahead, own, bonds.follows[rows], bonds.otherwise[rows],
            table.first, table.logs, table.looked, np.empty((len(CLASSES), paces.size)), np.empty(len(CLASSES)), total,
        )  # fmt: skip
    return total


def class_evidence(inputs: JointInputs, sharing: Sharing, assumptions: Assumptions, *, years: float) -> Floats:
    """Log-likelihood [j, c] of the stages seen on each joint for each class it may hold by; 0 where none was seen.

    A joint that failed early speaks for a fast adhesive. Cellulose nitrate joints are taken to live ``years`` on
    average; a restoration's own pace is summed out.
    """
    way = Way.of(inputs, assumptions)
    nodes, weights = normal_nodes(FRAILTIES if sharing.frailty > 0 else 1)
    log_speed, ahead = np.log(speeds(assumptions.adhesives)), float(log_paces(assumptions, np.array([years]))[0])
    own = np.log(np.maximum(inputs.rate_factor, 1e-6))
    ends = np.array([log_speed.min() + own.min(initial=0.0), log_speed.max() + own.max(initial=0.0)]) + ahead
    reach = sharing.frailty * float(nodes.max())
    found = np.zeros((inputs.object_index.size, len(CLASSES)))
    for start in range(0, found.shape[0], _TOGETHER):
        rows = np.arange(start, min(start + _TOGETHER, found.shape[0]))
        table = visit_table(way, rows, float(ends[0] - reach), float(ends[1] + reach))
        _for_classes(
            table.first, table.logs, own[rows] + ahead, log_speed, sharing.frailty * nodes, weights, found[rows[0] :]
        )
    return found


@compiled
def read(logs: Floats, at: float, first: int) -> float:
    """A value of a table whose points lie at whole numbers of ``LOG_STEP`` from ``first``: the cubic through the four
    points around. The same ``at`` gives the same value wherever a table begins."""
    place = at / LOG_STEP
    whole = np.floor(place)
    t = place - whole
    left = min(max(int(whole) - first, 1), logs.size - 3)
    a, b, c, d = logs[left - 1], logs[left], logs[left + 1], logs[left + 2]
    return float(b + 0.5 * t * (c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a))))


@compiled
def _fill(
    rows: Whole, looked: NDArray[np.bool_], clocks: Floats, age: Floats, ago: Floats, seen: Whole, rates: Floats,
    step: float, digits: Floats, error: Floats, any_age: Floats, age_trust: float, belief: Floats, logs: Floats,
) -> None:  # fmt: skip
    for row in range(rows.size):
        if looked[row]:
            j = rows[row]
            for i in range(clocks.size):
                chance = look_back(
                    belief, age[j], ago[j], seen[j], clocks[i], rates, step, digits, error, any_age, age_trust
                )
                logs[row, i] = np.log(max(chance, 1e-300))


@compiled
def _weigh(
    starts: Whole, restorations: Floats, pace_weights: Floats, log_speed: Floats, log_frailty: Floats, ahead: Floats,
    own: Floats, follows: Floats, otherwise: Floats, first: int, logs: Floats, looked: NDArray[np.bool_],
    weights: Floats, chances: Floats, total: Floats,
) -> None:  # fmt: skip
    """Add each restoration's log-likelihood to ``total`` [g]: adhesives and pace of the restoration summed out."""
    for r in range(starts.size - 1):
        any_look = False
        for j in range(starts[r], starts[r + 1]):
            any_look = any_look or looked[j]
        if not any_look:
            continue
        for g in range(ahead.size):
            spread_out(
                starts[r], starts[r + 1], restorations[r], pace_weights, log_speed, log_frailty, ahead[g], own,
                follows, otherwise, first, logs, looked, weights, chances,
            )  # fmt: skip
            likelihood = 0.0
            for z in range(weights.shape[0]):
                for f in range(weights.shape[1]):
                    likelihood += weights[z, f]
            total[g] += np.log(max(likelihood, 1e-300))


@compiled
def spread_out(
    low: int, high: int, restoration: Floats, pace_weights: Floats, log_speed: Floats, log_frailty: Floats,
    pace: float, own: Floats, follows: Floats, otherwise: Floats, first: int, logs: Floats,
    looked: NDArray[np.bool_], weights: Floats, chances: Floats,
) -> None:  # fmt: skip
    """Weight [z, f] of each adhesive and pace of one restoration: prior times chance of all that was seen of it."""
    classes = restoration.size
    for f in range(pace_weights.size):
        for z in range(classes):
            weights[z, f] = restoration[z] * pace_weights[f]
        for j in range(low, high):
            if not looked[j]:
                continue
            rest = 0.0
            for c in range(classes):
                chances[c] = np.exp(read(logs[j], log_speed[c] + log_frailty[f] + pace + own[j], first))
                rest += otherwise[j, c] * chances[c]
            for z in range(classes):
                weights[z, f] *= follows[j, z] * chances[z] + (1.0 - follows[j, z]) * rest


@compiled
def _for_classes(
    first: int, logs: Floats, own: Floats, log_speed: Floats, log_frailty: Floats, weights: Floats, found: Floats
) -> None:
    for j in range(own.size):
        for c in range(log_speed.size):
            chance = 0.0
            for f in range(weights.size):
                chance += weights[f] * np.exp(read(logs[j], log_speed[c] + log_frailty[f] + own[j], first))
            found[j, c] = np.log(max(chance, 1e-300))
