"""Keeping what was drawn."""

from __future__ import annotations

import uuid
from collections.abc import Collection
from datetime import datetime

from django.db import transaction

from media.base import events
from media.base.errors import FettleError
from media.base.models import User
from media.markup import geometry
from media.markup.db.models import Markup
from media.markup.geometry import Drawing
from media.photographs.db.models import Photograph


@transaction.atomic
def add_version(
    sha256: str,
    drawing: Drawing,
    *,
    after: Collection[str],
    by: User | None,
    at: datetime,
    thread: str = "",
    id: uuid.UUID | None = None,
) -> Markup:
    """Keep a drawing as a new version, which takes the place of those of its own author that it was made ``after``.

    Whoever else drew keeps what they drew. Which versions stand does not depend on the order in which they arrive.
    Raises ``FettleError`` if the photograph is here and of another size.
    """
    _fits(sha256, drawing)
    there = list(Markup.objects.select_for_update().filter(sha256=sha256, author=by))
    made = Markup.objects.create(
        id=id or uuid.uuid4(), sha256=sha256, author=by, at=at, drawing=geometry.write(drawing), after=sorted(after),
    )  # fmt: skip
    known = {str(row.pk): row for row in there}
    for name in made.after:
        if name in known and not known[name].overtaken:
            known[name].overtaken = True
            known[name].save(update_fields=["overtaken"])
    if any(str(made.pk) in row.after for row in there):
        made.overtaken = True
        made.save(update_fields=["overtaken"])
    counted = {"marks": len(drawing.marks), "scale": drawing.scale is not None}
    events.record(
        made, "drawn", by=by, at=at, thread=thread, was={"versions": sorted(after)},
        became={"photograph": sha256, **counted}, note=_words(drawing),
    )  # fmt: skip
    return made


def _fits(sha256: str, drawing: Drawing) -> None:
    photograph = Photograph.objects.filter(pk=sha256).first()
    if photograph and (photograph.width, photograph.height) != (drawing.width, drawing.height):
        raise FettleError(
            f"This was drawn on a picture of {drawing.width} × {drawing.height} pixels; the photograph has "
            f"{photograph.width} × {photograph.height}. Draw it again on the photograph itself."
        )


def _words(drawing: Drawing) -> str:
    count = len(drawing.marks)
    return f"{count} mark{'' if count == 1 else 's'} on a photograph"
