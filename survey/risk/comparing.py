"""Two rankings of the same objects set side by side: what a change of the assumed values does."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import rankdata

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True)
class Ranked:
    """Scores of objects [n]: ``band`` a whole number for each band, ``order`` 0 for what comes before all scores,
    ``loss`` by which the rest is ordered, ``chance`` before opening, 0 to 1."""

    band: Whole
    order: Whole
    loss: Floats
    chance: Floats

    @property
    def places(self) -> Whole:
        """Place [n] of each object, from 1; equals in the order in which they are given."""
        places = np.empty(self.loss.size, dtype=np.int64)
        places[np.lexsort((-self.loss, self.order))] = np.arange(1, self.loss.size + 1)
        return places

    @property
    def ranks(self) -> Floats:
        """Ranks [n] with equals sharing their mean rank."""
        _, number = np.unique(np.stack([self.order, -self.loss]), axis=1, return_inverse=True)
        return np.asarray(rankdata(number.ravel()), dtype=np.float64)


@dataclass(frozen=True)
class Effect:
    """What changes from one ranking to another.

    Attributes
    ----------
    bands : counts of objects by (band before, band after), those that change only
    entering, leaving : objects that come among, or leave, the first few, in order of their new and old place
    correlation : Spearman's rank correlation, -1 to 1; nan where it has no meaning (fewer than two objects, all equal)
    moved : objects that move furthest in the ranking, furthest first, none that stays
    was, becomes : places [n], from 1
    chance_shift : median and largest absolute change of a chance
    """

    bands: dict[tuple[int, int], int]
    entering: list[int]
    leaving: list[int]
    correlation: float
    moved: list[int]
    was: Whole
    becomes: Whole
    chance_shift: tuple[float, float]

    @property
    def changing(self) -> int:
        """How many objects change band."""
        return sum(self.bands.values())


def compare(before: Ranked, after: Ranked, *, first: int, most: int = 10) -> Effect:
    """What becomes of the ranking.

    Parameters
    ----------
    before, after : Ranked, the same objects [n] in the same order
    first : int, >= 1, how many count as the first
    most : int, >= 0, how many of those that move furthest are named

    Raises
    ------
    ValueError
        Rankings of different lengths, or counts out of range, named.
    """
    if before.loss.shape != after.loss.shape:
        raise ValueError("before and after must rank the same objects")
    if first < 1 or most < 0:
        raise ValueError("first must be at least 1 and most not negative")
    was, becomes = before.places, after.places
    shift = np.abs(becomes - was)
    furthest = np.lexsort((was, -shift))[:most]
    pairs = zip(before.band.tolist(), after.band.tolist(), strict=True)
    chances = np.abs(after.chance - before.chance)
    return Effect(
        bands=dict(Counter(pair for pair in pairs if pair[0] != pair[1])),
        entering=_by_place((becomes <= first) & (was > first), becomes),
        leaving=_by_place((was <= first) & (becomes > first), was),
        correlation=rank_correlation(before.ranks, after.ranks),
        moved=[int(row) for row in furthest if shift[row] > 0],
        was=was,
        becomes=becomes,
        chance_shift=(float(np.median(chances)), float(chances.max())) if chances.size else (0.0, 0.0),
    )


def _by_place(chosen: NDArray[np.bool_], place: Whole) -> list[int]:
    rows = np.flatnonzero(chosen)
    return [int(row) for row in rows[np.argsort(place[rows])]]


def rank_correlation(one: Floats, other: Floats) -> float:
    r"""Spearman's :math:`\rho`: the correlation of two rows of ranks [n], equals having their mean rank.

    C. Spearman, American Journal of Psychology 15 (1904) 72-101. nan for fewer than two, or where all are equal.
    """
    a, b = one - one.mean() if one.size else one, other - other.mean() if other.size else other
    spread = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / spread if spread > 0 else float("nan")
