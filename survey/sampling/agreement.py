"""How far surveyors agree, beyond what chance alone would give.

Where agreement beyond chance is 0/0 (nothing rated twice, or everybody used one and the same category) the result is
nan: "not computable", to be shown so and never as 1 or 0. A rare sign makes kappa and alpha low although nearly every
pair agrees; show `raw_agreement` and `gwet_ac1` beside them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
LEVELS = ("nominal", "ordinal", "interval", "ratio")

# Bands of Krippendorff, Content Analysis (from memory): below the second, draw no conclusion.
RELIABLE, TENTATIVE = 0.800, 0.667


def cohen_kappa(table: ArrayLike, weights: str | None = None) -> float:
    r"""Agreement of two surveyors beyond chance.

    .. math:: \kappa = 1 - \sum v_{ij} p_{ij} / \sum v_{ij} p_{i\cdot} p_{\cdot j}

    with disagreement v = 1 off the diagonal, abs(i - j) (linear) or (i - j)² (quadratic).

    Parameters
    ----------
    table : array_like [c, c], counts >= 0
        Objects that the first surveyor put in category i and the second in j; grades in their order.
    weights : None, "linear" or "quadratic"

    Returns
    -------
    float, at most 1; nan where not computable (empty table, one category used by both)

    Raises
    ------
    ValueError
        The table is not square, or holds something negative or not finite; unknown weights.

    Notes
    -----
    Source: Cohen 1960, Educational and Psychological Measurement 20, 37-46; weighted: Cohen 1968, Psychological
    Bulletin 70, 213-220 (from memory).

    Examples
    --------
    >>> round(cohen_kappa([[20, 5], [10, 15]]), 12)
    0.4
    """
    counts = _square(table)
    n = counts.sum()
    if not n:
        return np.nan
    shares, cost = counts / n, _disagreement(len(counts), weights)
    by_chance = float((cost * np.outer(shares.sum(1), shares.sum(0))).sum())
    return 1 - float((cost * shares).sum()) / by_chance if by_chance > 0 else np.nan


def cohen_kappa_error(table: ArrayLike, weights: str | None = None) -> float:
    """Large-sample standard error of `cohen_kappa`; arguments and errors the same, nan where kappa is.

    Source: Fleiss, Cohen & Everitt 1969, Psychological Bulletin 72, 323-327 (from memory).
    """
    counts = _square(table)
    kappa = cohen_kappa(counts, weights)
    if np.isnan(kappa):
        return np.nan
    n = counts.sum()
    shares = counts / n
    rows, columns = shares.sum(1), shares.sum(0)
    likeness = 1 - _disagreement(len(counts), weights) / max(len(counts) - 1, 1) ** (2 if weights == "quadratic" else 1)
    if weights is None:
        likeness = np.eye(len(counts))
    of_row, of_column = likeness @ columns, likeness.T @ rows
    by_chance = float(rows @ of_row)
    spread = (shares * (likeness - (of_row[:, None] + of_column[None, :]) * (1 - kappa)) ** 2).sum()
    variance = spread - (kappa - by_chance * (1 - kappa)) ** 2
    return float(np.sqrt(max(variance, 0.0) / n) / (1 - by_chance))


def fleiss_kappa(counts: ArrayLike) -> float:
    r"""Agreement of several surveyors beyond chance, all of whom rated every object.

    .. math:: \kappa = (\bar P - P_e) / (1 - P_e), \quad P_e = \sum_j p_j^2

    Parameters
    ----------
    counts : array_like [objects, categories], whole numbers; each row sums to the number of surveyors, at least 2

    Returns
    -------
    float; nan where not computable (no objects, one category only)

    Raises
    ------
    ValueError
        Not two-dimensional, a count that is not whole or negative, rows of different sums, a single surveyor.

    Notes
    -----
    Source: Fleiss 1971, Psychological Bulletin 76, 378-382. For objects that not everybody rated use
    `krippendorff_alpha`.

    Examples
    --------
    >>> fleiss_kappa([[3, 0], [0, 3], [3, 0]])
    1.0
    """
    rated = _rated(counts)
    if not len(rated):
        return np.nan
    by_chance = float((rated.mean(0) / rated[0].sum()) @ (rated.mean(0) / rated[0].sum()))
    return (_pair_agreement(rated) - by_chance) / (1 - by_chance) if by_chance < 1 else np.nan


def fleiss_kappa_error(counts: ArrayLike) -> float:
    """Standard error of `fleiss_kappa` if agreement were chance alone; arguments and errors the same.

    Source: Fleiss, Nee & Landis 1979, Psychological Bulletin 86, 974-977 (from memory).
    """
    rated = _rated(counts)
    if not len(rated):
        return np.nan
    raters = rated[0].sum()
    p = rated.mean(0) / raters
    pq = p * (1 - p)
    if not pq.sum():
        return np.nan
    inside = pq.sum() ** 2 - (pq * (1 - 2 * p)).sum()
    return float(np.sqrt(2 * inside / (len(rated) * raters * (raters - 1))) / pq.sum())


def gwet_ac1(table: ArrayLike) -> float:
    r"""Agreement of two surveyors beyond chance, steady where one category is rare.

    .. math:: AC_1 = (P - P_e)/(1 - P_e), \quad P_e = \frac{1}{c-1} \sum_j \pi_j (1 - \pi_j)

    Parameters
    ----------
    table : array_like [c, c], counts, as for `cohen_kappa`; list every category of the form, also unused ones

    Returns
    -------
    float; nan where not computable (empty table, a single category)

    Raises
    ------
    ValueError
        The table is not square, or holds something negative or not finite.

    Notes
    -----
    Source: Gwet 2008, British Journal of Mathematical and Statistical Psychology 61, 29-48 (from memory).

    Examples
    --------
    >>> round(gwet_ac1([[118, 5], [2, 0]]), 4)
    0.9408
    """
    counts = _square(table)
    if not counts.sum():
        return np.nan
    shares = counts / counts.sum()
    return _ac1(float(np.trace(shares)), (shares.sum(0) + shares.sum(1)) / 2)


def gwet_ac1_counts(counts: ArrayLike) -> float:
    """`gwet_ac1` for several surveyors; ``counts`` and errors as for `fleiss_kappa`."""
    rated = _rated(counts)
    return _ac1(_pair_agreement(rated), rated.mean(0) / rated[0].sum()) if len(rated) else np.nan


def raw_agreement(table: ArrayLike) -> float:
    """Share of objects that two surveyors put in the same category; ``table`` as for `cohen_kappa`; nan if empty."""
    counts = _square(table)
    return float(np.trace(counts) / counts.sum()) if counts.sum() else np.nan


def contingency(first: ArrayLike, second: ArrayLike, categories: int) -> NDArray[np.int64]:
    """Table [categories, categories] of two surveyors' ratings of the same objects.

    Parameters
    ----------
    first, second : array_like [objects] of category numbers from 0; nan where not rated: that object drops out
    categories : int, how many the form offers

    Raises
    ------
    ValueError
        Lengths differ, or a rating that is no category.
    """
    a, b = np.asarray(first, float), np.asarray(second, float)
    if a.ndim != 1 or a.shape != b.shape:
        raise ValueError("first and second must be one-dimensional and of one length")
    both = ~(np.isnan(a) | np.isnan(b))
    for name, ratings in (("first", a[both]), ("second", b[both])):
        if not np.all((ratings >= 0) & (ratings < categories) & (ratings == np.floor(ratings))):
            raise ValueError(f"{name} must hold category numbers from 0 to {categories - 1}")
    table = np.zeros((categories, categories), np.int64)
    np.add.at(table, (a[both].astype(int), b[both].astype(int)), 1)
    return table


def krippendorff_alpha(ratings: ArrayLike, level: str = "nominal") -> float:
    r"""Agreement of any number of surveyors beyond chance, ratings missing or not.

    .. math:: \alpha = 1 - (n-1) \sum o_{ck}\,\delta^2_{ck} / \sum n_c n_k\,\delta^2_{ck}, \quad
              o_{ck} = \sum_u (\text{pairs } c\text{-}k \text{ in } u)/(m_u - 1)

    Parameters
    ----------
    ratings : array_like [raters, units], numbers; nan where not rated. A unit rated once drops out.
    level : "nominal" (terms), "ordinal" (grades), "interval" or "ratio" (measures)

    Returns
    -------
    float, at most 1, 0 for chance; nan where not computable (nothing rated twice, one value only)

    Raises
    ------
    ValueError
        Not two-dimensional, an infinite rating, a negative one at ratio level, an unknown level.

    Notes
    -----
    Source: Krippendorff 2011, Computing Krippendorff's Alpha-Reliability.

    Examples
    --------
    >>> a, b = [0, 1, 0, 0, 0, 0, 0, 0, 1, 0], [1, 1, 1, 0, 0, 1, 0, 0, 0, 0]
    >>> round(krippendorff_alpha([a, b], "nominal"), 3)
    0.095
    """
    pairs, values = _pairs_by_unit(ratings, level)
    return float(_alpha(pairs.sum(0)[None], values, level)[0])


def krippendorff_interval(
    ratings: ArrayLike,
    level: str,
    rng: np.random.Generator,
    *,
    confidence: float = 0.95,
    resamples: int = 2_000,
) -> tuple[float, float]:
    """Percentile bootstrap interval of `krippendorff_alpha` over the units (objects).

    Draws in which alpha is not computable are left out; nan when that is more than half of them, or with fewer than
    two units rated twice. ``ratings`` and ``level`` as there; ValueError also for a bad confidence or no resamples.
    """
    if not 0 < confidence < 1:
        raise ValueError("confidence must lie between 0 and 1")
    if resamples < 1:
        raise ValueError("resamples must be at least 1")
    pairs, values = _pairs_by_unit(ratings, level)
    units = len(pairs)
    if units < 2:
        return np.nan, np.nan
    times = rng.multinomial(units, np.full(units, 1 / units), resamples)
    drawn = _alpha(np.tensordot(times, pairs, 1), values, level)
    drawn = drawn[~np.isnan(drawn)]
    if drawn.size <= resamples / 2:
        return np.nan, np.nan
    low, high = np.quantile(drawn, [(1 - confidence) / 2, (1 + confidence) / 2])
    return float(low), float(high)


def band(alpha: float) -> str:
    """What an alpha allows: "reliable" (0.800 up), "tentative" (0.667 up), "not reliable", "not computable" (nan)."""
    if np.isnan(alpha):
        return "not computable"
    if alpha >= RELIABLE:
        return "reliable"
    return "tentative" if alpha >= TENTATIVE else "not reliable"


# --- parts -----------------------------------------------------------------------------------------------------------


def _pairs_by_unit(ratings: ArrayLike, level: str) -> tuple[Floats, Floats]:
    """Coincidences [units rated twice or more, c, c] and the c values that occur in them, rising."""
    if level not in LEVELS:
        raise ValueError(f"level must be one of {', '.join(LEVELS)}")
    table = np.asarray(ratings, float)
    if table.ndim != 2:
        raise ValueError("ratings must be two-dimensional, raters by units")
    if np.any(np.isinf(table)):
        raise ValueError("ratings must not be infinite")
    if level == "ratio" and np.any(table < 0):
        raise ValueError("ratings must not be negative at ratio level")
    table = table[:, (~np.isnan(table)).sum(0) >= 2]
    values = np.unique(table[~np.isnan(table)])
    counts = (table[None] == values[:, None, None]).sum(1).T.astype(float)  # [units, values]
    pairs = counts[:, :, None] * counts[:, None, :] - counts[:, :, None] * np.eye(values.size)
    return pairs / (counts.sum(1) - 1)[:, None, None], values


def _alpha(coincidences: Floats, values: Floats, level: str) -> Floats:
    """Alpha of each of a stack [b, c, c] of coincidence matrices."""
    margins = coincidences.sum(2)
    distance = _distance(margins, values, level)
    observed = (coincidences * distance).sum((1, 2))
    expected = (margins[:, :, None] * margins[:, None, :] * distance).sum((1, 2))
    possible = expected > 0
    alpha = 1 - (margins.sum(1) - 1) * observed / np.where(possible, expected, 1.0)
    return np.where(possible, alpha, np.nan)


def _distance(margins: Floats, values: Floats, level: str) -> Floats:
    """Squared difference [b or 1, c, c] between values, by level; the ordinal one depends on how often each occurs."""
    if level == "nominal":
        return (1 - np.eye(values.size))[None]
    if level == "ordinal":
        middle = np.cumsum(margins, 1) - margins / 2
        return (middle[:, :, None] - middle[:, None, :]) ** 2
    apart, summed = values[:, None] - values[None, :], values[:, None] + values[None, :]
    return ((apart if level == "interval" else apart / np.where(summed > 0, summed, 1.0)) ** 2)[None]


def _disagreement(categories: int, weights: str | None) -> Floats:
    steps = np.abs(np.subtract.outer(np.arange(categories), np.arange(categories))).astype(float)
    if weights is None:
        return (steps > 0).astype(float)
    if weights == "linear":
        return steps
    if weights == "quadratic":
        return steps**2
    raise ValueError("weights must be None, linear or quadratic")


def _pair_agreement(rated: Floats) -> float:
    """Mean over objects of the share of pairs of surveyors that agree."""
    raters = rated[0].sum()
    return float((((rated**2).sum(1) - raters) / (raters * (raters - 1))).mean())


def _ac1(agreement: float, shares: Floats) -> float:
    if shares.size < 2:
        return np.nan
    by_chance = float((shares * (1 - shares)).sum()) / (shares.size - 1)
    return (agreement - by_chance) / (1 - by_chance)


def _square(table: ArrayLike) -> Floats:
    counts = np.asarray(table, float)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1]:
        raise ValueError("table must be square, first surveyor by second")
    if not np.all(np.isfinite(counts)) or np.any(counts < 0):
        raise ValueError("table must hold finite counts, not negative")
    return counts


def _rated(counts: ArrayLike) -> Floats:
    rated = np.asarray(counts, float)
    if rated.ndim != 2:
        raise ValueError("counts must be two-dimensional, objects by categories")
    if not np.all(np.isfinite(rated)) or np.any(rated < 0) or np.any(rated != np.floor(rated)):
        raise ValueError("counts must be whole numbers, not negative")
    raters = rated.sum(1)
    if np.any(raters != raters[:1]):
        raise ValueError("counts must sum to the same number of surveyors in every row")
    if np.any(raters < 2):
        raise ValueError("counts must come from at least two surveyors")
    return rated
