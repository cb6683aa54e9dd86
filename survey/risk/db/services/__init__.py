"""All writing of scores."""

from survey.risk.db.services.asking import score_again, stop_scoring
from survey.risk.db.services.looking_next import ask_for_next_list, keep_next_list, make_next_list, work_out_again
from survey.risk.db.services.scoring import (
    batches,
    ensure_parameters,
    objects_to_score,
    score_batch,
    start_run,
)

__all__ = [
    "ask_for_next_list",
    "batches",
    "ensure_parameters",
    "keep_next_list",
    "make_next_list",
    "objects_to_score",
    "score_again",
    "score_batch",
    "start_run",
    "stop_scoring",
    "work_out_again",
]
