"""What would change a score: the same joints asked again under one altered fact, by the middle belief only."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.risk.bonds import Bonds
from survey.risk.identification import CLASS_INDEX
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.together import chances_together

CHANGES: tuple[str, ...] = (
    "no-moves",
    "if-cellulose-nitrate",
    "if-not-cellulose-nitrate",
    "if-worst-sound",
    "rejoined",
)


def chances_if(
    inputs: JointInputs, bonds: Bonds, worst_joint: NDArray[np.int64], assumptions: Assumptions | None = None
) -> dict[str, NDArray[np.float64]]:
    """Chance [n] of each object before the last milestone under each of ``CHANGES``, by the middle belief.

    Parameters
    ----------
    inputs : JointInputs; bonds : Bonds of the same joints
    worst_joint : int array_like [n, m], from ``ObjectScores``; the last milestone says which joint counts as worst
    assumptions : Assumptions, optional

    Notes
    -----
    ``rejoined``: every joint taken down and joined again today with acrylic copolymer. ``if-worst-sound``: a second
    look finds the worst joint sound. ``no-moves`` is among what a chance is made of (``contributions``).
    """
    chosen = assumptions or Assumptions()
    everywhere = np.ones(inputs.object_index.size, dtype=np.bool_)
    altered = {
        "if-cellulose-nitrate": proved(inputs, bonds, "cellulose_nitrate"),
        "if-not-cellulose-nitrate": ruled_out(inputs, bonds, "cellulose_nitrate"),
        "if-worst-sound": (seen_sound(inputs, worst_joint[:, -1]), bonds),
        "rejoined": treated(inputs, bonds, everywhere),
    }
    return {code: chances_together(made, tied, chosen) for code, (made, tied) in altered.items()}


def proved(inputs: JointInputs, bonds: Bonds, adhesive: str) -> tuple[JointInputs, Bonds]:
    """Every joint known to hold by ``adhesive``."""
    shares = _certain(inputs, adhesive)
    certain = replace(bonds, follows=np.zeros_like(bonds.follows), otherwise=shares)
    return inputs.changed(class_probabilities=shares), certain


def ruled_out(inputs: JointInputs, bonds: Bonds, adhesive: str) -> tuple[JointInputs, Bonds]:
    """``adhesive`` ruled out on every joint, the others in proportion; what can be nothing else becomes ``other``."""
    of, otherwise = _without(bonds.restorations, adhesive), _without(bonds.otherwise, adhesive)
    left = replace(bonds, restorations=of, otherwise=otherwise, habits=None)
    return inputs.changed(class_probabilities=_without(inputs.class_probabilities, adhesive)), left


def treated(
    inputs: JointInputs, bonds: Bonds, joints: NDArray[np.bool_], *, adhesive: str = "acrylic"
) -> tuple[JointInputs, Bonds]:
    """The chosen joints [j] taken down and joined anew today: they follow no old restoration any more."""
    made = rejoined(inputs, joints, adhesive=adhesive)
    which = joints[:, None]
    return made, replace(
        bonds,
        follows=np.where(which, 0.0, bonds.follows),
        otherwise=np.where(which, _certain(inputs, adhesive), bonds.otherwise),
    )


TREATED: tuple[str, ...] = ("", "worst", "all")


@dataclass(frozen=True)
class Asked:
    """Changes asked for at once, of one object: ``adhesive`` proved on every joint (empty: as known), ``treated`` of
    ``TREATED``, taken down and joined anew, and ``moves`` [m, k] planned instead (None: as planned)."""

    adhesive: str = ""
    treated: str = ""
    moves: NDArray[np.float64] | None = None

    def __post_init__(self) -> None:
        if self.adhesive and self.adhesive not in CLASS_INDEX:
            raise ValueError(f"adhesive must be one of {', '.join(CLASS_INDEX)}")
        if self.treated not in TREATED:
            raise ValueError(f"treated must be one of {', '.join(TREATED[1:])}, or empty")

    def of(self, inputs: JointInputs, bonds: Bonds, worst: int) -> tuple[JointInputs, Bonds]:
        """Joints of one object so changed; ``worst`` is the row of the joint most likely to fail. What is treated is
        known for what it is joined with, whatever is proved of the rest."""
        if self.adhesive:
            inputs, bonds = proved(inputs, bonds, self.adhesive)
        if self.treated:
            every = np.full(inputs.object_index.size, self.treated == "all")
            every[worst] = True
            inputs, bonds = treated(inputs, bonds, every)
        if self.moves is not None:
            inputs = inputs.changed(moves=np.broadcast_to(self.moves, inputs.moves.shape))
        return inputs, bonds


def rejoined(inputs: JointInputs, joints: NDArray[np.bool_], *, adhesive: str = "acrylic") -> JointInputs:
    """The inputs once the chosen joints [j] are taken down and joined anew today with ``adhesive``, which is known."""
    if adhesive not in CLASS_INDEX:
        raise ValueError(f"adhesive must be one of {', '.join(CLASS_INDEX)}")
    if joints.shape != inputs.object_index.shape or joints.dtype != np.bool_:
        raise ValueError("joints must be one True or False for each joint")
    return inputs.changed(
        class_probabilities=np.where(joints[:, None], _certain(inputs, adhesive), inputs.class_probabilities),
        age_now=np.where(joints, 0.0, inputs.age_now),
        visit_stages=np.where(joints[:, None], -1, inputs.visit_stages),
        rate_factor=np.where(joints, 1.0, inputs.rate_factor),
    )


def seen_sound(inputs: JointInputs, worst_joint: NDArray[np.int64]) -> JointInputs:
    """The inputs if a look today found the joints of these rows sound; rows of -1 are passed over."""
    rows = worst_joint[worst_joint >= 0]
    stages = np.full((inputs.object_index.size, 1), -1, dtype=np.int64)
    stages[rows] = 0
    earlier = inputs.visit_stages.copy()
    earlier[rows] = -1
    today = np.zeros((inputs.object_index.size, 1))
    return inputs.changed(visit_ago=np.hstack([inputs.visit_ago, today]), visit_stages=np.hstack([earlier, stages]))


def _certain(inputs: JointInputs, code: str) -> NDArray[np.float64]:
    """Every joint of this class."""
    shares = np.zeros_like(inputs.class_probabilities)
    shares[:, CLASS_INDEX[code]] = 1.0
    return shares


def _without(given: NDArray[np.float64], code: str) -> NDArray[np.float64]:
    """Distributions [i, c] with this class ruled out."""
    shares = given.copy()
    shares[:, CLASS_INDEX[code]] = 0.0
    rest = shares.sum(axis=1)
    shares[rest <= 0, CLASS_INDEX["other"]] = 1.0
    return np.asarray(shares / shares.sum(axis=1, keepdims=True))
