"""All writing of the condition survey, by subject. Every touch is one step, kept at once and undone on its own."""

from survey.condition.db.services.beginning import (
    UNREMARKABLE,
    answer,
    begin_assessment,
    correct_assessment,
    end_round,
    start_round,
)
from survey.condition.db.services.finishing import NotComplete, finish_assessment
from survey.condition.db.services.restoring import (
    add_fill,
    add_joint,
    add_overpaint,
    add_restoration,
    add_workshop,
    edit_restoration,
    edit_thing,
    remove_restoration,
    remove_thing,
)
from survey.condition.db.services.seeing import (
    Seen,
    add_evidence,
    attach_photograph,
    note_sign,
    note_signs,
    see_joint,
)
from survey.condition.db.services.undoing import discard_assessment, undo

__all__ = [
    "UNREMARKABLE",
    "NotComplete",
    "Seen",
    "add_evidence",
    "add_fill",
    "add_joint",
    "add_overpaint",
    "add_restoration",
    "add_workshop",
    "answer",
    "attach_photograph",
    "begin_assessment",
    "correct_assessment",
    "discard_assessment",
    "edit_restoration",
    "edit_thing",
    "end_round",
    "finish_assessment",
    "note_sign",
    "note_signs",
    "remove_restoration",
    "remove_thing",
    "see_joint",
    "start_round",
    "undo",
]
