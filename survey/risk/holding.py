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

from survey.risk.compiled import compiled
from survey.risk.load import failure_chance

Floats = NDArray[np.float64]

_REACH = 9.0  # standard deviations beyond which a joint surely holds or surely gives
_FINENESS = 32.0  # points of the grid for each standard deviation of one move's own scatter
_LEAST_OWN = 0.1  # of the scatter, so that the grid stays finite where all of it is the joint's


@dataclass(frozen=True)
class HoldTable:
    """Chances to give for lists of counts [u, k], on points ``first + step * i`` of ln(stress at rest / strength).

    ``gives``, ``slopes`` : [u, i], the chance and its change per step.
    """

    first: float
    step: float
    gives: Floats
    slopes: Floats

    @classmethod
    def of(cls, counts: Floats, shocks: Floats, *, scatter: float, shared: float) -> "HoldTable":
        """Tables for lists of counts [u, k] of moves with shocks [k]; arguments as for ``load.failure_chance``."""
        reach, points, step = _grid(shocks, scatter, shared)
        tables = [_one(row.tobytes(), shocks.tobytes(), scatter, shared) for row in np.ascontiguousarray(counts)]
        empty = np.zeros((0, points))
        gives = np.stack([gives for gives, _ in tables]) if tables else empty
        slopes = np.stack([slopes for _, slopes in tables]) if tables else empty
        return cls(reach, step, gives, slopes)


def _grid(shocks: Floats, scatter: float, shared: float) -> tuple[float, int, float]:
    """First point, number of points and step of the grid."""
    first = -_REACH * scatter - float(np.log(shocks.max()))
    last = _REACH * scatter
    step = scatter * max(_LEAST_OWN, float(np.sqrt(1.0 - shared))) / _FINENESS
    return first, int(np.ceil((last - first) / step)) + 2, step


@lru_cache(maxsize=256)
def _one(counts: bytes, shocks: bytes, scatter: float, shared: float) -> tuple[Floats, Floats]:
    """Chance to give, and its slope per step, for one list of counts."""
    levels = np.frombuffer(shocks)
    first, points, step = _grid(levels, scatter, shared)
    used = np.exp(first + step * np.arange(points))[:, None] * levels
    gives = failure_chance(used, np.frombuffer(counts), scatter=scatter, shared=shared)
    rises = np.maximum(np.diff(np.maximum.accumulate(gives)), 0.0)
    gives = np.concatenate([gives[:1], gives[0] + np.cumsum(rises)])
    least = np.minimum(np.concatenate([rises[:1], rises]), np.concatenate([rises, rises[-1:]]))
    slopes = np.clip(CubicSpline(np.arange(points), gives)(np.arange(points), 1), 0.0, 3.0 * least)
    return gives, slopes


def gives_by_table(table: HoldTable, row: NDArray[np.int64], log_use: Floats) -> Floats:
    """Chance to give [j] for the list ``row`` [j] at ln(stress at rest / strength) [j], which may be infinite."""
    found = np.empty(log_use.shape)
    _look_up_all(row, log_use, table.first, table.step, table.gives, table.slopes, found)
    return found


@compiled
def look_up(row: int, at: float, first: float, step: float, gives: Floats, slopes: Floats) -> float:
    """One chance to give, between two points of the grid; nan where ``at`` is nan."""
    if at != at:
        return np.nan
    last = gives.shape[1] - 1
    place = min(max((at - first) / step, 0.0), float(last))
    left = min(np.int64(place), last - 1)
    t = place - left
    y0, y1 = gives[row, left], gives[row, left + 1]
    rise = y1 - y0
    m0, m1 = slopes[row, left], slopes[row, left + 1]
    return float(y0 + t * (m0 + t * (3.0 * rise - 2.0 * m0 - m1 + t * (m0 + m1 - 2.0 * rise))))


@compiled
def _look_up_all(
    row: NDArray[np.int64], at: Floats, first: float, step: float, gives: Floats, slopes: Floats, found: Floats
) -> None:
    for j in range(at.size):
        found[j] = look_up(row[j], at[j], first, step, gives, slopes)
