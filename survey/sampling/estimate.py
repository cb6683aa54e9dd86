"""Estimates from a sample, with the standard error that its design gives.

Every estimate here stands on a random pick (`survey.sampling.designs`). Objects chosen worst first, or because they
were within reach, are no sample, and no formula makes one of them. Where a number is 0/0 (nothing looked at, one
shelf only) it is nan, which means "not computable" and must be shown so, never as 0 or 1.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its standard error.

    ``sample_size`` counts observations, ``population`` the objects spoken of (inf or nan: not known), and
    ``degrees_of_freedom`` the independent pieces the error was judged from, less those used up. ``total`` and
    ``total_standard_error`` are the same times the population: how many objects, when the value is a share.
    """

    value: float
    standard_error: float
    sample_size: int
    population: float
    degrees_of_freedom: float

    @property
    def total(self) -> float:
        return self.value * self.population

    @property
    def total_standard_error(self) -> float:
        return self.standard_error * self.population

    @property
    def census(self) -> bool:
        """Everything was looked at: there is no sampling error, only surveyors' disagreement."""
        return self.sample_size == self.population

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Symmetric Student-t interval. For shares use `survey.sampling.intervals.share_interval` instead."""
        if not 0 < confidence < 1:
            raise ValueError("confidence must lie between 0 and 1")
        if not self.degrees_of_freedom > 0:
            reach = 0.0 if self.standard_error == 0 else np.nan
        else:
            reach = float(stats.t.ppf((1 + confidence) / 2, self.degrees_of_freedom)) * self.standard_error
        return self.value - reach, self.value + reach


def srs_proportion(successes: int, n: int, population: float) -> Estimate:
    r"""Share with some property, from a simple random sample without replacement.

    .. math:: p = a/n, \quad \mathrm{SE} = \sqrt{(1 - n/N)\, p(1-p)/(n-1)}

    Parameters
    ----------
    successes, n : int, 0 <= successes <= n
    population : float, >= n; inf leaves out the correction for a finite population

    Returns
    -------
    Estimate
        nan where nothing was looked at; standard error nan where one object stands for many.

    Raises
    ------
    ValueError
        A count that is not whole, negative, or above the next.

    Notes
    -----
    Source: Cochran, Sampling Techniques, 3rd ed. 1977, section 3.2 (from memory).

    Examples
    --------
    >>> failing = srs_proportion(30, 120, 500)
    >>> failing.value, round(failing.standard_error, 7), failing.total
    (0.25, 0.0346046, 125.0)
    """
    a, size = whole_number(successes, "successes"), whole_number(n, "n")
    if a > size:
        raise ValueError("successes must not exceed n")
    whole = _population(population, size)
    if size == 0:
        return Estimate(np.nan, np.nan, 0, whole, -1)
    share = a / size
    return Estimate(
        share, _srs_error(share * (1 - share) * size / (size - 1 or np.nan), size, whole), size, whole, size - 1
    )


def srs_mean(values: ArrayLike, population: float) -> Estimate:
    """Mean of a simple random sample, 1-D; SE = sqrt((1 - n/N) s²/n). As `srs_proportion` in all else."""
    y = _values(values, "values")
    whole = _population(population, y.size)
    if y.size == 0:
        return Estimate(np.nan, np.nan, 0, whole, -1)
    return Estimate(float(y.mean()), _srs_error(_variance(y), y.size, whole), y.size, whole, y.size - 1)


def stratified_mean(values: ArrayLike, strata: ArrayLike, population: Mapping[str, int]) -> Estimate:
    r"""Mean, or share of ones among zeros and ones, from independent simple random samples within strata.

    .. math:: \bar y = \sum_h W_h \bar y_h, \quad
              \mathrm{SE} = \sqrt{\sum_h W_h^2 (1 - n_h/N_h)\, s_h^2/n_h}, \quad W_h = N_h/N

    Parameters
    ----------
    values : array_like [n]
    strata : array_like [n], the stratum of each value, a key of ``population``
    population : {stratum: objects in it}; a stratum with objects of which none was looked at makes the mean nan

    Returns
    -------
    Estimate
        Standard error nan where a stratum that is not looked at whole has one observation.

    Raises
    ------
    ValueError
        Lengths differ, a value is not finite, a stratum is unknown or holds fewer objects than were looked at.

    Notes
    -----
    Source: Cochran 1977, sections 5.3-5.4 (from memory); values checked against the api data of the R survey package.

    Examples
    --------
    >>> seen = stratified_mean([1, 0, 1, 0], ["store", "store", "show", "show"], {"store": 30, "show": 10})
    >>> seen.value, seen.population
    (0.5, 40.0)
    """
    y, labels = _values(values, "values"), _labels(strata, "strata", values)
    if unknown := sorted({str(label) for label in labels} - {str(name) for name in population}):
        raise ValueError(f"strata: {unknown[0]} is not in population")
    counts = {name: whole_number(number, f"population of {name}") for name, number in population.items()}
    whole, mean, variance = sum(counts.values()), 0.0, 0.0
    for name, number in counts.items():
        within = y[labels == str(name)]
        part = srs_mean(within, _population(number, within.size, f"population of {name}"))
        if number:
            mean += number / whole * part.value
            variance += (number / whole * part.standard_error) ** 2
    used = sum(number > 0 for number in counts.values())
    return Estimate(
        mean if whole else np.nan, np.sqrt(variance) if whole else np.nan, y.size, float(whole), y.size - used
    )


def cluster_mean(
    values: ArrayLike, clusters: ArrayLike, cluster_count: int, *, cluster_sizes: Mapping[str, int] | None = None
) -> Estimate:
    r"""Mean or share per object from a random pick of clusters (shelves), whole or sampled within, in ratio form.

    .. math:: R = \sum_i \hat t_i / \sum_i M_i, \quad \hat t_i = M_i \bar y_i, \quad
              V = \frac{(1 - k/M)\, s_e^2}{k \bar M^2}
                  + \frac{(M/k) \sum_i M_i^2 (1 - m_i/M_i)\, s_i^2/m_i}{(M \bar M)^2}

    with e_i = t_i - R M_i and s_e² = sum e_i² / (k - 1).

    Parameters
    ----------
    values : array_like [n]
    clusters : array_like [n], the shelf of each value
    cluster_count : int, shelves that the pick was made from
    cluster_sizes : {shelf: objects on it}, optional
        Given: objects were sampled on each shelf (two stages). Left out: each picked shelf was looked at whole.

    Returns
    -------
    Estimate
        ``population`` is estimated as ``cluster_count`` times the mean size of the picked shelves. Standard error
        nan for a single shelf of several, or where one object stands for a shelf with more.

    Raises
    ------
    ValueError
        Lengths differ, a value is not finite, fewer shelves or objects than were looked at, a shelf without a size.

    Notes
    -----
    Objects on one shelf resemble each other: taking them for a simple random sample claims too much.
    Source: Cochran 1977, sections 9A.2 and 11.8 (from memory); Lohr, Sampling: Design and Analysis (from memory).

    Examples
    --------
    >>> failing = cluster_mean([1, 0, 0, 0, 1, 1], ["a", "a", "b", "b", "c", "c"], 12)
    >>> failing.value
    0.5
    """
    stage = _clusters(values, clusters, cluster_count, cluster_sizes)
    if not stage.sizes.sum():
        return Estimate(np.nan, np.nan, stage.observed, np.nan, stage.picked - 1)
    ratio_value, mean_size = float(stage.totals.sum() / stage.sizes.sum()), float(stage.sizes.mean())
    between = _variance(stage.totals - ratio_value * stage.sizes, centre=0.0)
    first = (
        (1 - stage.picked / stage.count) * between / (stage.picked * mean_size**2) if stage.picked < stage.count else 0
    )
    second = stage.within / (stage.count * mean_size) ** 2
    population = stage.count * mean_size
    return Estimate(ratio_value, float(np.sqrt(first + second)), stage.observed, population, stage.picked - 1)


def cluster_total(
    values: ArrayLike, clusters: ArrayLike, cluster_count: int, *, cluster_sizes: Mapping[str, int] | None = None
) -> Estimate:
    r"""Total over all clusters from a random pick of them; arguments and errors as `cluster_mean`.

    .. math:: \hat T = (M/k) \sum_i \hat t_i, \quad
              V = M^2 (1 - k/M) s_t^2/k + (M/k) \sum_i M_i^2 (1 - m_i/M_i) s_i^2/m_i

    Unbiased, but unsteady where shelves differ much in size; ``total`` of `cluster_mean` is the steadier one when the
    number of objects is known. ``value`` is the total itself, so ``population`` is 1.
    """
    stage = _clusters(values, clusters, cluster_count, cluster_sizes)
    if not stage.picked:
        return Estimate(np.nan, np.nan, 0, 1.0, -1)
    spread = stage.count - stage.picked
    first = stage.count * spread * _variance(stage.totals) / stage.picked if spread else 0.0
    total = stage.count / stage.picked * float(stage.totals.sum())
    return Estimate(total, float(np.sqrt(first + stage.within)), stage.observed, 1.0, stage.picked - 1)


def ratio(numerator: ArrayLike, denominator: ArrayLike, population: float) -> Estimate:
    r"""Ratio of two totals from a simple random sample, such as lifted length to joint length.

    .. math:: R = \sum y/\sum x, \quad \mathrm{SE} = \sqrt{(1 - n/N) \sum (y - Rx)^2 / ((n-1)\, n)} \,/\, \bar x

    Parameters
    ----------
    numerator, denominator : array_like [n]
    population : float, >= n, objects; inf leaves out the correction for a finite population

    Returns
    -------
    Estimate
        nan where the denominators sum to zero. ``total`` has no meaning here.

    Raises
    ------
    ValueError
        Lengths differ, a value is not finite, the population is too small.

    Notes
    -----
    Source: Cochran 1977, section 6.3 (from memory).

    Examples
    --------
    >>> ratio([1, 2, 3], [2, 4, 6], 100).value
    0.5
    """
    y, x = _values(numerator, "numerator"), _values(denominator, "denominator")
    if y.shape != x.shape:
        raise ValueError("numerator and denominator must be of one length")
    whole = _population(population, y.size)
    if not x.sum():
        return Estimate(np.nan, np.nan, y.size, whole, y.size - 1)
    value = float(y.sum() / x.sum())
    error = _srs_error(_variance(y - value * x, centre=0.0), y.size, whole) / abs(float(x.mean()))
    return Estimate(value, error, y.size, whole, y.size - 1)


# --- parts -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Clusters:
    """Picked clusters: their (estimated) totals and sizes, and the second-stage variance of the grand total."""

    totals: Floats
    sizes: Floats
    within: float
    count: int
    observed: int

    @property
    def picked(self) -> int:
        return self.totals.size


def _clusters(
    values: ArrayLike, clusters: ArrayLike, cluster_count: int, cluster_sizes: Mapping[str, int] | None
) -> _Clusters:
    y, labels = _values(values, "values"), _labels(clusters, "clusters", values)
    names, index = np.unique(labels, return_inverse=True)
    count = whole_number(cluster_count, "cluster_count")
    if count < names.size:
        raise ValueError(f"cluster_count must be at least the {names.size} clusters looked at")
    seen = np.bincount(index, minlength=names.size).astype(float)
    sums, squares = np.bincount(index, y, names.size), np.bincount(index, y * y, names.size)
    sizes = seen if cluster_sizes is None else _sizes(cluster_sizes, names, seen)
    with np.errstate(divide="ignore", invalid="ignore"):  # one object for a larger shelf: 0/0, nan as documented
        spread = np.maximum(squares - sums**2 / seen, 0) / (seen - 1)
    inner = np.where(sizes > seen, sizes * (sizes - seen) * spread / seen, 0.0)
    within = float(inner.sum()) * count / names.size if names.size else 0.0
    return _Clusters(sizes * sums / seen, sizes, within, count, y.size)


def _sizes(cluster_sizes: Mapping[str, int], names: NDArray[np.str_], seen: Floats) -> Floats:
    given = {str(name): whole_number(size, f"cluster_sizes of {name}") for name, size in cluster_sizes.items()}
    if missing := [name for name in names if str(name) not in given]:
        raise ValueError(f"cluster_sizes: the size of {missing[0]} is missing")
    sizes = np.array([given[str(name)] for name in names], float)
    if np.any(sizes < seen):
        short = names[np.argmax(sizes < seen)]
        raise ValueError(f"cluster_sizes: {short} holds fewer objects than were looked at")
    return sizes


def _variance(values: Floats, centre: float | None = None) -> float:
    """Sum of squares about the mean (or ``centre``) over n - 1; nan for a single value."""
    if values.size < 2:
        return np.nan
    about = values - (values.mean() if centre is None else centre)
    return float(about @ about) / (values.size - 1)


def _srs_error(variance: float, n: int, population: float) -> float:
    """Standard error of a mean; a whole population has none, whatever the variance."""
    return 0.0 if n == population else float(np.sqrt((1 - n / population) * variance / n))


def _values(values: ArrayLike, name: str) -> Floats:
    array = np.asarray(values, float)
    if array.ndim != 1:
        raise ValueError(f"{name} must be one-dimensional")
    if not np.all(np.isfinite(array)):
        raise ValueError(f"{name} must be finite")
    return array


def _labels(labels: ArrayLike, name: str, values: ArrayLike) -> NDArray[np.str_]:
    array = np.asarray(labels).astype(str)
    if array.shape != np.shape(values):
        raise ValueError(f"{name} must be as many as values")
    return array


def whole_number(value: float, name: str) -> int:
    """A count as int; ValueError, beginning with ``name``, for what is negative or not whole."""
    if isinstance(value, bool) or not float(value).is_integer() or value < 0:
        raise ValueError(f"{name} must be a whole number, not negative")
    return int(value)


def _population(value: float, n: int, name: str = "population") -> float:
    if not value >= n or (np.isfinite(value) and not float(value).is_integer()):
        raise ValueError(f"{name} must be a whole number (or inf) of at least the {n} looked at")
    return float(value)
