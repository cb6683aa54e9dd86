"""Stages of a failing joint as a chain seen only at surveys.

0 sound, 1 ageing, 2 failing adhesive, 3 failing joint, 4 open. A joint moves one way until it is treated, which
starts a new record. The clock is the equivalent year (see ``ageing``). The order of signs and the mean stays are
expert defaults: no publication measures them for joints in ceramics.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.risk.matrices import intensity_transition_matrix, progressive_generator, transition_matrix
from survey.risk.panel import Misclassification, PanelFit, fit_panel
from survey.risk.weibull import WeibullFit, conditional_failure, fit_interval_weibull, weibull_from_quantiles

__all__ = [
    "AGE_TRUST",
    "MISCLASSIFICATION",
    "OPEN",
    "PRIORS",
    "STAGES",
    "Misclassification",
    "PanelFit",
    "StagePrior",
    "WeibullFit",
    "carried",
    "conditional_failure",
    "fit_interval_weibull",
    "fit_panel",
    "intensity_transition_matrix",
    "neighbour_misclassification",
    "progressive_generator",
    "stage_mistakes",
    "stage_now",
    "time_to_open",
    "transition_matrix",
    "weibull_from_quantiles",
]

STAGES: tuple[str, ...] = ("sound", "ageing", "failing adhesive", "failing joint", "open")
OPEN = len(STAGES) - 1
MEAN_STAYS = (15.0, 14.0, 12.0, 8.0)  # equivalent years in stages 0 to 3, expert default


@dataclass(frozen=True)
class StagePrior:
    """A named belief about how fast cellulose nitrate joints pass through the stages.

    ``mean_years`` is the mean time from sound to open in equivalent years, shared out as ``stays`` in stages 0 to 3.
    """

    name: str
    mean_years: float
    grounds: str
    stays: tuple[float, ...] = MEAN_STAYS

    def __post_init__(self) -> None:
        if not self.mean_years > 0 or len(self.stays) != OPEN or not all(stay > 0 for stay in self.stays):
            raise ValueError(f"mean_years and stays must be more than zero, with one stay for each of {OPEN} stages")

    @property
    def rates(self) -> NDArray[np.float64]:
        """Rates of leaving stages 0 to 3, per equivalent year."""
        return sum(self.stays) / self.mean_years / np.asarray(self.stays)


# Published service lives disagree by a factor of ten: all three are run, the spread is shown.
PRIORS: Mapping[str, StagePrior] = {
    prior.name: prior
    for prior in (
        StagePrior(
            "optimistic", 75.0, "50 to 100 years: Shashoua, Bradley and Daniels 1992, Studies in Conservation 37"
        ),
        StagePrior("middle", 49.0, "Expert default between the two"),
        StagePrior("pessimistic", 13.0, "6 to 20 years: Heritage Science 2016, s40494-016-0116-z"),
    )
}


def neighbour_misclassification(states: int, share: float = 0.05) -> NDArray[np.float64]:
    """Chance [true, seen] that a state is recorded as each neighbour with ``share``, else rightly."""
    if states < 2:
        raise ValueError("states must be at least 2")
    if not 0 <= share < 0.5:
        raise ValueError("share must be at least 0 and less than a half")
    wrong = share * (np.eye(states, k=1) + np.eye(states, k=-1))
    return wrong + np.diag(1.0 - wrong.sum(axis=1))


def stage_mistakes(share: float = 0.05) -> NDArray[np.float64]:
    """``share`` to each neighbour, but no joint is taken for open that is not: a detached sherd is plain to see."""
    seen = neighbour_misclassification(len(STAGES), share)
    seen[OPEN - 1, OPEN - 1 :] = 1.0 - seen[OPEN - 1, OPEN - 2], 0.0
    seen.setflags(write=False)
    return seen


MISCLASSIFICATION: NDArray[np.float64] = stage_mistakes()  # expert default
ANY_MISTAKE = 1e-3  # least chance that a stage is recorded one off, where surveyors are taken to make no mistakes
AGE_TRUST = 0.5  # weight of age against no knowledge at the first look: published lives disagree by a factor of ten
AGES_IF_UNKNOWN = np.arange(5.0, 100.0, 10.0)  # equivalent years: any age up to a century is as likely


def stage_now(
    rates: ArrayLike,
    age_now: ArrayLike,
    visit_ago: ArrayLike,
    visit_stages: ArrayLike,
    *,
    misclassification: ArrayLike = MISCLASSIFICATION,
    age_trust: float = AGE_TRUST,
) -> NDArray[np.float64]:
    """Distribution over the stages today, given what each survey saw and how often surveyors mistake a stage.

    Parameters
    ----------
    rates : array_like [k], 1/equivalent year
    age_now : array_like [j], equivalent years since the joint was made; nan if not known
    visit_ago : array_like [j, v], equivalent years from each visit to today, not increasing; nan where there was none
    visit_stages : array_like of int [j, v], 0 to k as seen; -1 where no stage was recorded
    misclassification : array_like [k+1, k+1], chance [true, seen]
    age_trust : float, 0 to 1
        Weight of the age at the first look, the rest being no knowledge: age alone must not overrule a sign.

    Returns
    -------
    ndarray [j, k+1]
        Rows sum to 1. Without visits, by age alone; without an age, any age up to a century is as likely.

    Raises
    ------
    ValueError
        Shapes that do not fit, visits out of order, stages out of range, named.

    Notes
    -----
    Forward recursion of a hidden Markov model, L. R. Rabiner, Proc. IEEE 77 (1989) 257-286 (from memory).
    Visits that contradict each other stay possible through small chances of mistakes of several stages.
    """
    speeds = np.asarray(rates, dtype=np.float64)
    if speeds.ndim != 1 or speeds.size == 0:
        raise ValueError("rates must be one row, one rate for each stage that can be left")
    states = speeds.size + 1
    now, ago, seen = checked_visits(age_now, visit_ago, visit_stages, states=states)
    error = np.asarray(misclassification, dtype=np.float64)
    if error.shape != (states, states) or np.any(error < 0) or not np.allclose(error.sum(axis=1), 1.0):
        raise ValueError("misclassification must be square over the stages, with rows that sum to 1")
    if not 0 <= age_trust <= 1:
        raise ValueError("age_trust must lie between 0 and 1")
    return _forward(speeds, now, ago, seen, with_slips(error), age_trust)


def with_slips(error: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mistakes of more than one stage made possible, each further stage as much rarer as the first.

    Then likelihood ratios never fall from stage to stage, so that a worse stage seen is never better news; a chance of
    any mistake whatever would break that. Nothing closed is ever recorded open.
    """
    between = np.concatenate([np.diag(error, 1)[:-1], np.diag(error, -1)])
    base = max(ANY_MISTAKE, min(between[between > 0], default=0.0))
    stage = np.arange(error.shape[0])
    rare = base ** np.abs(stage[:, None] - stage[None, :])
    rare[:-1, -1] = 0.0
    filled = np.where(error > 0, error, rare)
    return np.asarray(filled / filled.sum(axis=1, keepdims=True))


