"""Before a survey: how many objects to look at, on which shelves, and what having found nothing will mean."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from survey.sampling.estimate import whole_number

# How objects came to be looked at, and what may be said of the rest.
DESIGNS = {
    "census": "every object looked at",
    "random_objects": "objects picked at random from a list",
    "stratified": "objects picked at random within each stratum",
    "random_shelves": "shelves picked at random, all objects on them looked at",
    "shelves_then_objects": "shelves picked at random, then objects picked at random on each",
    "purposive": "objects chosen: the worst, the nearest, the ones on a list",
}


def require_random(design: str) -> None:
    """Refuse to speak of what was not looked at when what was looked at was chosen; ValueError then."""
    if design not in DESIGNS:
        raise ValueError(f"design must be one of {', '.join(DESIGNS)}")
    if design == "purposive":
        raise ValueError("design: objects that were chosen stand for themselves only; pick at random to estimate more")


def sample_size(
    margin: float,
    population: float = np.inf,
    *,
    proportion: float = 0.5,
    confidence: float = 0.95,
    design_effect: float = 1.0,
) -> int:
    r"""Objects to look at for a share to be known within ``margin`` either way.

    .. math:: n_0 = z^2 p(1-p)/e^2, \quad n = \lceil d\,n_0 / (1 + (d\,n_0 - 1)/N) \rceil

    Parameters
    ----------
    margin : float in (0, 1), half the width of the interval
    population : float, >= 1, objects in all; inf for very many
    proportion : float in [0, 1], the share expected; 0.5 asks for most
    confidence : float in (0, 1), two-sided
    design_effect : float, > 0, of looking at whole shelves (`design_effect`)

    Returns
    -------
    int, rounded up, at most the population

    Raises
    ------
    ValueError
        A bad argument, named.

    Notes
    -----
    Source: Cochran, Sampling Techniques, 3rd ed. 1977, section 4.4 (from memory).

    Examples
    --------
    >>> sample_size(0.05, 400)
    197
    """
    _between(margin, "margin", 0, 1)
    _between(confidence, "confidence", 0, 1)
    if not 0 <= proportion <= 1:
        raise ValueError("proportion must lie between 0 and 1")
    if not population >= 1:
        raise ValueError("population must be at least 1")
    if not 0 < design_effect < np.inf:
        raise ValueError("design_effect must be above zero")
    z = float(stats.norm.ppf((1 + confidence) / 2))
    simple = max(design_effect * z**2 * proportion * (1 - proportion) / margin**2, 1.0)
    return int(np.ceil(round(simple / (1 + (simple - 1) / population), 9)))


def zero_find_share(n: int, confidence: float = 0.95) -> float:
    """Largest share that is still possible when ``n`` objects of very many were looked at and none had the sign.

    One-sided: 1 - (1 - confidence)^(1/n), about 3/n. Nothing looked at: 1, anything is possible.
    Source: Hanley & Lippman-Hand 1983, Journal of the American Medical Association 249, 1743-1745 (from memory).
    """
    size = whole_number(n, "n")
    _between(confidence, "confidence", 0, 1)
    return 1.0 if size == 0 else float(-np.expm1(np.log1p(-confidence) / size))


def zero_find_count(n: int, population: int, confidence: float = 0.95) -> int:
    """Largest number of objects that may still have the sign when ``n`` of ``population`` were looked at, none had it.

    One-sided, hypergeometric: the largest K with P(none of K met) >= 1 - confidence. ValueError names a bad argument.

    Examples
    --------
    >>> zero_find_count(60, 400)
    18
    """
    size, store = whole_number(n, "n"), whole_number(population, "population")
    _between(confidence, "confidence", 0, 1)
    if size > store:
        raise ValueError("population must be at least n")
    failing = np.arange(store - size + 1)
    return int(failing[stats.hypergeom.pmf(0, store, failing, size) >= 1 - confidence][-1])


def objects_to_meet_one(failing: int, population: int, confidence: float = 0.95) -> int:
    """Objects to pick at random so as to meet at least one of ``failing`` in ``population``, with this confidence.

    ValueError names a bad argument; with none failing there is nothing to meet.

    Examples
    --------
    >>> objects_to_meet_one(20, 400)
    55
    """
    bad, store = whole_number(failing, "failing"), whole_number(population, "population")
    _between(confidence, "confidence", 0, 1)
    if not 1 <= bad <= store:
        raise ValueError("failing must lie between 1 and population")
    sizes = np.arange(1, store - bad + 2)
    missed = stats.hypergeom.pmf(0, store, bad, sizes)
    return int(sizes[missed <= 1 - confidence][0])


def design_effect(objects_per_shelf: float, intraclass_correlation: float) -> float:
    """How many times a simple random sample's variance: 1 + (m - 1) rho (Kish 1965, Survey Sampling, from memory).

    Divide the number of objects by it for the size of the simple sample that would say as much.
    """
    if not objects_per_shelf >= 1:
        raise ValueError("objects_per_shelf must be at least 1")
    if not -1 <= intraclass_correlation <= 1:
        raise ValueError("intraclass_correlation must lie between -1 and 1")
    return 1 + (objects_per_shelf - 1) * intraclass_correlation


def intraclass_correlation(values: ArrayLike, clusters: ArrayLike) -> float:
    """How alike objects on one shelf are, from an earlier survey: the analysis-of-variance estimate.

    rho = (MSB - MSW) / (MSB + (m0 - 1) MSW) with m0 = (n - sum m²/n) / (k - 1).

    Parameters
    ----------
    values, clusters : array_like [n]; a number (or 0/1) and a shelf for each object

    Returns
    -------
    float; nan (not computable) with one shelf, one object a shelf, or no spread at all

    Raises
    ------
    ValueError
        Lengths differ or a value is not finite.

    Notes
    -----
    Source: Donner 1986, International Statistical Review 54, 67-82 (from memory).
    """
    y, labels = np.asarray(values, float), np.asarray(clusters)
    if y.ndim != 1 or y.shape != labels.shape:
        raise ValueError("values and clusters must be one-dimensional and of one length")
    if not np.all(np.isfinite(y)):
        raise ValueError("values must be finite")
    names, index = np.unique(labels, return_inverse=True)
    k, n = names.size, y.size
    if k < 2 or n == k:
        return np.nan
    sizes = np.bincount(index)
    means = np.bincount(index, y) / sizes
    between = float(sizes @ (means - y.mean()) ** 2) / (k - 1)
    within = float(((y - means[index]) ** 2).sum()) / (n - k)
    usual = (n - float(sizes @ sizes) / n) / (k - 1)
    below = between + (usual - 1) * within
    return (between - within) / below if below > 0 else np.nan


def allocate(
    n: float, population: Mapping[str, int], deviations: Mapping[str, float] | None = None
) -> dict[str, float]:
    """Share out ``n`` objects over strata: in proportion to size, or to size times spread (Neyman) if that is known.

    Parameters
    ----------
    n : float, >= 0
    population : {stratum: objects in it}
    deviations : {stratum: standard deviation expected there}, optional; sqrt(p(1 - p)) for a share p

    Returns
    -------
    {stratum: objects to look at}, not rounded: `whole_allocation` does that.

    Raises
    ------
    ValueError
        A negative number, a stratum without a deviation, nothing to share out over.

    Notes
    -----
    Source: Neyman 1934, Journal of the Royal Statistical Society 97, 558-625 (from memory).
    """
    if not 0 <= n < np.inf:
        raise ValueError("n must be finite and not negative")
    weights = {name: float(whole_number(size, f"population of {name}")) for name, size in population.items()}
    if deviations is not None:
        for name in weights:
            if not 0 <= deviations.get(name, -1) < np.inf:
                raise ValueError(f"deviations: {name} must be finite and not negative")
            weights[name] *= deviations[name]
    whole = sum(weights.values())
    if whole <= 0:
        raise ValueError("population must hold objects" if deviations is None else "deviations must not all be zero")
    return {name: n * weight / whole for name, weight in weights.items()}


def whole_allocation(shares: Mapping[str, float], population: Mapping[str, int], *, least: int = 2) -> dict[str, int]:
    """Whole numbers near ``shares``: at least ``least`` a stratum (an error needs two), at most what it holds.

    The sum is that of the shares, rounded up, unless ``least`` or the strata's sizes forbid it. What is left over
    goes, one by one, to the stratum furthest below its share.
    """
    holds = {name: whole_number(population[name], f"population of {name}") for name in shares}
    picked = {name: min(max(int(share), least), holds[name]) for name, share in shares.items()}
    left = int(np.ceil(round(sum(shares.values()), 9))) - sum(picked.values())
    while left > 0 and (room := [name for name in picked if picked[name] < holds[name]]):
        picked[max(room, key=lambda name: shares[name] - picked[name])] += 1
        left -= 1
    while left < 0 and (over := [name for name in picked if picked[name] > min(least, holds[name])]):
        picked[max(over, key=lambda name: picked[name] - shares[name])] -= 1
        left += 1
    return picked


def pick(units: Iterable[str], count: int, seed: int) -> tuple[str, ...]:
    """A random pick of shelves or objects that anybody can repeat from the seed.

    Each unit has a permanent random number, the SHA-256 of seed and name, and those with the smallest are picked. The
    pick depends on neither the order of the list nor a library's version; a larger count keeps the smaller pick, and
    a shelf added or taken away changes no other's luck.

    Parameters
    ----------
    units : iterable of str, names of shelves (or objects), each once
    count : int, 0 <= count <= number of units
    seed : int, kept with the survey

    Returns
    -------
    tuple of str, in the order of their numbers

    Raises
    ------
    ValueError
        A name twice, or more asked for than there are.

    Notes
    -----
    Source: Ohlsson 1995, "Coordination of samples using permanent random numbers", in Business Survey Methods
    (from memory).

    Examples
    --------
    >>> pick(["A1", "A2", "A3", "B1"], 2, seed=7) == pick(["B1", "A3", "A2", "A1"], 2, seed=7)
    True
    """
    names = [str(unit) for unit in units]
    if len(set(names)) != len(names):
        raise ValueError("units: a name stands twice")
    if not 0 <= whole_number(count, "count") <= len(names):
        raise ValueError(f"count must be at most the {len(names)} units")
    return tuple(sorted(names, key=lambda name: hashlib.sha256(f"{int(seed)}\n{name}".encode()).digest())[:count])


def _between(value: float, name: str, low: float, high: float) -> None:
    if not low < value < high:
        raise ValueError(f"{name} must lie between {low:g} and {high:g}")
