r"""Learning hours where several things speak at once: kind of step, skill, body of the object, and the job itself.

A record is the logarithm y of actual over estimated hours. Each grouping (kind, skill, ...) adds an effect of its own,
drawn from a normal distribution whose spread is fitted too, so that a level with few records is pulled towards all
others, and one with many speaks for itself:

.. math:: y = \mu + \sum_g u_{g[\cdot]} + e, \quad u_g \sim N(0, \sigma_g^2), \quad e \sim \sigma\,t_\nu

Spreads are fitted by restricted maximum likelihood (REML), with a weak pull to a prior where one is given; effects are
then best linear unbiased predictions (BLUP). Errors are Student-t where records show that some jobs run wild; such
records weigh less, and forecasts of hours get their heavy right tail.

Source: Henderson 1975, Biometrics 31, 423-447 (mixed model equations); Patterson & Thompson 1971, Biometrika 58,
545-554 (REML); Lange, Little & Taylor 1989, JASA 84, 881-896 (t errors by weights). All from memory.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, optimize, stats

from treatments.hours.pooling import LogStudentT

Floats = NDArray[np.float64]
RESIDUAL = "residual"
TAILS, TAIL_GAIN, ROUNDS = (20.0, 10.0, 6.0, 4.0, 3.0), 2.0, 15
_SMALLEST, _LEAST_LEFT, _LARGEST = (
    1e-3,
    1e-2,
    1e2,
)  # spreads tried, of effects and errors, as shares of the records' own


class Pull(NamedTuple):
    """A prior for one spread: ``middle`` of it, and how far its logarithm may stray (standard deviation)."""

    middle: float
    stray: float = 0.7


@dataclass(frozen=True)
class Crossed:
    """What the records taught. ``spreads`` has each grouping's, and ``"residual"``; ``levels`` names the columns.

    ``solution`` [1 + columns] is the mean and all effects, ``inverse`` their covariance.
    """

    levels: Mapping[str, tuple[str, ...]]
    solution: Floats
    inverse: Floats
    spreads: Mapping[str, float]
    tail_df: float
    criterion: float
    design: Floats
    y: Floats
    weights: Floats
    penalty: Floats

    @property
    def mean(self) -> float:
        return float(self.solution[0])

    def effects(self, grouping: str) -> dict[str, float]:
        """Level to effect on the logarithm of hours; ValueError for an unknown grouping."""
        first = self._first(grouping)
        names = self.levels[grouping]
        return dict(zip(names, self.solution[first : first + len(names)].tolist(), strict=True))

    def forecast(self, **levels: str) -> LogStudentT:
        """Actual over estimated hours of the next record; a level that was never seen has its grouping's spread."""
        row, unseen = self._row(levels)
        variance = float(row @ self.inverse @ row) + unseen + self.spreads[RESIDUAL] ** 2
        return LogStudentT(self.tail_df, float(row @ self.solution), math.sqrt(variance))

    def _row(self, levels: Mapping[str, str]) -> tuple[Floats, float]:
        row, unseen = np.zeros(self.solution.size), 0.0
        row[0] = 1.0
        for grouping in levels:
            self._first(grouping)
        for grouping, names in self.levels.items():
            level = levels.get(grouping, "")
            if level in names:
                row[self._first(grouping) + names.index(level)] = 1.0
            else:
                unseen += self.spreads[grouping] ** 2
        return row, unseen

    def _first(self, grouping: str) -> int:
        if grouping not in self.levels:
            raise ValueError(f"there is no grouping {grouping!r}; there are {', '.join(self.levels)}")
        before = list(self.levels)[: list(self.levels).index(grouping)]
        return 1 + sum(len(self.levels[name]) for name in before)


class LeftOut(NamedTuple):
    """Forecasts of each record by all others than those of its own group: location and scale of ln, place in it.

    ``rank`` [n] is the share of the forecast below what came: evenly spread from 0 to 1 where forecasts are honest.
    """

    location: Floats
    scale: Floats
    rank: Floats
    covariances: tuple[Floats, ...]
    members: tuple[NDArray[np.int64], ...]


