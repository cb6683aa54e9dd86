"""All reading of the condition survey, by subject."""

from survey.condition.db.selectors.assessments import (
    RestorationSeen,
    SignSeen,
    ThingSeen,
    assessments_of,
    latest_assessment,
    open_assessment,
    photographs_in,
    photographs_of,
    restorations_seen,
    the_assessment,
)
from survey.condition.db.selectors.book import definitions, newest
from survey.condition.db.selectors.missing import Missing, what_is_missing
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
from survey.condition.db.selectors.walking import Mark, ShelfLine, marks, open_rounds, shelf_lines, shelves

__all__ = [
    "Drivers",
    "EvidenceRow",
    "JointRow",
    "JointStates",
    "Mark",
    "Missing",
    "ObjectDrivers",
    "RestorationSeen",
    "ShelfLine",
    "SignRow",
    "SignSeen",
    "ThingSeen",
    "VisitRow",
    "assessments_of",
    "definitions",
    "drivers",
    "joint_states",
    "latest_assessment",
    "marks",
    "newest",
    "open_assessment",
    "open_rounds",
    "photographs_in",
    "photographs_of",
    "restorations_seen",
    "shelf_lines",
    "shelves",
    "standing",
    "the_assessment",
    "what_is_missing",
]
