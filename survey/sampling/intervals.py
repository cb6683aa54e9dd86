"""Intervals for a share or a count from a sample.

Wilson's for screens; Clopper-Pearson's (large population) or the hypergeometric (a store whose size is known) for
claims. None of them collapses at nought or all found, as the textbook normal interval does.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from survey.sampling.estimate import Estimate

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


def wilson(successes: ArrayLike, n: ArrayLike, confidence: float = 0.95) -> tuple[Floats, Floats]:
    r"""Score interval for a share.

    .. math:: \frac{p + z^2/2n \pm z \sqrt{p(1-p)/n + z^2/4n^2}}{1 + z^2/n}

    Parameters
    ----------
    successes, n : array_like, 0 <= successes <= n, broadcast together; ``n`` may be an effective size, not whole
    confidence : float in (0, 1), two-sided

    Returns
    -------
    (low, high) : ndarrays of the broadcast shape, in [0, 1]; nan where n is 0

    Raises
    ------
    ValueError
        A bad argument, named.

    Notes
    -----
    Source: Wilson 1927, Journal of the American Statistical Association 22, 209-212; Newcombe 1998, Statistics in
    Medicine 17, 857-872 (from memory).

    Examples
    --------
    >>> low, high = wilson(0, 20)
    >>> float(low), round(float(high), 5)
    (0.0, 0.16113)
    """
    a, size = _counts(successes, n)
    z = stats.norm.isf((1 - _confidence(confidence)) / 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        p = a / size
        centre, reach = p + z**2 / (2 * size), z * np.sqrt(p * (1 - p) / size + z**2 / (4 * size**2))
        low, high = (centre - reach) / (1 + z**2 / size), (centre + reach) / (1 + z**2 / size)
    # At the ends the formula gives 0 and 1 but for rounding.
    return np.where((a == 0) & (size > 0), 0.0, low)[()], np.where((a == size) & (size > 0), 1.0, high)[()]


def clopper_pearson(successes: ArrayLike, n: ArrayLike, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Exact binomial interval for a share: beta quantiles (alpha/2; a, n - a + 1) and (1 - alpha/2; a + 1, n - a).

    Arguments, results and errors as `wilson`. Covers at least as often as it says, for claims that must hold.
    Source: Clopper & Pearson 1934, Biometrika 26, 404-413 (from memory).
    """
    a, size = _counts(successes, n)
    tail = (1 - _confidence(confidence)) / 2
    low = np.where(a > 0, stats.beta.ppf(tail, np.maximum(a, 1e-9), size - a + 1), 0.0)
    high = np.where(a < size, stats.beta.isf(tail, a + 1, np.maximum(size - a, 1e-9)), 1.0)
    return np.where(size > 0, low, np.nan)[()], np.where(size > 0, high, np.nan)[()]


def hypergeometric(
    successes: ArrayLike, n: ArrayLike, population: ArrayLike, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Exact interval for the number of objects with a property in a store of known size.

    Parameters
    ----------
    successes, n, population : array_like of whole numbers, 0 <= successes <= n <= population, broadcast together
        Found among those looked at, looked at (a simple random pick), in the store.
    confidence : float in (0, 1), two-sided

    Returns
    -------
    (low, high) : ndarrays of whole objects, not shares: the smallest and largest number in the store under which a
        find as far out as this one has a chance of more than half of (1 - confidence). With everything looked at,
        both are ``successes``; with nothing, 0 and ``population``.

    Raises
    ------
    ValueError
        A bad argument, named.

    Notes
    -----
    Source: Buonaccorsi 1987, The American Statistician 41, 215-218, the two-tailed inversion (from memory).

    Examples
    --------
    >>> low, high = hypergeometric(3, 60, 400)
    >>> int(low), int(high)
    (5, 53)
    """
    a, size, store = _whole(successes, n, population)
    tail = (1 - _confidence(confidence)) / 2
    # X found given K in the store: P(X >= a | K) grows with K and P(X <= a | K) falls, so both ends are bisected.
    low = _first(lambda k: stats.hypergeom.sf(a - 1, store, k, size) > tail, a, store - size + a)
    high = store - _first(lambda k: stats.hypergeom.cdf(a, store, store - k, size) > tail, size - a, store - a)
    return low.astype(float)[()], high.astype(float)[()]


def share_interval(estimate: Estimate, confidence: float = 0.95) -> tuple[float, float]:
    """Interval for a share estimated by any design: Wilson's, at the size of the simple sample that would be as sure.

    That size is p(1 - p)/SE², with Student's t in place of z by widening; at 0 or 1, where SE is 0 and says nothing,
    the number of independent pieces (degrees of freedom plus one). A census gives the value twice.

    Returns
    -------
    (low, high), in [0, 1]; nan where the estimate or its error is not computable.

    Raises
    ------
    ValueError
        The value is no share, or a bad confidence.

    Notes
    -----
    Source: Korn & Graubard 1998, Survey Methodology 24, 193-201, with Wilson's interval in place of the exact one
    (from memory).
    """
    p, error = estimate.value, estimate.standard_error
    level = _confidence(confidence)
    if np.isnan(p) or np.isnan(error):
        return np.nan, np.nan
    if not 0 <= p <= 1:
        raise ValueError("estimate must be a share between 0 and 1")
    if estimate.census:
        return p, p
    pieces = estimate.degrees_of_freedom + 1
    size = p * (1 - p) / error**2 if error > 0 else pieces
    if estimate.degrees_of_freedom > 0:
        upper = (1 + level) / 2
        size *= float(stats.norm.ppf(upper) / stats.t.ppf(upper, estimate.degrees_of_freedom)) ** 2
    low, high = wilson(p * size, size, level)
    return float(low), float(high)


def _first(holds: Callable[[Whole], NDArray[np.bool_]], low: Whole, high: Whole) -> Whole:
    """Smallest whole number in [low, high] from which ``holds`` is true on; it must hold at ``high``."""
    low, high = low.copy(), high.copy()
    while np.any(low < high):
        middle = (low + high) // 2
        true = holds(middle)
        low, high = np.where(true, low, middle + 1), np.where(true, middle, high)
    return high


def _counts(successes: ArrayLike, n: ArrayLike) -> tuple[Floats, Floats]:
    a, size = np.broadcast_arrays(np.asarray(successes, float), np.asarray(n, float))
    if not np.all(np.isfinite(size)) or np.any(size < 0):
        raise ValueError("n must be finite and not negative")
    if not np.all((a >= 0) & (a <= size)):
        raise ValueError("successes must lie between 0 and n")
    return a, size


def _whole(successes: ArrayLike, n: ArrayLike, population: ArrayLike) -> tuple[Whole, ...]:
    a, size = _counts(successes, n)
    store = np.asarray(population, float)
    if not np.all(np.isfinite(store)) or np.any(store < size):
        raise ValueError("population must be at least n")
    for name, values in (("successes", a), ("n", size), ("population", store)):
        if np.any(values != np.floor(values)):
            raise ValueError(f"{name} must be whole numbers")
    return tuple(v.astype(np.int64) for v in np.broadcast_arrays(a, size, store))


def _confidence(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise ValueError("confidence must lie between 0 and 1")
    return float(confidence)
