"""What is lost when a joint lets go, as a share of the object's value, and how much the object matters.

All shares and weights are expert defaults, to be agreed by the department: no published table of losses at failing
joints of ceramics is known. A clean drop at an old break loses little; what carries weight brings more down with it.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.risk.load import PART_SHAPES

SLIGHT, PROJECTING, BEARING = 0.03, 0.10, 0.20
LOSS_BY_PART: dict[str, float] = {
    "rim": SLIGHT, "wall": SLIGHT, "lid": SLIGHT, "other": SLIGHT,
    "neck": PROJECTING, "handle": PROJECTING, "spout": PROJECTING, "limb": PROJECTING, "head": PROJECTING,
    "foot": BEARING, "base": BEARING,
}  # fmt: skip
SPREAD = 3.0  # low and high estimates lie this factor apart from the probable one
STRUCTURAL_LEAST, UNKNOWN_LEAST = 0.10, 0.05
OFF_CHECKLIST = 0.5


def loss_shares(part: Sequence[str], structural: ArrayLike) -> NDArray[np.float64]:
    """Share of the object's value lost when each joint lets go: low, probable, high [j, 3].

    Parameters
    ----------
    part : sequence of str [j], codes of ``load.PART_SHAPES``
    structural : array_like [j], 1 load-bearing, 0 not, nan not known

    Raises
    ------
    ValueError
        A part that is not known.
    """
    unknown = sorted(set(part) - PART_SHAPES.keys())
    if unknown:
        raise ValueError(f"part must be one of {', '.join(PART_SHAPES)}, not {unknown[0]!r}")
    bears = np.asarray(structural, dtype=np.float64)
    least = np.where(np.isnan(bears), UNKNOWN_LEAST, np.where(bears == 1, STRUCTURAL_LEAST, 0.0))
    probable = np.maximum(np.array([LOSS_BY_PART[code] for code in part], dtype=np.float64), least)
    return np.minimum(np.stack([probable / SPREAD, probable, probable * SPREAD], axis=-1), 1.0)


def expected_loss(chance: ArrayLike, loss: ArrayLike, index: NDArray[np.int64], count: int) -> NDArray[np.float64]:
    """Expected share of each object [n] lost, from its joints' chances [j] and losses [j]; at most all of it."""
    logs = np.zeros(count)
    with np.errstate(divide="ignore"):
        np.add.at(logs, index, np.log1p(-np.asarray(chance) * np.asarray(loss)))
    return np.asarray(-np.expm1(logs))


def significance_weight(significance: ArrayLike) -> NDArray[np.float64]:
    """Weight of an object in the collection: each step of 1 to 5 doubles it; 3, and not known, weigh 1."""
    steps = np.asarray(significance, dtype=np.float64)
    if np.any((steps < 1) | (steps > 5)):
        raise ValueError("significance must lie between 1 and 5")
    return np.where(np.isnan(steps), 1.0, 2.0 ** (np.nan_to_num(steps, nan=3.0) - 3.0))


def display_weight(importance: ArrayLike) -> NDArray[np.float64]:
    """Weight of an object to the exhibition: each step of 1 to 5 doubles it, 3 weighs 1; nan (not listed) a half."""
    steps = np.asarray(importance, dtype=np.float64)
    if np.any((steps < 1) | (steps > 5)):
        raise ValueError("importance must lie between 1 and 5")
    return np.where(np.isnan(steps), OFF_CHECKLIST, 2.0 ** (np.nan_to_num(steps, nan=3.0) - 3.0))