def _forward(
    rates: NDArray[np.float64],
    now: NDArray[np.float64],
    ago: NDArray[np.float64],
    seen: NDArray[np.int64],
    error: NDArray[np.float64],
    age_trust: float,
) -> NDArray[np.float64]:
    """Belief carried from the making of each joint through its visits to today."""
    looked = seen >= 0
    ever = np.logical_or.reduce(looked, axis=1)
    first = np.max(np.where(looked, ago, 0.0), axis=1, initial=0.0)  # times of visits do not increase
    age_at_first = np.maximum(np.where(np.isnan(now), 0.0, now) - first, 0.0)
    sound = np.eye(error.shape[0])[np.zeros(now.size, dtype=np.int64)]
    at_any_age = transition_matrix(rates, AGES_IF_UNKNOWN)[:, 0, :].mean(axis=0)
    by_age = np.where(np.isnan(now[:, None]), at_any_age, carried(sound, rates, age_at_first))
    belief = np.where(ever[:, None], age_trust * by_age + (1.0 - age_trust) / error.shape[0], by_age)
    reached = first
    for visit in range(seen.shape[1]):
        here = looked[:, visit]
        moment = np.where(here, ago[:, visit], reached)
        belief = carried(belief, rates, reached - moment)
        belief = np.where(here[:, None], belief * error[:, seen[:, visit]].T, belief)
        belief = belief / belief.sum(axis=1, keepdims=True)
        reached = moment
    return carried(belief, rates, reached)


