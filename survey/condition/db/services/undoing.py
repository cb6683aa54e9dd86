"""Taking back the last touch of an open assessment, and discarding one altogether."""

from __future__ import annotations

from datetime import datetime
from typing import Any, cast

from django.db import models, transaction
from django.db.models import ProtectedError

from media.base import events
from media.base.errors import Clash
from media.base.models import Event, User
from survey.condition.db.models import Assessment
from survey.condition.db.selectors.assessments import last_step, payload
from survey.condition.db.services.seeing import set_state
from survey.condition.db.services.steps import ROWS, Thing, held


@transaction.atomic
def undo(assessment: Assessment, *, by: User | None, at: datetime) -> str:
    """Take back the last step; returns what was taken back, in words. The record keeps both."""
    assessment = held(assessment)
    words = _take_back(assessment)
    if words is None:
        raise Clash("There is nothing left to take back in this assessment.")
    step, said = words
    events.record(
        assessment, "took back", by=by, at=at, thread=str(assessment.object_id), became={"step": step}, note=said
    )
    return said


def _take_back(assessment: Assessment) -> tuple[str, str] | None:
    step = last_step(assessment)
    if step is None:
        return None
    try:
        with transaction.atomic():
            for event in step.events:
                _reverse(assessment, event)
    except ProtectedError as error:
        raise Clash("Somebody else has since looked at the same part, so it stays. Say what you see of it.") from error
    return step.id, step.words


def _reverse(assessment: Assessment, event: Event) -> None:
    """Undo one event; rows that are gone already need nothing."""
    became, was = payload(event), cast(dict[str, Any], event.was)["fields"]
    model = ROWS[became["what"]]
    row = model._default_manager.filter(pk=became["id"]).first()
    if event.verb == "removed":
        _restored(model, was).save(force_insert=True)
    elif row is None:
        return
    elif event.verb == "added":
        row.delete()
    elif event.verb == "saw":
        set_state(assessment, cast(Thing, row), was)
    else:
        for field in model._meta.concrete_fields:
            if field.attname in was:
                setattr(row, field.attname, field.to_python(was[field.attname]))
        row.save()


def _restored(model: type[models.Model], values: dict[str, Any]) -> models.Model:
    fields = model._meta.concrete_fields
    return model(**{field.attname: field.to_python(values[field.attname]) for field in fields})


@transaction.atomic
def discard_assessment(assessment: Assessment, *, by: User | None, at: datetime) -> None:
    """Throw an unfinished assessment away, with all that was added in it and that nobody else has looked at since."""
    assessment = held(assessment)
    while (step := last_step(assessment)) is not None:
        try:
            with transaction.atomic():
                for event in step.events:
                    _reverse(assessment, event)
        except ProtectedError:
            pass  # another surveyor has looked at this part: it is theirs now as well
        events.record(assessment, "took back", by=by, at=at, thread=str(assessment.object_id), became={"step": step.id})
    events.record(assessment, "discarded", by=by, at=at, thread=str(assessment.object_id))
    for rows in (assessment.signs, assessment.joints_seen, assessment.photographs):
        rows.all().delete()
    assessment.delete()
