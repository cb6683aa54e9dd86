"""A department's own repeated surveys weighed: mistakes of surveyors, spread of pace, and how well a fit foretells.

The rates themselves are fitted in ``stages.fit_panel`` (maximum likelihood) and ``learning.learn_rates`` (held by a
prior). Here a fit is set against what was seen, and what surrounds the rates is estimated.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from scipy.special import ndtri
from scipy.stats import binom

from survey.risk.matrices import transition_matrix
from survey.risk.stages import OPEN, STAGES, stage_mistakes

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

STATES = len(STAGES)
PACES = np.linspace(-2.5, 2.5, 51)  # logs of pace over which a group's own is weighed
SPREADS = np.linspace(0.0, 1.5, 61)


@dataclass(frozen=True)
class Panel:
    """Looks at joints, in rows [r] by joint and then time.

    ``joint`` from 0, a joint's rows together; ``time`` in equivalent years from any moment of that joint; ``stage`` as
    seen; ``exact``: the joint is known to have opened at that very time; ``at_least``: at its last look it was in that
    stage or a worse one.
    """

    joint: Whole
    time: Floats
    stage: Whole
    exact: Flags
    at_least: Flags

    def __post_init__(self) -> None:
        rows = (self.joint, self.time, self.stage, self.exact, self.at_least)
        if len({each.shape for each in rows}) > 1:
            raise ValueError("joint, time, stage, exact and at_least must be rows of one length")
        if np.any((self.stage < 0) | (self.stage > OPEN)) or np.any(self.exact & (self.stage != OPEN)):
            raise ValueError("stage must be from 0 to 4, and 4 where the time of opening is exact")
        follows = self.joint[1:] == self.joint[:-1]
        if np.any(np.diff(self.joint) < 0) or np.any(np.diff(self.time)[follows] < 0):
            raise ValueError("rows must be in order of joint and time")

    def only(self, joints: Whole) -> "Panel":
        """The looks at some joints, numbered anew."""
        kept = np.isin(self.joint, joints)
        number = np.unique(self.joint[kept], return_inverse=True)[1]
        rest = (self.time[kept], self.stage[kept], self.exact[kept], self.at_least[kept])
        return Panel(number.astype(np.int64), *rest)

    @property
    def joints(self) -> int:
        return int(self.joint.max(initial=-1)) + 1

    @property
    def seen_again(self) -> int:
        """How many joints were looked at more than once."""
        return int(np.sum(np.bincount(self.joint, minlength=self.joints) > 1))


@dataclass(frozen=True)
class Forward:
    """What a fit says while it goes along the looks.

    ``log_likelihood`` [j]; for each look after a joint's first [i]: ``row``, the stage seen before it ``before``, and
    ``foretold`` [i, s], chances of what it would see, given all earlier looks.
    """

    log_likelihood: Floats
    row: Whole
    before: Whole
    foretold: Floats


def forward(panel: Panel, rates: Floats, error: Floats, first: Floats) -> Forward:
    """Go along all looks under ``rates`` [4] per equivalent year.

    ``error`` [s, s] chance [true, seen]; ``first`` [s] distribution of true stages at first looks. Forward recursion of
    a hidden Markov model, L. R. Rabiner, Proc. IEEE 77 (1989) 257-286 (from memory).
    """
    begins = np.flatnonzero(np.diff(panel.joint, prepend=-1))
    turn = np.arange(panel.joint.size) - begins[panel.joint] if begins.size else np.zeros(0, dtype=np.int64)
    gaps = np.diff(panel.time, prepend=0.0)
    gaps[begins] = 0.0
    lengths, which = np.unique(gaps.round(6), return_inverse=True)
    moves = transition_matrix(rates, lengths)
    worse = np.cumsum(error[:, ::-1], axis=1)[:, ::-1]
    belief = first * error[:, panel.stage[begins]].T
    mass = belief.sum(axis=1)
    logs, belief = np.log(mass), belief / mass[:, None]
    rows, told = [], []
    for number in range(1, int(turn.max(initial=0)) + 1):
        here = np.flatnonzero(turn == number)
        who = panel.joint[here]
        ahead = np.einsum("js,jst->jt", belief[who], moves[which[here]])
        rows.append(here)
        told.append(ahead @ error)
        shows = np.where(panel.at_least[here], worse[:, panel.stage[here]], error[:, panel.stage[here]]).T
        after = np.where(panel.exact[here, None], _entering(ahead, rates), ahead * shows)
        mass = np.maximum(after.sum(axis=1), 1e-300)
        logs[who] += np.log(mass)
        belief[who] = after / mass[:, None]
    row = np.concatenate(rows) if rows else np.zeros(0, dtype=np.int64)
    foretold = np.concatenate(told) if told else np.zeros((0, STATES))
    order = np.argsort(row)
    return Forward(logs, row[order], panel.stage[row[order] - 1], foretold[order])


def _entering(ahead: Floats, rates: Floats) -> Floats:
    """Density of opening at the end of an interval, as mass in the open stage."""
    found = np.zeros(ahead.shape)
    found[:, OPEN] = ahead[:, OPEN - 1] * rates[OPEN - 1]
    return found


@dataclass(frozen=True)
class Mistakes:
    """How often a stage is recorded one off, each way, from joints looked at twice at one time.

    ``share`` with its 90 % interval; ``pairs`` of looks; ``agreed`` of them said the same stage.
    """

    share: float
    low: float
    high: float
    pairs: int
    agreed: int


MOST_MISTAKES = 0.3


def double_looks(first: Whole, second: Whole) -> Mistakes:
    """Estimate mistakes from pairs of looks [p] by two people at the same joints, the true stages not known.

    Maximum likelihood over the share of mistakes, how common each stage is summed out by EM (A. P. Dempster, N. M.
    Laird and D. B. Rubin, JRSS B 39 (1977) 1-38, from memory); the interval is where the profile falls by 1.353, half
    the 90 % point of chi-squared with one degree of freedom.
    """
    if first.shape != second.shape or first.size == 0:
        raise ValueError("first and second must be two rows of one length, at least one")
    table = np.zeros((STATES, STATES))
    np.add.at(table, (first, second), 1)
    table = table + table.T  # nobody's look is the truth
    shares = np.linspace(0.001, MOST_MISTAKES, 300)
    profile = np.array([_pair_likelihood(table, share) / 2.0 for share in shares])
    best = minimize_scalar(
        lambda share: -_pair_likelihood(table, share), bounds=(shares[0], shares[-1]), method="bounded"
    )
    inside = shares[profile >= profile.max() - float(ndtri(0.95)) ** 2 / 2.0]
    share = float(best.x)
    return Mistakes(
        share, min(share, float(inside[0])), max(share, float(inside[-1])), first.size, int(np.sum(first == second))
    )


def _pair_likelihood(table: Floats, share: float) -> float:
    error = stage_mistakes(share)
    common = np.full(STATES, 1.0 / STATES)
    both = error[:, :, None] * error[:, None, :]
    for _ in range(60):
        joint = common[:, None, None] * both
        whole = np.maximum(joint.sum(axis=0), 1e-300)
        common = (joint / whole * table).sum(axis=(1, 2)) / table.sum()
    return float((table * np.log(np.maximum((common[:, None, None] * both).sum(axis=0), 1e-300))).sum())


@dataclass(frozen=True)
class Frailty:
    """How far groups of joints differ in pace.

    ``spread`` standard deviation of the log of a group's pace, with its 90 % interval; ``pace`` [g] each group's, as a
    factor, with ``low`` and ``high`` ends of 90 %; ``joints`` [g] it rests on, seen more than once.
    """

    spread: float
    spread_low: float
    spread_high: float
    pace: Floats
    low: Floats
    high: Floats
    joints: Whole


def frailty(panel: Panel, rates: Floats, error: Floats, first: Floats, group: Whole) -> Frailty:
    """Paces of groups [j -> g] (workshops or restorations, -1 for none) around fitted rates.

    A lognormal frailty of median 1 for each group, its spread by maximum marginal likelihood, each group's pace given
    that spread (empirical Bayes). Source: D. Collett, Modelling Survival Data in Medical Research, chapter on frailty
    (from memory).
    """
    if group.shape != (panel.joints,):
        raise ValueError("group must have one entry for each joint")
    known = group >= 0
    groups = int(group.max(initial=-1)) + 1
    logs = np.zeros((groups, PACES.size))
    for place, pace in enumerate(PACES):
        each = forward(panel, rates * np.exp(pace), error, first).log_likelihood
        logs[:, place] = np.bincount(group[known], each[known], groups)
    logs -= logs.max(axis=1, keepdims=True, initial=-np.inf)
    profile = np.array([_log_marginal(logs, spread) for spread in SPREADS])
    spread = float(SPREADS[int(np.argmax(profile))])
    inside = SPREADS[profile >= profile.max() - float(ndtri(0.95)) ** 2 / 2.0]
    weights = np.exp(logs) * _normal(max(spread, 1e-3))
    weights /= weights.sum(axis=1, keepdims=True)
    ends = np.cumsum(weights, axis=1) - weights / 2.0
    low, middle, high = (_quantile(ends, share) for share in (0.05, 0.5, 0.95))
    again = np.bincount(panel.joint, minlength=panel.joints) > 1
    counted = np.bincount(group[known & again], minlength=groups)
    return Frailty(spread, float(inside[0]), float(inside[-1]), middle, low, high, counted)


def _normal(spread: float) -> Floats:
    weights = np.exp(-0.5 * (PACES / spread) ** 2)
    return np.asarray(weights / weights.sum())


def _log_marginal(logs: Floats, spread: float) -> float:
    weights = _normal(spread) if spread > 0.02 else np.eye(PACES.size)[PACES.size // 2]
    return float(np.log(np.maximum(np.exp(logs) @ weights, 1e-300)).sum())


def _quantile(ends: Floats, share: float) -> Floats:
    return np.exp(np.array([np.interp(share, row, PACES) for row in ends]).reshape(-1))


@dataclass(frozen=True)
class Moves:
    """Looks counted by the stage seen before and the stage seen then [s, s]: what was, and what the fit expects."""

    observed: Whole
    expected: Floats


def moves_between_looks(told: Forward, panel: Panel) -> Moves:
    """What was seen from one look to the next, against what the fit foretold.

    Exact openings are left aside: when a look finds them is no matter of plan. What was in a stage or a worse one
    counts as in that stage.
    """
    planned = ~panel.exact[told.row]
    observed, expected = np.zeros((STATES, STATES), dtype=np.int64), np.zeros((STATES, STATES))
    before = told.before[planned]
    np.add.at(observed, (before, panel.stage[told.row[planned]]), 1)
    np.add.at(expected, before, told.foretold[planned])
    return Moves(observed, expected)


@dataclass(frozen=True)
class Bin:
    """Looks whose foretold chance is alike: mean ``foretold``, ``share`` that came so with its 90 % interval."""

    foretold: float
    share: float
    low: float
    high: float
    looks: int


def calibration(chance: Floats, happened: Flags, *, bins: int = 5) -> list[Bin]:
    """Chances [i] against what happened, in bins of equal numbers.

    Intervals by E. B. Wilson, JASA 22 (1927) 209-212 (from memory).
    """
    if chance.shape != happened.shape or np.any((chance < 0) | (chance > 1 + 1e-9)):
        raise ValueError("chance must lie between 0 and 1, one for each that may have happened")
    found = []
    for part in np.array_split(np.argsort(chance, kind="stable"), min(bins, max(chance.size, 1))):
        if part.size:
            share = float(happened[part].mean())
            low, high = _wilson(share, part.size)
            found.append(Bin(float(chance[part].mean()), share, low, high, int(part.size)))
    return found


def misses_too_often(held: int, bins: int, *, confidence: float = 0.9, level: float = 0.05) -> bool:
    """Whether so few of some intervals hold what they should that chance alone would hardly do it (binomial tail)."""
    return bool(binom.cdf(held, bins, confidence) < level)


def _wilson(share: float, count: int) -> tuple[float, float]:
    z = float(ndtri(0.95))
    centre = (share + z * z / (2 * count)) / (1 + z * z / count)
    reach = z / (1 + z * z / count) * np.sqrt(share * (1 - share) / count + z * z / (4 * count * count))
    return max(0.0, float(centre - reach)), min(1.0, float(centre + reach))


def held_out(
    panel: Panel, fold: Whole, fit: Callable[[Panel], tuple[Floats, Floats]], error: Floats
) -> tuple[Floats, Flags]:
    """Chance [i] that a look sees a worse stage than the one before, foretold by a fit that has not seen its joint.

    ``fold`` [j] which part each joint belongs to; ``fit`` gives rates and the distribution of first stages. Returned
    with whether it did, exact openings left aside as in ``moves_between_looks``.
    """
    chances, happened, planned = [], [], []
    for part in np.unique(fold):
        rates, first = fit(panel.only(np.flatnonzero(fold != part)))
        left = panel.only(np.flatnonzero(fold == part))
        told = forward(left, rates, error, first)
        worse = np.arange(STATES)[None, :] > told.before[:, None]
        chances.append((told.foretold * worse).sum(axis=1))
        happened.append(left.stage[told.row] > told.before)
        planned.append(~left.exact[told.row])
    kept = np.concatenate(planned)
    return np.clip(np.concatenate(chances), 0.0, 1.0)[kept], np.concatenate(happened)[kept]


def moves_needed(factor: float = 1.5, confidence: float = 0.95) -> int:
    """Moves out of a stage that must be seen to know its rate within a ``factor``: a count of n knows the log of a rate
    to one over the square root of n (Poisson counts)."""
    if factor <= 1 or not 0 < confidence < 1:
        raise ValueError("factor must be more than 1, and confidence between 0 and 1")
    return int(np.ceil((float(ndtri(0.5 + confidence / 2.0)) / np.log(factor)) ** 2))
