"""All writing of the tablets' room, by subject."""

from survey.capture.db.services.deciding import (
    add_unlisted,
    decide_field,
    let_both_stand,
    say_which,
    set_aside,
    take_in,
)
from survey.capture.db.services.photographs import attach_waiting, keep, stand_of, take_piece
from survey.capture.db.services.receiving import Answer, Delivery, apply, apply_all, take_in_waiting

__all__ = [
    "Answer",
    "Delivery",
    "add_unlisted",
    "apply",
    "apply_all",
    "attach_waiting",
    "decide_field",
    "keep",
    "let_both_stand",
    "say_which",
    "set_aside",
    "stand_of",
    "take_in",
    "take_in_waiting",
    "take_piece",
]
