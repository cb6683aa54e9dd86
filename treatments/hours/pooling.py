"""Learning hours from the hours that jobs took, kind of step by kind of step, each helping the others.

Per record the logarithm y of hours (or of actual over estimated hours, which takes size out) is spread about its
kind's mean; each kind's mean and variance come from one common population, a normal-inverse-gamma (NIG), itself fitted
to all kinds. A kind without records is forecast by the population, one with ten mostly by its own records and a little
by the others', one with a thousand by its own alone. The spread is normal, or Student-t where the records show that
some jobs run wild or clocks were left running (`LearnedHours.tail_df`); such records then weigh less.

Forecasts are Student-t in y, so their right tail in hours is heavy, the heavier the less is known. Their mean in hours
does not exist: use quantiles, or `mean_below` a bound.

Source: Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, sections 3.3 and 5.4; Murphy 2007, Conjugate Bayesian
Analysis of the Gaussian Distribution (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special, stats

Floats = NDArray[np.float64]


class LogStudentT(NamedTuple):
    """Hours whose logarithm is Student-t: ``df``, ``location`` and ``scale`` of ln hours."""

    df: float
    location: float
    scale: float

    def quantile(self, probability: ArrayLike) -> Floats:
        """Hours that a share ``probability`` of jobs is expected to stay under."""
        return np.exp(self.location + self.scale * stats.t.ppf(probability, self.df))

    def cdf(self, hours: ArrayLike) -> Floats:
        """Chance that a job takes at most ``hours`` (> 0)."""
        return stats.t.cdf((np.log(hours) - self.location) / self.scale, self.df)

    def log_density(self, log_hours: ArrayLike) -> Floats:
        """Log density of ln hours, not of hours."""
        return stats.t.logpdf(log_hours, self.df, self.location, self.scale)

    def sample(self, rng: np.random.Generator, size: int | tuple[int, ...], *, most: float = np.inf) -> Floats:
        """Hours drawn, those above ``most`` set to it: no job is let run for ever."""
        return np.minimum(np.exp(self.location + self.scale * rng.standard_t(self.df, size)), most)

    def mean_below(self, most: float) -> float:
        """Mean hours when every job is stopped at ``most`` (> 0) hours; by 4,096 evenly spaced quantiles."""
        if not 0 < most < np.inf:
            raise ValueError("most must be above zero and finite")
        return float(np.minimum(self.quantile((np.arange(4_096) + 0.5) / 4_096), most).mean())

    def times(self, factor: float) -> LogStudentT:
        """The same forecast multiplied by ``factor`` (> 0), such as an estimate that ratios refer to."""
        if not 0 < factor < np.inf:
            raise ValueError("factor must be above zero and finite")
        return self._replace(location=self.location + float(np.log(factor)))


class NormalInverseGamma(NamedTuple):
    """What is known of the mean and variance of y: mean ~ N(m, variance/kappa), variance ~ InvGamma(alpha, beta)."""

    m: float
    kappa: float
    alpha: float
    beta: float

    def updated(self, y: ArrayLike) -> NormalInverseGamma:
        """After the observations ``y``, 1-D; ValueError unless finite."""
        values = _finite(y, "y")
        return self.after(values.size, float(values.mean()) if values.size else 0.0, _squares(values))

    def after(self, n: float, mean: float, squares: float, weight: float | None = None) -> NormalInverseGamma:
        """After ``n`` observations with this (weighted) mean and squares about it; ``weight`` is n unless said."""
        w = n if weight is None else weight
        kappa = self.kappa + w
        beta = self.beta + squares / 2 + self.kappa * w * (mean - self.m) ** 2 / (2 * kappa)
        return NormalInverseGamma((self.kappa * self.m + w * mean) / kappa, kappa, self.alpha + n / 2, beta)

    def predictive(self) -> LogStudentT:
        """The next observation: Student-t with 2 alpha degrees of freedom."""
        return LogStudentT(2 * self.alpha, self.m, math.sqrt(self.beta * (self.kappa + 1) / (self.alpha * self.kappa)))

    def log_marginal(self, y: ArrayLike) -> float:
        """Log probability density of the observations ``y``, 1-D, mean and variance integrated out."""
        values = _finite(y, "y")
        return float(_log_marginals(self, Records.of(values, np.zeros(values.size, int), 1))[0])


class Records(NamedTuple):
    """Per kind: number of records, their summed weight (the same unless some weigh less), mean, squares about it."""

    n: Floats
    weight: Floats
    mean: Floats
    squares: Floats

    @classmethod
    def of(
        cls, y: Floats, kind: NDArray[np.int64], kinds: int, *, weights: Floats | None = None, rounding: float = 0.0
    ) -> Records:
        """Of observations ``y`` [n] and their kinds' numbers from 0 [n]; each has variance ``rounding`` besides."""
        w = np.ones(y.size) if weights is None else weights
        n, weight = np.bincount(kind, minlength=kinds).astype(float), np.bincount(kind, w, kinds)
        mean = np.bincount(kind, w * y, kinds) / np.where(weight > 0, weight, 1.0)
        squares = np.bincount(kind, w * ((y - mean[kind]) ** 2 + rounding), kinds)
        return cls(n, weight.astype(float), mean, squares.astype(float))


