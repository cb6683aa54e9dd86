"""What is not known, drawn together: pace, strengths, scatter, adhesive, stage. Each draw is a world that may be so.

From the draws come intervals for each object, its chance to be among the first to be dealt with, and ties: objects that
the draws cannot tell apart are shown as one group, not as ranks one after another.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from survey.risk.adhesives import sound_strengths_pa, speeds
from survey.risk.bonds import Bonds, Floats, Whole
from survey.risk.carrying import STATES, ChainTable
from survey.risk.drawing import Keys, draw_objects
from survey.risk.identification import CLASSES, NITRATE
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.pace import Pace, log_paces, visit_table
from survey.risk.parts import Order
from survey.risk.passing import Way, at_any_age

SCATTERS = 5  # values of the scatter of strength that draws take turns with
CELLS = 8  # of equal weight, over which a restoration's own pace is weighed
_QUANTILES = ndtri((np.arange(4096) + 0.5) / 4096)


@dataclass(frozen=True)
class Doubt:
    """How unsure the assumed values are: standard deviations of their logarithms (expert defaults).

    ``strength`` of each class, ``speed`` of each class but cellulose nitrate, whose pace is a belief of its own,
    ``scatter`` of the scatter of strength.
    """

    strength: float = 0.25
    speed: float = 0.25
    scatter: float = 0.2

    def __post_init__(self) -> None:
        for name in ("strength", "speed", "scatter"):
            if not (np.isfinite(getattr(self, name)) and getattr(self, name) >= 0):
                raise ValueError(f"{name} must be finite and not negative")


@dataclass(frozen=True)
class Worlds:
    """What each draw [d] takes for true of the whole collection; made once for a run, shared by its batches.

    ``years`` [d] mean life of a cellulose nitrate joint; ``log_speed``, ``log_strength`` [d, c]; ``scatter`` one of
    ``scatters`` for each draw; ``habits`` [d, w] the class that each workshop mostly uses (none where they were not
    given); ``seed`` of what is drawn for single objects.
    """

    years: Floats
    log_speed: Floats
    log_strength: Floats
    scatter: Whole
    scatters: Floats
    habits: Whole
    seed: int


def draw_worlds(
    rng: np.random.Generator,
    assumptions: Assumptions,
    *,
    draws: int = 200,
    pace: Pace | None = None,
    doubt: Doubt | None = None,
    workshops: Floats | None = None,
    workshop_keys: Keys | None = None,
) -> Worlds:
    """Draw the worlds of a run.

    Parameters
    ----------
    rng : numpy Generator
        Seeded by the caller and kept with the run.
    assumptions : Assumptions
    draws : int, >= 2
    pace : Pace, optional, with the department's visits counted; else the prior
    doubt : Doubt, optional
    workshops : [w, c], optional, ``Identified.workshops``: one habit of each workshop is drawn for all its work
    workshop_keys : uint64 [w], optional
        What names each workshop for good: its habits follow from it and the generator alone, so that one workshop
        more, or better known, leaves the draws of all others as they were. Its place in the list if not given.
    """
    if draws < 2:
        raise ValueError("draws must be at least 2")
    shops = np.zeros((0, len(CLASSES))) if workshops is None else workshops
    named = np.arange(shops.shape[0], dtype=np.uint64) if workshop_keys is None else workshop_keys
    if named.shape != shops.shape[:1] or named.dtype != np.uint64:
        raise ValueError("workshop_keys must be one uint64 for each workshop")
    belief, unsure = pace or Pace.prior(assumptions), doubt or Doubt()
    # One draw in each equal share of the belief, in random order: the same spread with less noise.
    shares = (rng.permutation(draws) + rng.random(draws)) / draws
    ends = np.concatenate([[0.0], np.cumsum(belief.weights)])
    years = np.exp(np.interp(shares, ends, _edges(np.log(belief.years))))
    not_nitrate = (np.arange(len(CLASSES)) != NITRATE) * unsure.speed
    log_speed = np.log(speeds(assumptions.adhesives)) + not_nitrate * rng.standard_normal((draws, len(CLASSES)))
    log_strength = np.log(sound_strengths_pa(assumptions.adhesives)) + unsure.strength * rng.standard_normal(
        (draws, len(CLASSES))
    )
    spots = ndtri((np.arange(SCATTERS) + 0.5) / SCATTERS)
    scatter, seed = rng.integers(0, SCATTERS, draws), int(rng.integers(0, 2**63))
    return Worlds(
        years, log_speed, log_strength, scatter, assumptions.scatter * np.exp(unsure.scatter * spots),
        _habits(seed, draws, shops, named), seed,
    )  # fmt: skip


def _habits(seed: int, draws: int, workshops: Floats, keys: Keys) -> Whole:
    """A class for each workshop in each draw [d, w], each class as often as it is likely."""
    habits = np.zeros((draws, keys.size), dtype=np.int64)
    for w, (ends, key) in enumerate(zip(np.cumsum(workshops, axis=1), keys, strict=True)):
        own = np.random.default_rng([seed, int(key)])
        at = (own.permutation(draws) + own.random(draws)) / draws
        habits[:, w] = np.searchsorted(ends[:-1], at, side="left")
    return habits


def _edges(middles: Floats) -> Floats:
    """Ends of cells around their middles."""
    if middles.size == 1:
        return np.repeat(middles, 2)
    between = (middles[1:] + middles[:-1]) / 2.0
    return np.concatenate([[2 * middles[0] - between[0]], between, [2 * middles[-1] - between[-1]]])


def draw_chances(
    inputs: JointInputs, bonds: Bonds, worlds: Worlds, keys: Keys, assumptions: Assumptions, *, milestone: int = -1
) -> NDArray[np.float32]:
    """Chance [n, d] that any joint of an object fails before a milestone, in each world.

    Parameters
    ----------
    inputs : JointInputs of n objects; bonds : Bonds of the same joints
    worlds : Worlds
    keys : uint64 [n]
        What names each object for good, such as the low half of its UUID: its draws follow from it.
    assumptions : Assumptions
    milestone : int, which of the milestones

    Notes
    -----
    Memory beside the result stays below a few hundred megabytes, whatever n. Adhesives and paces of restorations are
    drawn given all visits to them; the stage of a joint given its adhesive, pace and visits.
    """
    bonds.check(inputs)
    if keys.shape != (inputs.object_count,) or keys.dtype != np.uint64:
        raise ValueError("keys must be one uint64 for each object")
    way = Way.of(inputs, assumptions)
    if np.any(np.isnan(way.log_load)):
        raise ValueError("load must be known, measured or estimated, for every joint")
    frailty = bonds.sharing.frailty
    common = min(assumptions.shared_scatter * bonds.sharing.handling, 1.0 - 1e-6)
    shared = (assumptions.shared_scatter - common) / (1.0 - common)
    tables = [way.holds(scatter=float(s * np.sqrt(1.0 - common)), shared=shared) for s in worlds.scatters]
    points = _stacked([table.points for table in tables])
    paces = log_paces(assumptions, worlds.years)
    cells = ndtri((np.arange(CELLS) + 0.5) / CELLS) * frailty
    own = np.log(np.maximum(inputs.rate_factor, 1e-6))
    reach = float(frailty * _QUANTILES[-1])
    slowest = worlds.log_speed.min() + paces.min() + own.min(initial=0.0) - reach
    fastest = worlds.log_speed.max() + paces.max() + own.max(initial=0.0) + reach
    prior = assumptions.priors[assumptions.middle]
    chain = ChainTable.of(prior.rates, way.longest(float(np.exp(fastest))))
    found = np.zeros((inputs.object_count, worlds.years.size), dtype=np.float32)
    room = np.zeros((3, max(len(CLASSES), CELLS)))
    room[1, :CELLS] = cells
    order = Order.of(inputs, bonds)
    habits = bonds.habits if worlds.habits.size else None
    unknown = np.full(bonds.restorations.shape[0], -1, dtype=np.int64)
    workshop, upward = (habits.workshop, habits.upward) if habits else (unknown, bonds.restorations)
    met = habits.prior if habits else np.ones(len(CLASSES))
    for part in order.parts():
        begin, end, rows = part.begin, part.end, part.rows
        visits = visit_table(way, rows, float(slowest), float(fastest))
        draw_objects(
            keys[begin:end], np.uint64(worlds.seed), part.first, part.starts, rows, bonds.restorations[part.groups],
            worlds.habits, workshop[part.groups], upward[part.groups], met, bonds.sharing.within_workshop,
            bonds.follows[rows], bonds.otherwise[rows], worlds.log_speed, worlds.log_strength, paces, worlds.scatter,
            frailty, assumptions.scatter * float(np.sqrt(common)), _QUANTILES, visits.first, visits.logs, visits.looked,
            own[rows], way.log_load, way.log_share, np.ascontiguousarray(way.list_of[:, milestone]),
            np.array([t.first for t in tables]), np.array([t.step for t in tables]), points,
            inputs.age_now, way.ago, way.seen, inputs.years_ahead[:, milestone] * inputs.rate_per_year,
            chain.rates, chain.step, chain.digits, way.error, at_any_age(prior), assumptions.age_trust,
            np.full(CELLS, 1.0 / CELLS), np.zeros(1, dtype=np.uint64), np.empty((len(CLASSES), CELLS)), room,
            np.empty(STATES), found[begin:end],
        )  # fmt: skip
    return found


def _stacked(tables: list[Floats]) -> Floats:
    """Tables [t, i, u, 2] brought to one length by their last point: beyond a table's end, nothing changes."""
    count = max(table.shape[0] for table in tables)
    return np.stack([np.concatenate([t, np.repeat(t[-1:], count - t.shape[0], axis=0)]) for t in tables])


