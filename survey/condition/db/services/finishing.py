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
    _move_if_found_elsewhere(assessment, by=by, at=at)
    if RESCORE in jobs.registered():
        title = f"Score {assessment.object.number} again"
        jobs.enqueue(RESCORE, by=by, title=title, objects=[str(assessment.object_id)])
    return assessment


def _move_if_found_elsewhere(assessment: Assessment, *, by: User | None, at: datetime) -> None:
    """Say in the register where the object stands; not again for a correction that only repeats it."""
    place = assessment.place_found_id
    said_before = assessment.corrects.place_found_id if assessment.corrects else None
    if assessment.found == Found.ELSEWHERE and place and place != said_before:
        found = Place.objects.get(pk=place)
        move_object(assessment.object, found, reason="Found there in a survey", by=by, at=at)
