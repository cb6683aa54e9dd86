"""All writing of scores."""

from survey.risk.db.services.asking import score_again, stop_scoring
from survey.risk.db.services.looking_next import ask_for_next_list, keep_next_list, make_next_list, work_out_again
from survey.risk.db.services.ordering import finish_run
from survey.risk.db.services.rescoring import (
    assessed_since,
    others_to_rescore,
    rescore_others,
    rescore_touched,
    settle,
)
from survey.risk.db.services.scoring import (
    batches,
    ensure_parameters,
    learn_run,
    objects_to_score,
    score_batch,
    start_run,
)

__all__ = [
    "ask_for_next_list",
    "assessed_since",
    "batches",
    "ensure_parameters",
    "finish_run",
    "keep_next_list",
    "learn_run",
    "make_next_list",
    "objects_to_score",
    "others_to_rescore",
    "rescore_others",
    "rescore_touched",
    "score_again",
    "score_batch",
    "settle",
    "start_run",
    "stop_scoring",
    "work_out_again",
]
