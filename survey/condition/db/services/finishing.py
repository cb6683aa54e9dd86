"""Freezing an assessment."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from media.base import events, jobs
from media.base.errors import FettleError
from media.base.models import User
from survey.condition.db.models import Assessment, Found
from survey.condition.db.selectors.missing import what_is_missing
from survey.condition.db.services.steps import held
from survey.register.db.models import Place
from survey.register.db.services.objects import move_object

RESCORE = "survey.risk.rescore"


class NotComplete(FettleError):
    """What still has to be said before the assessment can be frozen; ``missing`` holds one sentence each."""

    def __init__(self, missing: list[str]) -> None:
        super().__init__(" ".join(missing))
        self.missing = missing


@transaction.atomic
def finish_assessment(assessment: Assessment, *, by: User | None, at: datetime) -> Assessment:
    """Freeze an assessment, and have its object scored again. Raises ``NotComplete`` with all that is missing."""
    assessment = held(assessment)
    missing = what_is_missing(assessment)
    if missing:
        raise NotComplete([each.words for each in missing])
    assessment.finished_at = max(at, assessment.started_at)
    assessment.save(update_fields=["finished_at"])
    events.record(assessment, "finished", by=by, at=at, thread=str(assessment.object_id), became={"finished_at": at})
    if assessment.found == Found.ELSEWHERE and assessment.place_found_id:
        place = Place.objects.get(pk=assessment.place_found_id)
        move_object(assessment.object, place, reason="Found there in a survey", by=by, at=at)
    if RESCORE in jobs.registered():
        title = f"Score {assessment.object.number} again"
        jobs.enqueue(RESCORE, by=by, title=title, objects=[str(assessment.object_id)])
    return assessment