# Before anything is recorded: actual over estimated hours around 1, spread e^0.55 or so (m 0, beta/alpha 0.3), worth
# two records for the mean and six for the spread. Own judgement, after the usual experience that hours scatter widely.
EXPERT_PRIOR = NormalInverseGamma(m=0.0, kappa=2.0, alpha=3.0, beta=0.9)
# How far the common population may be pulled from the prior: deviations of m, ln kappa, ln alpha, ln(beta/alpha).
_PULL = np.array([0.5, 1.0, 0.7, 0.7])
# Hours are noted to the quarter: on a job of an hour and a half that is a deviation of 0.25/sqrt(12)/1.5, about 5 per
# cent. Without it a row of equal entries would make a certain forecast.
_ROUNDING = 0.05**2
# Degrees of freedom tried for the spread of records besides inf, which they must beat by this log likelihood.
_TAILS, _TAIL_GAIN = (20.0, 10.0, 6.0, 4.0, 3.0), 2.0


@dataclass(frozen=True, slots=True)
class LearnedHours:
    """What the records taught: the population of kinds, each recorded kind, and how wild single jobs are.

    ``tail_df``: degrees of freedom of the spread within a kind; inf is normal, 3 to 6 means frequent runaways.
    """

    population: NormalInverseGamma
    kinds: Mapping[str, NormalInverseGamma]
    records: Mapping[str, int]
    tail_df: float = np.inf

    def forecast(self, kind: str, estimate: float = 1.0) -> LogStudentT:
        """Hours of the next step of ``kind``; unseen kinds are forecast by the population.

        ``estimate`` is the likely hours of this very step when the records were ratios of actual to estimated hours.
        Its tail is the heavier of that of not knowing (2 alpha degrees of freedom) and that of wild jobs (``tail_df``).
        """
        known = self.kinds.get(kind, self.population).predictive()
        return known._replace(df=min(known.df, self.tail_df)).times(estimate)

    def own_weight(self, kind: str) -> float:
        """Share of the kind's mean that rests on its own records, 0 (none yet) to nearly 1."""
        return 1 - self.population.kappa / self.kinds.get(kind, self.population).kappa


def learn(
    hours: ArrayLike,
    kinds: ArrayLike,
    *,
    estimates: ArrayLike | None = None,
    prior: NormalInverseGamma = EXPERT_PRIOR,
) -> LearnedHours:
    """Learn from finished steps.

    Parameters
    ----------
    hours : array_like [n], > 0, what each took
    kinds : array_like [n] of str
    estimates : array_like [n], > 0, optional
        The likely hours of each (`treatments.options.steps.expand`). Given, ratios are learned, so that big objects
        teach something about small ones, and `LearnedHours.forecast` takes the estimate of the new step.
    prior : NormalInverseGamma
        Where learning begins; without records it is the answer. The default is for ratios.

    Returns
    -------
    LearnedHours

    Raises
    ------
    ValueError
        Lengths differ, or hours or estimates that are not finite and above zero; a prior that is not proper.

    Examples
    --------
    >>> learned = learn([2.0, 3.0, 2.5], ["join", "join", "fill"], estimates=[2.0, 2.0, 2.0])
    >>> bool(learned.forecast("join", 4.0).quantile(0.5) > 4.0)
    True
    """
    y = np.log(_above_zero(hours, "hours"))
    names = np.asarray(kinds).astype(str)
    if names.shape != y.shape:
        raise ValueError("kinds must be as many as hours")
    if estimates is not None:
        said = _above_zero(estimates, "estimates")
        if said.shape != y.shape:
            raise ValueError("estimates must be as many as hours")
        y = y - np.log(said)
    codes, kind = np.unique(names, return_inverse=True)
    even = Records.of(y, kind, codes.size, rounding=_ROUNDING)
    population = fit_population(even, prior=prior)
    tail_df, records = _tails(y, kind, even, population)
    if records is not even:
        population = fit_population(records, prior=prior)
    learned = {
        str(c): population.after(*(float(v) for v in (r[0], r[2], r[3], r[1])))
        for c, r in zip(codes, np.transpose(records), strict=True)
    }
    return LearnedHours(population, learned, {str(c): int(n) for c, n in zip(codes, even.n, strict=True)}, tail_df)


