"""Hours from three points: PERT, log-normal, sums that share a bias, and the ratio of actual to estimated hours.

Two readings of low and high live here, and they are not the same: the beta-PERT takes them as the ends of what is
possible, the log-normal as quantiles (one job in ten below, one in ten above). Step tables mean the second.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

Floats = NDArray[np.float64]
# Trials are drawn in blocks so that 10,000 trials of 3,600 steps stay near 60 MB.
_BLOCK = 2_000


class Pert(NamedTuple):
    """A beta-PERT. ``standard_deviation`` is the classic (high - low) / 6, which is not that of the beta itself."""

    mean: Floats
    standard_deviation: Floats
    low: Floats
    high: Floats
    alpha: Floats
    beta: Floats

    @property
    def beta_variance(self) -> Floats:
        """Variance of the beta: (mean - low)(high - mean) / 7, in hours squared."""
        return (self.mean - self.low) * (self.high - self.mean) / 7

    def quantile(self, probability: ArrayLike) -> Floats:
        """Hours that a share ``probability`` of jobs stays under, by the beta."""
        return self.low + (self.high - self.low) * stats.beta.ppf(probability, self.alpha, self.beta)

    def sample(self, rng: np.random.Generator, size: int | tuple[int, ...]) -> Floats:
        """Hours drawn from the beta; ``size`` must broadcast with the estimate's shape."""
        return self.low + (self.high - self.low) * rng.beta(self.alpha, self.beta, size)


def pert(low: ArrayLike, likely: ArrayLike, high: ArrayLike) -> Pert:
    """Three-point estimate by the programme evaluation and review technique.

    mean = (low + 4 likely + high) / 6, standard deviation = (high - low) / 6, and the beta on [low, high] with
    alpha = 1 + 4 (likely - low) / (high - low), beta = 1 + 4 (high - likely) / (high - low).

    Parameters
    ----------
    low, likely, high : array_like, hours, 0 <= low <= likely <= high, broadcast together
        Shortest possible, most frequent, longest possible.

    Returns
    -------
    Pert, of arrays of the broadcast shape
        Where low equals high the estimate is that number, with no spread.

    Raises
    ------
    ValueError
        A negative or non-finite number, or points out of order.

    Notes
    -----
    For sampling and quantiles use the beta, not a normal with the classic deviation, which is too narrow by 15 to
    22 per cent of variance for ordinary shapes.
    Source: Malcolm, Roseboom, Clark & Fazar 1959, Operations Research 7(5), 646-669 (from memory).

    Examples
    --------
    >>> estimate = pert(5, 8, 14)
    >>> float(estimate.mean), float(estimate.standard_deviation)
    (8.5, 1.5)
    """
    a, m, b = np.broadcast_arrays(*(_hours(v, name) for name, v in (("low", low), ("likely", likely), ("high", high))))
    if np.any(m < a):
        raise ValueError("likely must not be below low")
    if np.any(b < m):
        raise ValueError("high must not be below likely")
    span = np.where(b > a, b - a, 1.0)
    alpha = np.where(b > a, 1 + 4 * (m - a) / span, 3.0)
    beta = np.where(b > a, 1 + 4 * (b - m) / span, 3.0)
    return Pert((a + 4 * m + b) / 6, (b - a) / 6, a, b, alpha, beta)


class Lognormal(NamedTuple):
    """Log-normal hours: ``mu`` and ``sigma`` of the natural logarithm of hours."""

    mu: Floats
    sigma: Floats

    @property
    def median(self) -> Floats:
        return np.exp(self.mu)

    @property
    def mean(self) -> Floats:
        return np.exp(self.mu + self.sigma**2 / 2)

    @property
    def standard_deviation(self) -> Floats:
        return self.mean * np.sqrt(np.expm1(self.sigma**2))

    def quantile(self, probability: ArrayLike) -> Floats:
        """Hours that a share ``probability`` of jobs stays under."""
        return np.exp(self.mu + self.sigma * stats.norm.ppf(probability))

    def sample(self, rng: np.random.Generator, size: int | tuple[int, ...]) -> Floats:
        """Hours drawn; ``size`` must broadcast with the estimate's shape."""
        return np.exp(self.mu + self.sigma * rng.standard_normal(size))