def fit_crossed(
    y: ArrayLike,
    groups: Mapping[str, Sequence[str]],
    *,
    pulls: Mapping[str, Pull] | None = None,
    tails: Sequence[float] = (),
    rounding: float = 0.0,
) -> Crossed:
    """Fit effects of several groupings at once.

    Parameters
    ----------
    y : array_like [n], finite, n >= 2
    groups : mapping of grouping to its level in each record, [n] each; an empty level has no effect
    pulls : mapping of grouping (and ``"residual"``) to a prior of its spread; without, plain REML
    tails : degrees of freedom of the errors to try beside normal ones; none keeps them normal
    rounding : standard deviation that records have from being rounded, so that equal entries make nobody certain

    Returns
    -------
    Crossed

    Raises
    ------
    ValueError
        Records that are not finite or fewer than two, groupings of another length.

    Examples
    --------
    >>> fitted = fit_crossed([0.1, 0.3, 0.6, 0.8], {"kind": ["fill", "fill", "join", "join"]})
    >>> bool(fitted.effects("kind")["join"] > 0 > fitted.effects("kind")["fill"])
    True
    """
    values = np.asarray(y, float)
    if values.ndim != 1 or values.size < 2 or not np.all(np.isfinite(values)):
        raise ValueError("y must hold at least two finite records")
    levels, design = _design(values.size, groups)
    own = float(np.sqrt(np.var(values) + rounding**2)) or 1.0
    weights = np.ones(values.size)
    logs, criterion = _spreads(values, design, levels, weights, own, pulls or {}, rounding)
    tail_df = np.inf
    if tails:
        tail_df, weights = _tails(values, design, levels, logs, tails, rounding)
        if np.isfinite(tail_df):
            logs, criterion = _spreads(values, design, levels, weights, own, pulls or {}, rounding)
    spreads = np.exp(logs)
    penalty = _penalty(levels, spreads)
    solution, inverse = _solve(values, design, weights, spreads[-1], penalty)
    named = dict(zip([*levels, RESIDUAL], spreads.tolist(), strict=True))
    return Crossed(
        levels, solution, inverse, named, tail_df, criterion, design, values, weights / spreads[-1] ** 2, penalty
    )  # fmt: skip


def leave_out(fitted: Crossed, grouping: str) -> LeftOut:
    """Forecast the records of each level of ``grouping`` by those of all others; spreads stay as fitted to all.

    Source: leave-one-group-out by solving the mixed model equations anew for each group.
    """
    first, names = fitted._first(grouping), fitted.levels[grouping]
    n = fitted.y.size
    location, scale, covariances, members = np.zeros(n), np.zeros(n), [], []
    whole = fitted.design.T @ (fitted.weights[:, None] * fitted.design) + np.diag(fitted.penalty)
    right = fitted.design.T @ (fitted.weights * fitted.y)
    for place in range(len(names)):
        mine = np.flatnonzero(fitted.design[:, first + place])
        rows, w = fitted.design[mine], fitted.weights[mine]
        inverse = _inverse(whole - rows.T @ (w[:, None] * rows))
        solution = inverse @ (right - rows.T @ (w * fitted.y[mine]))
        covariance = rows @ inverse @ rows.T
        location[mine] = rows @ solution
        scale[mine] = np.sqrt(np.diag(covariance) + fitted.spreads[RESIDUAL] ** 2)
        covariances.append(covariance)
        members.append(mine)
    return LeftOut(
        location, scale, stats.t.cdf((fitted.y - location) / scale, fitted.tail_df), tuple(covariances), tuple(members)
    )  # fmt: skip


def ranks_of_sums(
    fitted: Crossed, left: LeftOut, estimates: ArrayLike, rng: np.random.Generator, *, draws: int = 2_000
) -> Floats:
    """Place of each left-out group's total hours in its own forecast, 0 to 1; [groups].

    ``estimates`` [n] are the hours that the records are ratios to. Single ratios are held within a factor of 20.
    """
    said, found = np.asarray(estimates, float), np.zeros(len(left.members))
    for place, (mine, covariance) in enumerate(zip(left.members, left.covariances, strict=True)):
        shared = rng.multivariate_normal(np.zeros(mine.size), covariance, draws, method="eigh")
        df = fitted.tail_df
        own = rng.standard_normal((draws, mine.size)) if np.isinf(df) else rng.standard_t(df, (draws, mine.size))
        logs = np.clip(left.location[mine] + shared + fitted.spreads[RESIDUAL] * own, -math.log(20), math.log(20))
        total = (said[mine] * np.exp(logs)).sum(axis=1)
        found[place] = float((total <= (said[mine] * np.exp(fitted.y[mine])).sum()).mean())
    return found


def coverage(ranks: ArrayLike, shares: ArrayLike) -> Floats:
    """For each central interval of a share (0 to 1), the share of ranks that lie within it; nan for no ranks."""
    places, wanted = np.asarray(ranks, float), np.asarray(shares, float)
    if np.any((wanted <= 0) | (wanted >= 1)):
        raise ValueError("shares must lie between 0 and 1")
    if not places.size:
        return np.full(wanted.shape, np.nan)
    return (np.abs(places[:, None] - 0.5) <= wanted[None, :] / 2).mean(axis=0)


def _design(n: int, groups: Mapping[str, Sequence[str]]) -> tuple[dict[str, tuple[str, ...]], Floats]:
    """Column names by grouping, and the design: ones, then one column for each level."""
    levels, columns = {}, [np.ones((n, 1))]
    for name, said in groups.items():
        texts = np.asarray(said, dtype=str)
        if texts.shape != (n,):
            raise ValueError(f"groups[{name!r}] must have one level for each record")
        levels[name] = tuple(sorted({str(text) for text in texts if text}))
        columns.append((texts[:, None] == np.array(levels[name], dtype=str)[None, :]).astype(float))
    return levels, np.hstack(columns)