def fit_population(records: Records, *, prior: NormalInverseGamma = EXPERT_PRIOR) -> NormalInverseGamma:
    """The common population of kinds, from the records of each.

    Maximises the probability of all records times a weak pull to ``prior``, so no kinds give the prior and one kind
    hardly moves it. ValueError for a prior that is not proper.
    """
    if not (np.all(np.isfinite(prior)) and min(prior.kappa, prior.alpha, prior.beta) > 0):
        raise ValueError("prior must be finite, with kappa, alpha and beta above zero")
    if not records.n.sum():
        return prior
    start = np.array([prior.m, np.log(prior.kappa), np.log(prior.alpha), np.log(prior.beta / prior.alpha)])

    def misfit(steps: Floats) -> float:
        return float(steps @ steps / 2 - _log_marginals(_population(start + _PULL * steps), records).sum())

    best = optimize.minimize(misfit, np.zeros(4), method="L-BFGS-B", bounds=[(-4, 4)] * 4)
    return _population(start + _PULL * best.x)


def _tails(y: Floats, kind: NDArray[np.int64], even: Records, population: NormalInverseGamma) -> tuple[float, Records]:
    """Degrees of freedom of the spread within kinds that explain the records best, and the records so weighted."""
    centre, scale = _centres(population, even)
    best, tail_df, weighted = float(stats.norm.logpdf(y, centre[kind], scale[kind]).sum()) + _TAIL_GAIN, np.inf, even
    for df in _TAILS:
        records = even
        for _ in range(20):  # expectation-maximisation; twenty rounds settle the weights to six places
            centre, scale = _centres(population, records)
            weights = (df + 1) / (df + ((y - centre[kind]) / scale[kind]) ** 2)
            records = Records.of(y, kind, even.n.size, weights=weights, rounding=_ROUNDING)
        fit = float(stats.t.logpdf(y, df, centre[kind], scale[kind]).sum())
        if fit > best:
            best, tail_df, weighted = fit, df, records
    return tail_df, weighted


def _centres(population: NormalInverseGamma, records: Records) -> tuple[Floats, Floats]:
    """Mean and spread of each kind after its records, [kinds] each."""
    kappa, alpha, beta = _posterior(population, records)
    return (population.kappa * population.m + records.weight * records.mean) / kappa, np.sqrt(beta / alpha)


def james_stein(means: ArrayLike, variance: float) -> tuple[Floats, float]:
    """Means of equal known variance pulled towards their common mean, by the share that chance alone explains.

    Parameters
    ----------
    means : array_like [k], k >= 4
    variance : float, > 0, sampling variance of each

    Returns
    -------
    (pulled, kept)
        The pulled means [k], and the share of each distance from the common mean that is kept, in [0, 1]:
        1 - (k - 3) variance / sum of squares, nought where negative.

    Raises
    ------
    ValueError
        Fewer than four means, or a variance that is not above zero.

    Notes
    -----
    Source: Efron & Morris 1977, Stein's Paradox in Statistics, Scientific American 236(5), 119-127.
    """
    values = _finite(means, "means")
    if values.size < 4:
        raise ValueError("means must be at least four")
    if not 0 < variance < np.inf:
        raise ValueError("variance must be above zero")
    squares = _squares(values)
    kept = max(0.0, 1 - (values.size - 3) * variance / squares) if squares > 0 else 0.0
    return values.mean() + kept * (values - values.mean()), kept


def _posterior(prior: NormalInverseGamma, records: Records) -> tuple[Floats, Floats, Floats]:
    """kappa, alpha and beta of each kind after its records."""
    n, w, mean, squares = records
    kappa = prior.kappa + w
    return kappa, prior.alpha + n / 2, prior.beta + squares / 2 + prior.kappa * w * (mean - prior.m) ** 2 / (2 * kappa)


def _log_marginals(prior: NormalInverseGamma, records: Records) -> Floats:
    """Log marginal density of each kind's records, [kinds]; where weighted, but for a constant."""
    kappa, alpha, beta = _posterior(prior, records)
    gammas = special.gammaln(alpha) - special.gammaln(prior.alpha)
    powers = prior.alpha * np.log(prior.beta) - alpha * np.log(beta)
    return gammas + powers + (np.log(prior.kappa) - np.log(kappa) - records.n * np.log(2 * np.pi)) / 2


def _population(place: Floats) -> NormalInverseGamma:
    m, log_kappa, log_alpha, log_ratio = (float(p) for p in place)
    return NormalInverseGamma(m, math.exp(log_kappa), math.exp(log_alpha), math.exp(log_alpha + log_ratio))


def _squares(values: Floats) -> float:
    return float(((values - values.mean()) ** 2).sum()) if values.size else 0.0


def _finite(values: ArrayLike, name: str) -> Floats:
    array = np.asarray(values, float)
    if array.ndim != 1 or not np.all(np.isfinite(array)):
        raise ValueError(f"{name} must be one-dimensional and finite")
    return array


def _above_zero(values: ArrayLike, name: str) -> Floats:
    array = _finite(values, name)
    if np.any(array <= 0):
        raise ValueError(f"{name} must be above zero")
    return array