def lognormal_from_quantiles(low: ArrayLike, high: ArrayLike, lower: float = 0.1, upper: float = 0.9) -> Lognormal:
    """The log-normal whose ``lower`` and ``upper`` quantiles are ``low`` and ``high``.

    Parameters
    ----------
    low, high : array_like, hours, 0 < low <= high, broadcast together
    lower, upper : float, 0 < lower < upper < 1

    Returns
    -------
    Lognormal, of arrays of the broadcast shape; sigma is 0 where low equals high.

    Raises
    ------
    ValueError
        Hours that are not above zero, high below low, quantiles out of order.

    Examples
    --------
    >>> hours = lognormal_from_quantiles(8, 40)
    >>> float(hours.median.round(2)), float(hours.mean.round(2)), float(hours.quantile(0.8).round(2))
    (17.89, 21.79, 30.35)
    """
    if not 0 < lower < upper < 1:
        raise ValueError("lower and upper must satisfy 0 < lower < upper < 1")
    a, b = np.broadcast_arrays(_hours(low, "low"), _hours(high, "high"))
    if np.any(a <= 0):
        raise ValueError("low must be above zero")
    if np.any(b < a):
        raise ValueError("high must not be below low")
    z_low, z_high = stats.norm.ppf([lower, upper])
    sigma = np.log(b / a) / (z_high - z_low)
    return Lognormal(np.log(a) - z_low * sigma, sigma)


def lognormal_from_moments(mean: ArrayLike, standard_deviation: ArrayLike) -> Lognormal:
    """The log-normal with this mean (> 0) and standard deviation (>= 0), both in hours; ValueError otherwise."""
    m, sd = np.broadcast_arrays(_hours(mean, "mean"), _hours(standard_deviation, "standard_deviation"))
    if np.any(m <= 0):
        raise ValueError("mean must be above zero")
    variance = np.log1p((sd / m) ** 2)
    return Lognormal(np.log(m) - variance / 2, np.sqrt(variance))


def lognormal_fit(hours: ArrayLike) -> Lognormal:
    """Maximum-likelihood log-normal of recorded hours, 1-D and above zero; sigma is nan for one, both for none."""
    recorded = _hours(hours, "hours")
    if recorded.ndim != 1 or np.any(recorded <= 0):
        raise ValueError("hours must be one-dimensional and above zero")
    logs = np.log(recorded)
    mu, sigma = logs.mean() if logs.size else np.nan, logs.std() if logs.size > 1 else np.nan
    return Lognormal(np.asarray(mu), np.asarray(sigma))


class Sum(NamedTuple):
    """Mean and standard deviation of a sum, in hours."""

    mean: Floats
    standard_deviation: Floats


def sum_with_shared_bias(mean: ArrayLike, standard_deviation: ArrayLike, shared_cv: float = 0.0) -> Sum:
    r"""Mean and spread of a sum whose parts are independent but all carry one unknown common factor.

    .. math:: \mathrm{cv}^2 = (1 + \mathrm{cv}_b^2)\,(1 + \sum s_i^2 / (\sum m_i)^2) - 1

    Independent errors average out over many objects; a bias shared by all (everybody hopeful, one adhesive worse
    than thought) does not.

    Parameters
    ----------
    mean, standard_deviation : array_like, hours, >= 0; summed over the last axis
    shared_cv : float, >= 0
        Coefficient of variation of the common factor, whose mean is 1. 0.3 means that the whole list could well
        take 30 per cent more or less than the sum.

    Returns
    -------
    Sum, of arrays without the last axis

    Raises
    ------
    ValueError
        A negative or non-finite argument, named.
    """
    m, sd = np.broadcast_arrays(_hours(mean, "mean"), _hours(standard_deviation, "standard_deviation"))
    bias = _hours(shared_cv, "shared_cv") ** 2
    total, variance = np.atleast_1d(m).sum(-1), (np.atleast_1d(sd) ** 2).sum(-1)
    return Sum(total, np.sqrt((1 + bias) * (total**2 + variance) - total**2))