def checked_visits(
    age_now: ArrayLike, visit_ago: ArrayLike, visit_stages: ArrayLike, *, states: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Ages, times of visits and stages seen, checked; visits without a time or a stage become -1."""
    now = np.asarray(age_now, dtype=np.float64)
    ago, seen = np.asarray(visit_ago, dtype=np.float64), np.asarray(visit_stages)
    if now.ndim != 1 or np.any(now < 0) or np.any(np.isinf(now)):
        raise ValueError("age_now must be one row of numbers, finite and not negative, nan where not known")
    if ago.shape != seen.shape or ago.ndim != 2 or ago.shape[0] != now.size:
        raise ValueError("visit_ago and visit_stages must be [j, v] with a row for each joint")
    if not np.issubdtype(seen.dtype, np.integer) or np.any((seen < -1) | (seen >= states)):
        raise ValueError(f"visit_stages must be whole numbers from -1 to {states - 1}")
    if np.any(ago < 0) or np.any(np.isinf(ago)):
        raise ValueError("visit_ago must be finite and not negative")
    seen = np.where(np.isnan(ago), -1, seen).astype(np.int64)
    earliest_so_far = np.minimum.accumulate(np.where(seen >= 0, ago, np.inf), axis=1)
    if np.any((seen >= 0) & (ago > earliest_so_far)):
        raise ValueError("visit_ago must not increase from one visit to the next")
    return now, ago, seen


def carried(belief: NDArray[np.float64], rates: ArrayLike, elapsed: NDArray[np.float64]) -> NDArray[np.float64]:
    """Belief over the stages [j, s] after ``elapsed`` equivalent years [j], under one chain of ``rates`` [k]."""
    times, which = np.unique(elapsed, return_inverse=True)  # equal times share one matrix
    return np.einsum("js,jst->jt", belief, transition_matrix(rates, times)[which])


def time_to_open(rates: ArrayLike, quantile: ArrayLike, *, stage: int = 0) -> NDArray[np.float64]:
    """Time by which a joint now in ``stage`` is open with chance ``quantile``.

    ``rates`` [k] per equivalent year, all more than zero; ``quantile`` [...] between 0 and 1; returns equivalent
    years [...]. Raises ValueError for arguments out of range, named.
    """
    speeds = np.asarray(rates, dtype=np.float64)
    chances = np.asarray(quantile, dtype=np.float64)
    if speeds.ndim != 1 or not np.all(np.isfinite(speeds)) or np.any(speeds <= 0):
        raise ValueError("rates must be one row of finite rates more than zero")
    if np.any((chances <= 0) | (chances >= 1)):
        raise ValueError("quantile must lie between 0 and 1")
    if not 0 <= stage < speeds.size:
        raise ValueError(f"stage must lie between 0 and {speeds.size - 1}")
    left = np.zeros(chances.shape)
    right = np.sum(1.0 / speeds[stage:]) / (1.0 - chances)  # Markov's inequality bounds the quantile
    for _ in range(60):
        middle = (left + right) / 2.0
        beyond = transition_matrix(speeds, middle)[..., stage, -1] >= chances
        left, right = np.where(beyond, left, middle), np.where(beyond, middle, right)
    return np.asarray((left + right) / 2.0)[()]