@dataclass(frozen=True)
class Interval:
    """Of each object [n] over the draws: ``low`` and ``high`` ends, ``middle`` (median) and ``mean``."""

    low: Floats
    middle: Floats
    high: Floats
    mean: Floats


def intervals(chances: NDArray[np.float32], *, share: float = 0.9) -> Interval:
    """Intervals from draws [n, d] that hold ``share`` of them, as much left out above as below."""
    if not 0 < share < 1:
        raise ValueError("share must lie between 0 and 1")
    ends = np.quantile(chances, [(1 - share) / 2, 0.5, (1 + share) / 2], axis=1).astype(np.float64)
    return Interval(ends[0], ends[1], ends[2], chances.mean(axis=1, dtype=np.float64))


def among_first(scores: NDArray[np.float32], k: int) -> Floats:
    """Chance [n] of each object to be among the ``k`` with the highest scores [n, d]; equals share a place."""
    count = scores.shape[0]
    if k < 1:
        raise ValueError("k must be at least 1")
    if k >= count:
        return np.ones(count)
    total = np.zeros(count)
    for draw in range(scores.shape[1]):
        column = scores[:, draw]
        bar = np.partition(column, count - k)[count - k]
        above, level = column > bar, column == bar
        total += above + level * ((k - above.sum()) / level.sum())
    return total / scores.shape[1]


def tied_groups(scores: NDArray[np.float32], *, sure: float = 0.9, order: Whole | None = None) -> Whole:
    """Group [n] of each object, 0 the first: objects whose order the draws cannot tell share a group.

    Objects are taken in ``order`` [n], else in that of their mean score [n, d]. Each joins the group before it while
    the first of that group is worse in less than ``sure`` of the draws (ties count half), else it opens the next.
    """
    if not 0.5 <= sure <= 1:
        raise ValueError("sure must lie between one half and 1")
    if order is None:
        order = np.argsort(-scores.mean(axis=1, dtype=np.float64), kind="stable")
    groups = np.zeros(scores.shape[0], dtype=np.int64)
    begin, group = 0, 0
    while begin < order.size:
        end, step = begin + 1, 64
        while end < order.size:  # look ahead in growing steps for the first that is told apart
            some = scores[order[end : end + step]]
            leader = scores[order[begin]]
            worse = (leader > some).mean(axis=1) + 0.5 * (leader == some).mean(axis=1)
            apart = np.flatnonzero(worse >= sure)
            if apart.size:
                end += int(apart[0])
                break
            end, step = end + some.shape[0], min(step * 2, 65536)
        groups[order[begin:end]] = group
        begin, group = end, group + 1
    return groups
