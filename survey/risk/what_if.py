"""What would change a score: the same joints asked again under one altered fact, middle prior only."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from survey.risk.identification import CLASS_INDEX, CLASSES
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.objects import score_joints, score_objects

CHANGES: tuple[str, ...] = (
    "no-moves",
    "if-cellulose-nitrate",
    "if-not-cellulose-nitrate",
    "if-worst-sound",
    "rejoined",
)


def chances_if(
    inputs: JointInputs, worst_joint: NDArray[np.int64], assumptions: Assumptions | None = None
) -> dict[str, NDArray[np.float64]]:
    """Chance [n, m] of each object under each of ``CHANGES``, by the middle prior.

    Parameters
    ----------
    inputs : JointInputs
    worst_joint : int array_like [n, m], from ``ObjectScores``; the last milestone says which joint counts as worst
    assumptions : Assumptions, optional

    Notes
    -----
    ``rejoined``: every joint taken down and joined again today with acrylic copolymer. ``if-worst-sound``: a second
    look finds the worst joint sound.
    """
    chosen = assumptions or Assumptions()
    only = replace(chosen, priors=(chosen.priors[chosen.middle],))
    altered = {
        "no-moves": inputs.changed(moves=np.zeros_like(inputs.moves)),
        "if-cellulose-nitrate": inputs.changed(class_probabilities=_certain(inputs, "cellulose_nitrate")),
        "if-not-cellulose-nitrate": inputs.changed(class_probabilities=_without(inputs, "cellulose_nitrate")),
        "if-worst-sound": seen_sound(inputs, worst_joint[:, -1]),
        "rejoined": rejoined(inputs, np.ones(inputs.object_index.size, dtype=np.bool_)),
    }
    return {code: score_objects(made, score_joints(made, only), only).middle for code, made in altered.items()}


def rejoined(inputs: JointInputs, joints: NDArray[np.bool_], *, adhesive: str = "acrylic") -> JointInputs:
    """The inputs once the chosen joints [j] are taken down and joined anew today with ``adhesive``, which is known."""
    if adhesive not in CLASS_INDEX:
        raise ValueError(f"adhesive must be one of {', '.join(CLASSES)}")
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


def _without(inputs: JointInputs, code: str) -> NDArray[np.float64]:
    """This class ruled out, the others in proportion; a joint that can be nothing else becomes ``other``."""
    shares = inputs.class_probabilities.copy()
    shares[:, CLASS_INDEX[code]] = 0.0
    rest = shares.sum(axis=1)
    shares[rest <= 0, CLASS_INDEX["other"]] = 1.0
    return shares / shares.sum(axis=1, keepdims=True)