def _penalty(levels: Mapping[str, Sequence[str]], spreads: Floats) -> Floats:
    """One over the variance of each column's effect; the mean has none."""
    return np.concatenate([[0.0], *(np.full(len(n), s**-2.0) for n, s in zip(levels.values(), spreads, strict=False))])


def _inverse(matrix: Floats) -> Floats:
    return linalg.cho_solve(linalg.cho_factor(matrix), np.eye(matrix.shape[0]))


def _solve(y: Floats, design: Floats, weights: Floats, residual: float, penalty: Floats) -> tuple[Floats, Floats]:
    """Solution of the mixed model equations, and its covariance."""
    w = weights / residual**2
    inverse = _inverse(design.T @ (w[:, None] * design) + np.diag(penalty))
    return inverse @ (design.T @ (w * y)), inverse


def _spreads(
    y: Floats, design: Floats, levels: Mapping[str, Sequence[str]], weights: Floats, own: float,
    pulls: Mapping[str, Pull], rounding: float,
) -> tuple[Floats, float]:  # fmt: skip
    """Logarithms of the spreads, the residual last, and the REML criterion (-2 log likelihood) without any pull."""
    names = [*levels, RESIDUAL]
    squares, right = design.T @ (weights[:, None] * design), design.T @ (weights * y)
    total, constant = float((weights * y * y).sum()), float(np.log(weights).sum())
    sizes = np.array([len(levels[name]) for name in levels])

    edges = np.cumsum([1, *sizes])

    def criterion(logs: Floats) -> tuple[float, Floats]:
        """The criterion and its gradient by the logarithms of the spreads, at one solution of the equations."""
        variance, penalty = math.exp(2 * logs[-1]), _penalty(levels, np.exp(logs))
        factor = linalg.cho_factor(squares / variance + np.diag(penalty), check_finite=False)
        solution = linalg.cho_solve(factor, right / variance, check_finite=False)
        inverse = linalg.cho_solve(factor, np.eye(solution.size), check_finite=False)
        misfit = (total - right @ solution) / variance
        dets = 2 * float(np.log(np.diag(factor[0])).sum()) + 2 * float(sizes @ logs[:-1]) + 2 * y.size * logs[-1]
        own_parts = penalty * (np.diag(inverse) + solution**2)
        left = total - 2 * right @ solution + solution @ squares @ solution
        slope = [2 * (m - own_parts[a:b].sum()) for m, a, b in zip(sizes, edges[:-1], edges[1:], strict=True)]
        slope.append(2 * (y.size - ((inverse * squares).sum() + left) / variance))
        return float(misfit + dets - constant + (y.size - 1) * math.log(2 * math.pi)), np.array(slope)

    known = np.array([name in pulls for name in names])
    middle = np.log([pulls[name].middle if name in pulls else own / 2 for name in names])
    stray = np.array([pulls[name].stray if name in pulls else 1.0 for name in names])

    def pulled(logs: Floats) -> tuple[float, Floats]:
        value, slope = criterion(logs)
        strain = np.where(known, (logs - middle) / stray, 0.0)
        return value + float(strain @ strain), slope + 2 * strain / stray

    low = np.log([*(own * _SMALLEST for _ in levels), max(own * _LEAST_LEFT, rounding)])
    bounds = [(least, math.log(own * _LARGEST)) for least in low]
    start = np.clip(middle, low, math.log(own * _LARGEST))
    best = optimize.minimize(pulled, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-10})
    return np.asarray(best.x), criterion(best.x)[0]


def _tails(
    y: Floats, design: Floats, levels: Mapping[str, Sequence[str]], logs: Floats, tails: Sequence[float],
    rounding: float,
) -> tuple[float, Floats]:  # fmt: skip
    """Degrees of freedom of the errors that explain the records best, and the records' weights under them."""
    spreads = np.exp(logs)
    penalty, even = _penalty(levels, spreads), np.ones(y.size)
    solution, _ = _solve(y, design, even, spreads[-1], penalty)
    scale = spreads[-1]
    best, tail_df, kept = float(stats.norm.logpdf(y - design @ solution, scale=scale).sum()) + TAIL_GAIN, np.inf, even
    for df in tails:
        residual, weights = scale, even
        for _ in range(ROUNDS):
            solution, inverse = _solve(y, design, weights, residual, penalty)
            left = (y - design @ solution) ** 2 + ((design @ inverse) * design).sum(axis=1)
            weights = (df + 1) / (df + left / residual**2)
            residual = max(math.sqrt(float((weights * left).mean())), rounding, 1e-6 * scale)
        fit = float(stats.t.logpdf(y - design @ solution, df, scale=residual).sum())
        if fit > best:
            best, tail_df, kept = fit, df, weights
    return tail_df, kept
