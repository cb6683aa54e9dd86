"""Plain builders of scoring input."""

from typing import Any

import numpy as np

from survey.risk.identification import CLASS_INDEX, CLASSES, DEFAULT_PRIOR
from survey.risk.inputs import JointInputs
from survey.risk.load import LoadInputs

MOVES = 4


def certainly(adhesive: str, joints: int) -> np.ndarray:
    """Class probabilities of joints whose adhesive is known."""
    shares = np.zeros((joints, len(CLASSES)))
    shares[:, CLASS_INDEX[adhesive]] = 1.0
    return shares


def a_load(joints: int, **sizes: float) -> LoadInputs:
    """A handle of 80 g on a joint 60 mm long, 6 mm thick, with an overhang of 25 mm, unless said otherwise."""
    given = {"mass_kg": 0.08, "length_mm": 60.0, "thickness_mm": 6.0, "lever_mm": 25.0} | sizes
    return LoadInputs(**{name: np.full(joints, size) for name, size in given.items()}, estimated=np.zeros(joints, bool))


def some_joints(joints: int = 1, *, milestones: int = 1, **arrays: Any) -> JointInputs:
    """Joints of one object, 40 years old, seen ageing today, lifted once before a milestone half a year away."""
    given: dict[str, Any] = {
        "object_count": 1,
        "object_index": np.zeros(joints, dtype=np.int64),
        "class_probabilities": np.tile(DEFAULT_PRIOR, (joints, 1)),
        "age_now": np.full(joints, 40.0),
        "visit_ago": np.zeros((joints, 1)),
        "visit_stages": np.full((joints, 1), 1),
        "rate_per_year": np.ones(joints),
        "years_ahead": np.tile(0.5 * np.arange(1, milestones + 1), (joints, 1)),
        "moves": np.tile(np.arange(1.0, milestones + 1)[:, None] * np.eye(1, MOVES), (joints, 1, 1)),
        "load": a_load(joints),
        "rate_factor": np.ones(joints),
    }
    return JointInputs(**(given | arrays))
