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
from survey.risk.weibull import WeibullFit, conditional_failure, fit_interval_weibull, weibull_from_quantiles

__all__ = [
    "MISCLASSIFICATION",
    "OPEN",
    "PRIORS",
    "STAGES",
    "StagePrior",
    "WeibullFit",
    "conditional_failure",
    "fit_interval_weibull",
    "intensity_transition_matrix",
    "neighbour_misclassification",
    "progressive_generator",
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

    ``rates`` [4] per equivalent year; ``mean_years`` is the mean time from sound to open.
    """

    name: str
    mean_years: float
    grounds: str

    @property
    def rates(self) -> NDArray[np.float64]:
        """Rates of leaving stages 0 to 3, per equivalent year."""
        return sum(MEAN_STAYS) / self.mean_years / np.asarray(MEAN_STAYS)


# Published service lives disagree by a factor of ten: all three are run, the spread is shown.
PRIORS: Mapping[str, StagePrior] = {
    prior.name: prior
    for prior in (
        StagePrior("optimistic", 75.0, "50 to 100 years: Shashoua, Bradley and Daniels 1992, Studies in Conservation 37"),
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


MISCLASSIFICATION: NDArray[np.float64] = neighbour_misclassification(len(STAGES))  # expert default: 5 % each way
MISCLASSIFICATION.setflags(write=False)
_AGES_IF_UNKNOWN = np.arange(5.0, 100.0, 10.0)  # equivalent years: any age up to a century is taken as equally likely


def stage_now(
    rates: ArrayLike,
    age_now: ArrayLike,
    visit_ages: ArrayLike,
    visit_stages: ArrayLike,
    *,
    misclassification: ArrayLike = MISCLASSIFICATION,
) -> NDArray[np.float64]:
    """Distribution over the stages today, given what each survey saw and how often surveyors mistake a stage.

    Parameters
    ----------
    rates : array_like [..., k], 1/equivalent year
    age_now : array_like [j], equivalent years since the joint was made; nan if not known
    visit_ages : array_like [j, v], equivalent years since the joint was made (or, if that is not known, since any
        fixed moment before the first visit), not decreasing; nan beyond the last visit
    visit_stages : array_like of int [j, v], 0 to k as seen; -1 for a visit at which the stage was not recorded
    misclassification : array_like [k+1, k+1], chance [true, seen]

    Returns
    -------
    ndarray [..., j, k+1]
        Rows sum to 1. Without visits and age, any age up to a century is taken as equally likely.

    Raises
    ------
    ValueError
        Shapes that do not fit, visits out of order or after today, stages out of range, named.

    Notes
    -----
    Forward recursion of a hidden Markov model. With no age, ``age_now`` minus ``visit_ages`` cannot be known from the
    date of repair, so give ``visit_ages`` from any origin and the time passed since the last visit in ``age_now``'s
    place by using the same origin.
    """
    speeds = np.asarray(rates, dtype=np.float64)
    now, ages, seen = _visits(age_now, visit_ages, visit_stages, states=speeds.shape[-1] + 1)
    error = np.asarray(misclassification, dtype=np.float64)
    if error.shape != (speeds.shape[-1] + 1,) * 2 or not np.allclose(error.sum(axis=1), 1.0) or np.any(error < 0):
        raise ValueError("misclassification must be square over the stages, with rows that sum to 1")
    return _forward(speeds, now, ages, seen, error)


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
