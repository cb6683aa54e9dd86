"""All writing of scores."""

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
    "score_batch",
    "start_run",
]