def total_hours(low: ArrayLike, high: ArrayLike, *, factor: float = 1.0, shared_cv: float = 0.0) -> Lognormal:
    """Hours of a whole list of steps or objects, each given by its one-in-ten and nine-in-ten hours.

    Each part is log-normal; the sum is matched by its first two moments (Fenton 1960, IRE Transactions on
    Communications Systems 8(1), 57-67, from memory), which is close where no single part rules the sum.

    Parameters
    ----------
    low, high : array_like, hours, 0 < low <= high; summed over the last axis, which must not be empty
    factor : float, > 0
        What estimates are multiplied by: 1 until there are own finished jobs (`reference_class`).
    shared_cv : float, >= 0
        See `sum_with_shared_bias`.

    Returns
    -------
    Lognormal, of arrays without the last axis

    Raises
    ------
    ValueError
        A bad argument, named.
    """
    parts = lognormal_from_quantiles(np.atleast_1d(low), np.atleast_1d(high))
    if parts.mu.shape[-1] == 0:
        raise ValueError("low and high must hold at least one part")
    whole = sum_with_shared_bias(parts.mean, parts.standard_deviation, shared_cv)
    scale = _positive(factor, "factor")
    return lognormal_from_moments(scale * whole.mean, scale * whole.standard_deviation)


def simulate_totals(
    rng: np.random.Generator, hours: Lognormal, trials: int, *, factor: float = 1.0, shared_cv: float = 0.0
) -> Floats:
    """Total hours in each of ``trials`` runs: one shared factor per run, independent scatter for each part.

    Parameters
    ----------
    rng : numpy Generator; the same state gives the same totals
    hours : Lognormal of 1-D arrays, one entry a part
    trials : int, >= 1
    factor, shared_cv : as in `total_hours`; the shared factor is log-normal with mean 1

    Returns
    -------
    ndarray [trials], hours
    """
    if trials < 1:
        raise ValueError("trials must be at least 1")
    if hours.mu.ndim != 1:
        raise ValueError("hours must be one-dimensional, one entry a part")
    scale = _positive(factor, "factor")
    shared = lognormal_from_moments(1.0, shared_cv).sample(rng, trials)
    parts = [
        hours.sample(rng, (min(_BLOCK, trials - start), hours.mu.size)).sum(1) for start in range(0, trials, _BLOCK)
    ]
    return scale * shared * np.concatenate(parts)


class ReferenceClass(NamedTuple):
    """How long jobs took against their estimates. ``p50`` and ``p80`` are nan (not computable) without jobs."""

    jobs: int
    p50: float
    p80: float
    enough: bool


def reference_class(estimated: ArrayLike, actual: ArrayLike, *, least: int = 10) -> ReferenceClass:
    """Ratio of actual to estimated hours over finished jobs of one kind: the view from outside.

    Parameters
    ----------
    estimated, actual : array_like, 1-D, same length, hours above zero
        What was said beforehand (the likely hours) and what it took.
    least : int
        Jobs needed before the ratio should replace a factor of 1; ``enough`` says whether there are.

    Returns
    -------
    ReferenceClass
        Multiply an estimate by ``p50`` for an even chance of staying within it, by ``p80`` for four chances in five.

    Raises
    ------
    ValueError
        Lengths differ, or hours that are not above zero.

    Notes
    -----
    Source: Buehler, Griffin & Ross 1994, Journal of Personality and Social Psychology 67(3), 366-381: people who are
    made to think of their own finished jobs stop underestimating.
    """
    said, took = _hours(estimated, "estimated"), _hours(actual, "actual")
    if said.ndim != 1 or said.shape != took.shape:
        raise ValueError("estimated and actual must be one-dimensional and of one length")
    for name, values in (("estimated", said), ("actual", took)):
        if np.any(values <= 0):
            raise ValueError(f"{name} must be above zero")
    if not said.size:
        return ReferenceClass(0, np.nan, np.nan, False)
    p50, p80 = np.quantile(took / said, [0.5, 0.8])
    return ReferenceClass(said.size, float(p50), float(p80), said.size >= least)


def _hours(values: ArrayLike, name: str) -> Floats:
    array = np.asarray(values, float)
    if not np.all(np.isfinite(array)) or np.any(array < 0):
        raise ValueError(f"{name} must be finite and not negative")
    return array


def _positive(value: float, name: str) -> float:
    number = float(value)
    if not 0 < number < np.inf:
        raise ValueError(f"{name} must be above zero")
    return number
