"""Service life from intervals: when a joint was last seen holding and first seen open."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.risk.maximum import maximise


@dataclass(frozen=True)
class WeibullFit:
    """Life distribution ``1 - exp(-(t/scale)**shape)`` and how well it fits.

    ``scale`` in the unit of the intervals; ``covariance`` [2, 2] of (log scale, log shape).
    """

    scale: float
    shape: float
    log_likelihood: float
    covariance: NDArray[np.float64]

    def conditional_failure(self, age: ArrayLike, later: ArrayLike) -> NDArray[np.float64]:
        """Chance that a joint holding at ``age`` is open by ``later`` (same unit, later >= age)."""
        return conditional_failure(self.scale, self.shape, age, later)


def fit_interval_weibull(left: ArrayLike, right: ArrayLike, *, entry: ArrayLike = 0.0) -> WeibullFit:
    """Weibull life from intervals, by maximum likelihood.

    Parameters
    ----------
    left : array_like [n], time, >= 0: last seen holding (0 if it was never seen so)
    right : array_like [n], time, >= left: first seen open; inf if it still held; equal to ``left`` if known exactly
    entry : array_like [n] or one number, time, 0 to left
        Age from which each was watched: had it opened before, it would not be among these (left truncation).

    Returns
    -------
    WeibullFit
        ``.scale`` in the unit of time, ``.shape``, ``.log_likelihood``, ``.covariance``.

    Raises
    ------
    ValueError
        Misordered, negative or missing intervals, or intervals that fix no curve, named.

    Notes
    -----
    Likelihood S(left) - S(right) for an interval, the density for an exact time, each over S(entry). Source:
    W. Q. Meeker and L. A. Escobar, Statistical Methods for Reliability Data (1998), sections 8.1 and 11.6 (from
    memory).
    """
    start, end = _intervals(left, right)
    watched = np.broadcast_to(np.asarray(entry, dtype=np.float64), start.shape)
    if not np.all((watched >= 0) & (watched <= start)):
        raise ValueError("entry must lie between 0 and left")
    if not np.any(np.isfinite(end) & (end > 0)):
        raise ValueError("right must have at least one finite time: nothing has opened yet")
    unit = float(np.median(np.where(np.isfinite(end), (start + end) / 2.0, start)[np.isfinite(end)]))
    if unit <= 0:
        raise ValueError("left and right must leave some time")

    best = maximise(lambda logs: _log_likelihood(logs, start / unit, end / unit, watched / unit), np.zeros(2))
    if not (best.held.all() and best.converged):
        raise ValueError("left and right do not fix a curve: give intervals that end at different ages")
    exact = int(np.sum(start == end))
    return WeibullFit(
        scale=float(np.exp(best.at[0]) * unit),
        shape=float(np.exp(best.at[1])),
        log_likelihood=best.value - exact * float(np.log(unit)),
        covariance=best.covariance,
    )


def conditional_failure(scale: ArrayLike, shape: ArrayLike, age: ArrayLike, later: ArrayLike) -> NDArray[np.float64]:
    """Chance to have failed by ``later`` given life up to ``age``: 1 - S(later)/S(age)."""
    ages, ends = np.asarray(age, dtype=np.float64), np.asarray(later, dtype=np.float64)
    if np.any(ages < 0) or np.any(ends < ages):
        raise ValueError("later must not be before age, nor age before zero")
    scales, shapes = np.asarray(scale, dtype=np.float64), np.asarray(shape, dtype=np.float64)
    return np.asarray(-np.expm1((ages / scales) ** shapes - (ends / scales) ** shapes))[()]


def weibull_from_quantiles(early: float, late: float, *, lower: float = 0.1, upper: float = 0.9) -> tuple[float, float]:
    """Scale and shape of the curve through two quantiles, such as a published range of service lives."""
    if not 0 < early < late:
        raise ValueError("early must be more than zero and less than late")
    if not 0 < lower < upper < 1:
        raise ValueError("lower must be more than zero and less than upper, upper less than 1")
    inner, outer = -np.log1p(-lower), -np.log1p(-upper)
    shape = float(np.log(outer / inner) / np.log(late / early))
    return float(early / inner ** (1.0 / shape)), shape


def _intervals(left: ArrayLike, right: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The two ends, checked."""
    start, end = np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)
    if start.ndim != 1 or start.shape != end.shape or start.size == 0:
        raise ValueError("left and right must be two rows of one length, at least one")
    if not np.all(np.isfinite(start)) or np.any(start < 0):
        raise ValueError("left must be finite and not negative")
    if np.any(np.isnan(end)) or np.any(end < start) or np.any((start == end) & (start == 0)):
        raise ValueError("right must not be before left, nor both zero")
    return start, end


def _log_likelihood(
    logs: NDArray[np.float64], start: NDArray[np.float64], end: NDArray[np.float64], entry: NDArray[np.float64]
) -> tuple[float, NDArray[np.float64]]:
    """Log-likelihood and its gradient in (log scale, log shape)."""
    shape = np.exp(logs[1])
    hazard_start, slope_start = _cumulative(logs, start)
    hazard_end, slope_end = _cumulative(logs, end)
    exact = start == end
    width = np.where(exact, 1.0, np.clip(hazard_end - hazard_start, 1e-300, 700.0))
    interval = -hazard_start + np.log(-np.expm1(-width))
    gradient = -slope_start + np.where(np.isinf(end), 0.0, slope_end - slope_start) / np.expm1(width)
    if exact.any():
        age = np.where(exact, start, 1.0)
        log_age = np.log(age) - logs[0]
        interval = np.where(exact, logs[1] - np.log(age) + shape * log_age - hazard_start, interval)
        slope = np.stack([np.full_like(start, -shape), 1.0 + shape * log_age]) - slope_start
        gradient = np.where(exact, slope, gradient)
    hazard_entry, slope_entry = _cumulative(logs, entry)
    return float((interval + hazard_entry).sum()), (gradient + slope_entry).sum(axis=1)


def _cumulative(
    logs: NDArray[np.float64], time: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Cumulative hazard [n] and its gradient [2, n]; zero at time zero, no gradient at infinity."""
    shape = np.exp(logs[1])
    finite = np.isfinite(time) & (time > 0)
    log_age = np.log(np.where(finite, time, 1.0)) - logs[0]
    hazard = np.exp(np.clip(shape * log_age, -600.0, 300.0))
    slope = np.where(finite, np.stack([-shape * hazard, shape * log_age * hazard]), 0.0)
    return np.where(finite, hazard, np.where(time > 0, np.inf, 0.0)), slope
