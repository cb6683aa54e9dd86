"""Keeping what is drawn on photographs of objects, and taking what it measures into the record."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.db import transaction

from media.base import events, jobs
from media.base.errors import FettleError
from media.base.models import User
from media.markup.db.models import Markup
from media.markup.db.services import add_version
from media.markup.geometry import BadMarkup, Drawing
from survey.condition import marking
from survey.condition.db.models import ObjectPhotograph
from survey.condition.db.selectors.marking import the_part
from survey.condition.db.services.finishing import RESCORE
from survey.condition.db.services.restoring import SIZES
from survey.condition.marking import UNITS


@transaction.atomic
def draw_on(
    taken: ObjectPhotograph,
    drawing: Drawing,
    *,
    after: Collection[str],
    into_record: Collection[str] = (),
    by: User,
    at: datetime,
) -> Markup:
    """Keep a drawing, and write what it measures of the parts ``into_record`` (their ids) to those parts.

    Raises ``FettleError`` for a part that is not on the object, and for one that is not measured; then nothing is kept.
    """
    thing = taken.object
    try:
        kinds = marking.parts_in(drawing)
    except BadMarkup as error:
        raise FettleError(str(error)) from error
    parts = {key: the_part(kind, key, thing) for key, kind in kinds.items()}
    made = add_version(taken.photograph_id, drawing, after=after, by=by, at=at, thread=str(thing.pk))
    measured = marking.facts(drawing)
    changed = False
    for key in into_record:
        if key not in parts or key not in measured:
            raise FettleError("Only what is drawn and measured can be taken into the record: mark a known size first.")
        field, value = measured[key]
        part = parts[key]
        called, most, unit = SIZES[field]
        if value > most:
            raise FettleError(f"{part.label}: a {called} of {value:g} {unit} cannot be. Look at the known size again.")
        was = getattr(part, field)
        if was == value:
            continue
        setattr(part, field, value)
        part.save(update_fields=[field])
        note = f"{part.label}: {called} {value:g} {UNITS[field]}, measured on a photograph"
        events.record(
            part, "changed", by=by, at=at, thread=str(thing.pk), note=note,
            was={field: was}, became={field: value, "markup": str(made.pk)},
        )  # fmt: skip
        changed = True
    if changed and RESCORE in jobs.registered():
        jobs.enqueue(RESCORE, by=by, title=f"Score {thing.number} again", objects=[str(thing.pk)])
    return made
