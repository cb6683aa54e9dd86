"""All writing of scores."""

from survey.risk.db.services.asking import score_again, stop_scoring
from survey.risk.db.services.scoring import (
    batches,
    collection_weight,
    ensure_parameters,
    finish_run,
    objects_to_score,
    score_batch,
    start_run,
)

__all__ = [
    "batches",
    "collection_weight",
    "ensure_parameters",
    "finish_run",
    "objects_to_score",
    "score_again",
    "score_batch",
    "start_run",
    "stop_scoring",
]
