"""What was drawn on a photograph on a tablet: kept as it was drawn, beside whatever others drew."""

from __future__ import annotations

import uuid
from dataclasses import replace

from media.markup.db.services import add_version
from survey.capture import operations
from survey.capture.db.models import Operation
from survey.capture.db.selectors.naming import the_part
from survey.capture.db.services.holding import Held, locked_object
from survey.condition.marking import parts_in


def keep_markup(row: Operation, operation: operations.Operation) -> None:
    """Add a version with the parts named as they are here; the photograph itself may come later. Raises ``Held``."""
    thing = locked_object(operation.object_id)
    row.object = thing
    drawing = operation.body["drawing"]
    here: dict[str | None, str | None] = {None: None}
    for name, kind in parts_in(drawing).items():
        part = the_part(kind, name, thing.pk)
        if part is None:
            raise Held(f"A {kind} that is drawn on a photograph is not recorded here.", waits_for=name)
        here[name] = str(part.pk)
    named = replace(drawing, marks=tuple(replace(mark, target=here[mark.target]) for mark in drawing.marks))
    # An id that came twice with different bodies names the version of the first only.
    version = uuid.uuid4() if row.clash or row.uuid is None else uuid.UUID(str(row.uuid))
    add_version(
        operation.body["photograph"], named, after=operation.based_on["after"], by=row.made_by,
        at=row.happened_at or row.received_at, thread=str(thing.pk), id=version,
    )  # fmt: skip
