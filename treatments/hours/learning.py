"""What finished treatments teach about the hours of the next: a factor on every step, and how far hours stray.

The level is that of totals: all that finished jobs took over all that they were expected to take, so that long jobs
weigh as much as their hours. What differs between kinds of step, skills and ceramic bodies is fitted together
(`crossed`), each pulled towards the others. What steps are multiplied by is the one times the other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from treatments.hours.crossed import RESIDUAL, Crossed, Pull, coverage, fit_crossed, leave_out, ranks_of_sums
from treatments.options.steps import StepHours, ThreePoint

KIND, SKILL, BODY, JOB = "kind", "skill", "body", "job"
# Where learning begins, before the records bend it: spreads of the logarithm. Own judgement: kinds of step differ by
# about a fifth, skills and bodies less; jobs by a third; single steps by two fifths.
PULLS = {KIND: Pull(0.2), SKILL: Pull(0.12), BODY: Pull(0.12), JOB: Pull(0.3), RESIDUAL: Pull(0.4)}
TAILS = (20.0, 10.0, 6.0, 4.0, 3.0)
ROUNDING = 0.05  # hours are noted to the quarter; of an hour and a half that is about 5 per cent
Z90 = 1.2815515655446004  # 90 % point of the standard normal distribution
SHARES = tuple(share / 10 for share in range(1, 10))
STEPS_AT_LEAST = 20  # records from which differences between kinds are fitted at all


class StepRecord(NamedTuple):
    """One step of a finished job: what it was expected to take and what it took, in hours (> 0)."""

    job: str
    kind: str
    skill: str
    body: str
    expected: float
    actual: float


@dataclass(frozen=True)
class Teaching:
    """What the records of finished jobs taught; ``level`` is the share that brings totals right on average."""

    fitted: Crossed
    records: tuple[StepRecord, ...]
    level: float
    _asked: dict[tuple[str, str, str], tuple[float, float]] = field(default_factory=dict, repr=False, compare=False)

    def factor(self, kind: str, skill: str, body: str) -> float:
        """What the mean hours of such a step are multiplied by, beside the department's own factor."""
        return self.level * math.exp(self._ahead(kind, skill, body)[0])

    def spread(self, kind: str, skill: str, body: str) -> float:
        """Spread of ln hours such that 8 in 10 such steps lie within +-1.28 of it, by the heavy-tailed forecast."""
        return self._ahead(kind, skill, body)[1]

    def _ahead(self, kind: str, skill: str, body: str) -> tuple[float, float]:
        # Asked for every step of every object, of which there are few kinds: each is worked out once.
        key = (kind, skill, body)
        if key not in self._asked:
            ahead = self.fitted.forecast(kind=kind, skill=skill, body=body)
            self._asked[key] = (ahead.location, float(ahead.scale * stats.t.ppf(0.9, ahead.df) / Z90))
        return self._asked[key]


@dataclass(frozen=True)
class Calibration:
    """How forecasts of each finished job by all others held: shares asked for, and shares that came out."""

    shares: tuple[float, ...]
    steps: NDArray[np.float64]
    jobs: NDArray[np.float64]
    step_count: int
    job_count: int


def teach(records: Sequence[StepRecord]) -> Teaching | None:
    """Fit kinds, skills, bodies and jobs together; nothing for too few records to tell anything apart."""
    if len(records) < STEPS_AT_LEAST or len({record.job for record in records}) < 2:
        return None
    y = np.log([record.actual / record.expected for record in records])
    groups = {name: [getattr(record, name) for record in records] for name in (KIND, SKILL, BODY, JOB)}
    fitted = fit_crossed(y, groups, pulls=PULLS, tails=TAILS, rounding=ROUNDING)
    whole = Teaching(fitted, tuple(records), 1.0)
    said = np.array([record.expected for record in records])
    own = np.array([whole.factor(record.kind, record.skill, record.body) for record in records])
    return Teaching(fitted, tuple(records), float(said.sum() / (said * own).sum()))


def mean_of(hours: ThreePoint) -> float:
    """Mean of the log-normal through low (> 0) and high as one in ten and nine in ten, hours."""
    return math.sqrt(hours.low * hours.high) * math.exp((math.log(hours.high / hours.low) / (2 * Z90)) ** 2 / 2)


def adjusted(step: StepHours, factor: float, teaching: Teaching | None = None, body: str = "") -> ThreePoint:
    """Hours of a step after the department's factor and, where there is one, what its records teach.

    The mean of the range is multiplied, and the range becomes that of the records; it is never narrower than estimated
    where something was assumed that nobody measured.
    """
    hours = step.hours
    if teaching is None:
        return ThreePoint(factor * hours.low, factor * hours.likely, factor * hours.high)
    own = math.log(hours.high / hours.low) / (2 * Z90)
    mean = mean_of(hours) * factor * teaching.factor(step.kind, step.skill, body)
    spread = teaching.spread(step.kind, step.skill, body)
    if step.assumed:
        spread = max(spread, own)
    middle = mean * math.exp(-(spread**2) / 2)
    return ThreePoint(middle * math.exp(-Z90 * spread), middle, middle * math.exp(Z90 * spread))


def calibrate(teaching: Teaching) -> Calibration:
    """Forecast each finished job by all others, and count how often central ranges held."""
    left = leave_out(teaching.fitted, JOB)
    expected = [record.expected for record in teaching.records]
    whole = ranks_of_sums(teaching.fitted, left, expected, np.random.default_rng(1))
    return Calibration(SHARES, coverage(left.rank, SHARES), coverage(whole, SHARES), left.rank.size, whole.size)
