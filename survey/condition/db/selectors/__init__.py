"""All reading of the condition survey, by subject."""

from survey.condition.db.selectors.states import (
    Drivers,
    EvidenceRow,
    JointRow,
    JointStates,
    ObjectDrivers,
    SignRow,
    VisitRow,
    drivers,
    joint_states,
    standing,
)

__all__ = [
    "Drivers",
    "EvidenceRow",
    "JointRow",
    "JointStates",
    "ObjectDrivers",
    "SignRow",
    "VisitRow",
    "drivers",
    "joint_states",
    "standing",
]
