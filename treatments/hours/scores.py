"""How good forecasts of hours were, once the hours are known: smaller is better, nought is perfect.

The continuous ranked probability score (CRPS) is in the unit of the forecast and equals the absolute error of a
forecast without spread, so forecasts with and without spread compare. It is infinite for a log-Student-t in hours
(whose mean does not exist): score the logarithm of hours with `crps_student_t`, or quantiles in hours with `pinball`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

Floats = NDArray[np.float64]


def crps_normal(observed: ArrayLike, mean: ArrayLike, standard_deviation: ArrayLike) -> Floats:
    """CRPS of a normal forecast; arguments broadcast, standard_deviation > 0, else ValueError.

    Source: Gneiting & Raftery 2007, Journal of the American Statistical Association 102, 359-378 (from memory).
    """
    y, m, sd = _arrays(observed, mean, standard_deviation)
    _positive(sd, "standard_deviation")
    z = (y - m) / sd
    return sd * (z * (2 * special.ndtr(z) - 1) + 2 * stats.norm.pdf(z) - 1 / np.sqrt(np.pi))


def crps_lognormal(observed: ArrayLike, mu: ArrayLike, sigma: ArrayLike) -> Floats:
    """CRPS in hours of a log-normal forecast with ``mu`` and ``sigma`` (> 0) of ln hours; observed > 0.

    Source: Baran & Lerch 2015, Quarterly Journal of the Royal Meteorological Society 141, 2289-2299 (from memory).
    """
    y, m, s = _arrays(observed, mu, sigma)
    _positive(s, "sigma")
    _positive(y, "observed")
    w = (np.log(y) - m) / s
    upper = special.ndtr(w - s) + special.ndtr(s / np.sqrt(2)) - 1
    return y * (2 * special.ndtr(w) - 1) - 2 * np.exp(m + s**2 / 2) * upper


def crps_student_t(observed: ArrayLike, df: ArrayLike, location: ArrayLike, scale: ArrayLike) -> Floats:
    """CRPS of a Student-t forecast with ``df`` > 1 and ``scale`` > 0; arguments broadcast.

    Source: Jordan, Krueger & Lerch 2019, Journal of Statistical Software 90(12), 1-37 (from memory).
    """
    y, nu, m, s = _arrays(observed, df, location, scale)
    if np.any(nu <= 1):
        raise ValueError("df must be above 1: the score is infinite otherwise")
    _positive(s, "scale")
    z = (y - m) / s
    body = z * (2 * stats.t.cdf(z, nu) - 1) + 2 * stats.t.pdf(z, nu) * (nu + z**2) / (nu - 1)
    beta_ratio = np.exp(special.betaln(0.5, nu - 0.5) - 2 * special.betaln(0.5, nu / 2))
    return s * (body - 2 * np.sqrt(nu) / (nu - 1) * beta_ratio)


def crps_ensemble(observed: ArrayLike, members: ArrayLike, *, fair: bool = False) -> Floats:
    """CRPS of a forecast given as draws.

    Parameters
    ----------
    observed : array_like [...]
    members : array_like [..., m], m >= 1 (2 when fair)
    fair : bool
        False is the energy form, E abs(X - y) - E abs(X - X')/2 with all m² pairs: the draws are the forecast. True
        divides the pairs by m(m - 1): the draws stand for a forecast with more.

    Raises
    ------
    ValueError
        Too few members, or shapes that do not fit.
    """
    y, x = np.asarray(observed, float), np.sort(np.asarray(members, float), -1)
    m = x.shape[-1] if x.ndim else 0
    if m < (2 if fair else 1):
        raise ValueError("members must hold at least two draws when fair, one otherwise")
    if x.shape[:-1] != y.shape:
        raise ValueError("members must be observed's shape and one axis more")
    # Sum over all pairs of |x_i - x_j| from the sorted draws, without the m² of them.
    pairs = 2 * (x * (2 * np.arange(1, m + 1) - m - 1)).sum(-1)
    return np.abs(x - y[..., None]).mean(-1) - pairs / (2 * m * (m - 1 if fair else m))


def pinball(observed: ArrayLike, forecast: ArrayLike, probability: ArrayLike) -> Floats:
    """Score of one forecast quantile: (y - q) p when y is above it, (q - y)(1 - p) when below; broadcast.

    Source: Koenker & Bassett 1978, Econometrica 46, 33-50 (from memory).
    """
    y, q, p = _arrays(observed, forecast, probability)
    if np.any((p <= 0) | (p >= 1)):
        raise ValueError("probability must lie between 0 and 1")
    return np.maximum((y - q) * p, (q - y) * (1 - p))


def interval_score(observed: ArrayLike, low: ArrayLike, high: ArrayLike, confidence: float) -> Floats:
    """Score of a central interval: its width, plus 2/(1 - confidence) times what the observation misses it by.

    Source: Gneiting & Raftery 2007, section 6.2 (from memory).
    """
    if not 0 < confidence < 1:
        raise ValueError("confidence must lie between 0 and 1")
    y, a, b = _arrays(observed, low, high)
    if np.any(b < a):
        raise ValueError("high must not be below low")
    return b - a + 2 / (1 - confidence) * (np.maximum(a - y, 0) + np.maximum(y - b, 0))


def _arrays(*values: ArrayLike) -> list[Floats]:
    return list(np.broadcast_arrays(*(np.asarray(v, float) for v in values)))


def _positive(values: Floats, name: str) -> None:
    if np.any(values <= 0):
        raise ValueError(f"{name} must be above zero")
