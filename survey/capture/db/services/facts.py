"""One lasting fact of a joint, fill or overpaint, changed on a tablet."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from media.base import events
from media.base.models import User
from survey.capture import operations
from survey.capture.db.models import Operation
from survey.capture.db.selectors.naming import Thing, columns_of, fact_of, the_part
from survey.capture.db.services.holding import Held, locked_object
from survey.capture.db.services.settling import About, note_edit


def change_fact(row: Operation, operation: operations.Operation) -> None:
    """Write a fact, unless somebody unaware of it said otherwise and it must not be written over. Raises ``Held``."""
    thing = locked_object(operation.object_id)
    body, at = operation.body, row.happened_at or row.received_at
    part = the_part(body["thing"], body["id"], thing.pk)
    if part is None:
        raise Held("The part of which this speaks is not recorded here.", waits_for=body["id"])
    row.object = thing
    about = About(thing, body["thing"], part.pk, body["field"], fact_of(part, body["field"]))
    seen = operation.based_on
    shown = note_edit(about, body["value"], expected=seen["value"], after=seen["after"], row=row, by=row.made_by, at=at)
    write_fact(part, body["field"], shown, by=row.made_by, at=at)


def write_fact(part: Thing, field: str, value: Any, *, by: User | None, at: datetime) -> None:
    """Make a part's row say a fact, with its event; nothing if it says so already."""
    columns = columns_of(field, value)
    was = {name: getattr(part, name) for name in columns}
    if was == columns:
        return
    for name, each in columns.items():
        setattr(part, name, each)
    part.save(update_fields=list(columns))
    thread = str(part.restoration.object_id)
    note = f"{part.label}: {field.replace('_', ' ')}"
    events.record(part, "changed", by=by, at=at, thread=thread, was=was, became=columns, note=note)
