"""Chance to hold through planned moves, looked up: with the shocks given, it hangs on one number for each joint.

Stress grows in proportion to the shock, so for one list of counts of moves the chance to give is a function of the
logarithm of stress at rest over strength. It is reckoned once for each list on a fine grid (``load.failure_chance``)
and read between the grid's points by a cubic that never turns: errors below 1e-6 (tested), at any number of joints.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from media.compiled import compiled
from survey.risk.load import failure_chance

Floats = NDArray[np.float64]

_REACH = 9.0  # standard deviations beyond which a joint surely holds or surely gives
_FINENESS = 32.0  # points of the grid for each standard deviation of one move's own scatter
_LEAST_OWN = 0.1  # of the scatter, so that the grid stays finite where all of it is the joint's


@dataclass(frozen=True)
class HoldTable:
    """Chances to give for lists of counts [u, k], on points ``first + step * i`` of ln(stress at rest / strength).

    ``points`` : [i, u, 2], the chance and its change per step; all lists of one point lie side by side in memory.
    """

    first: float
    step: float
    points: Floats

    @classmethod
    def of(cls, counts: Floats, shocks: Floats, *, scatter: float, shared: float) -> "HoldTable":
        """Tables for lists of counts [u, k] of moves with shocks [k]; arguments as for ``load.failure_chance``."""
        first, count, step = _grid(shocks, scatter, shared)
        points = np.zeros((count, counts.shape[0], 2))
        for row, moves in enumerate(np.ascontiguousarray(counts, dtype=np.float64)):
            points[:, row] = _one(moves.tobytes(), shocks.tobytes(), scatter, shared)
        return cls(first, step, points)


def _grid(shocks: Floats, scatter: float, shared: float) -> tuple[float, int, float]:
    """First point, number of points and step of the grid."""
    first = -_REACH * scatter - float(np.log(shocks.max()))
    last = _REACH * scatter
    step = scatter * max(_LEAST_OWN, float(np.sqrt(1.0 - shared))) / _FINENESS
    return first, int(np.ceil((last - first) / step)) + 2, step


@lru_cache(maxsize=256)
def _one(counts: bytes, shocks: bytes, scatter: float, shared: float) -> Floats:
    """Chance to give, and its slope per step [i, 2], for one list of counts."""
    levels = np.frombuffer(shocks)
    first, points, step = _grid(levels, scatter, shared)
    used = np.exp(first + step * np.arange(points))[:, None] * levels
    gives = failure_chance(used, np.frombuffer(counts), scatter=scatter, shared=shared)
    rises = np.maximum(np.diff(np.maximum.accumulate(gives)), 0.0)
    gives = np.concatenate([gives[:1], gives[0] + np.cumsum(rises)])
    least = np.minimum(np.concatenate([rises[:1], rises]), np.concatenate([rises, rises[-1:]]))
    slopes = np.clip(CubicSpline(np.arange(points), gives)(np.arange(points), 1), 0.0, 3.0 * least)
    return np.stack([gives, slopes], axis=1)


def gives_by_table(table: HoldTable, row: NDArray[np.int64], log_use: Floats) -> Floats:
    """Chance to give [j] for the list ``row`` [j] at ln(stress at rest / strength) [j], which may be infinite."""
    found = np.empty(log_use.shape)
    _look_up_all(row, log_use, table.first, table.step, table.points, found)
    return found


@compiled
def spot(at: float, first: float, step: float, count: int) -> tuple[int, float]:
    """Point of the grid below ``at`` and how far it lies beyond; beyond either end of the grid, that end."""
    place = min(max((at - first) / step, 0.0), count - 1.0)
    left = min(int(place), count - 2)
    return left, place - left


@compiled
def between(points: Floats, left: int, t: float, row: int) -> float:
    """A chance to give between two points of the grid."""
    y0, m0, m1 = points[left, row, 0], points[left, row, 1], points[left + 1, row, 1]
    rise = points[left + 1, row, 0] - y0
    return float(y0 + t * (m0 + t * (3.0 * rise - 2.0 * m0 - m1 + t * (m0 + m1 - 2.0 * rise))))


@compiled
def _look_up_all(row: NDArray[np.int64], at: Floats, first: float, step: float, points: Floats, found: Floats) -> None:
    for j in range(at.size):
        if at[j] != at[j]:
            found[j] = np.nan
        else:
            left, t = spot(at[j], first, step, points.shape[0])
            found[j] = between(points, left, t, row[j])
