"""Edits of lasting facts: kept all, the disagreeing ones shown to a person."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from media.base import events
from media.base.models import User
from survey.capture.db.models import Conflict, Field, FieldEdit, Operation, Standing
from survey.capture.edits import Edit, sides, standing
from survey.capture.operations import canonical
from survey.register.db.models import Object


@dataclass(frozen=True)
class About:
    """A field of a thing, and what stands in its row now."""

    object: Object
    kind: str
    thing: uuid.UUID
    name: str
    current: Any


def note_edit(
    about: About, value: Any, *, expected: Any, after: Sequence[str], row: Operation, by: User | None, at: datetime
) -> Any:
    """Keep an edit and return what the field should say now; the caller writes that.

    ``expected`` is what the field said when the tablet last heard from here. A row that says neither that nor what was
    last written here was changed at a desk meanwhile: that counts as an edit of its own, made with sight of all that
    had arrived, and stays until a person decides.
    """
    field, _ = Field.objects.get_or_create(
        thing=about.thing, name=about.name,
        defaults={"object": about.object, "kind": about.kind, "shown": expected},
    )  # fmt: skip
    if canonical(about.current) != canonical(field.shown):
        _note_desk(field, about.current, at)
    # An id that came twice with different bodies names the edit of the first only.
    name = uuid.uuid4() if row.clash or row.uuid is None else row.uuid
    known = [*after, *(each for each in _desk_edits(field, expected) if each not in after)]
    FieldEdit.objects.create(uuid=name, field=field, operation=row, value=value, after=known, by=by, at=at)
    edits = edits_of(field)
    shown = _shown(edits, str(name), about.current)
    field.shown = shown
    field.save(update_fields=["shown"])
    judge(field, edits, at=at)
    return shown


def keep_as_it_was(about: About, *, at: datetime) -> None:
    """Keep what the register says of a field as an edit of its own, before something new is said of it."""
    field, new = Field.objects.get_or_create(
        thing=about.thing, name=about.name,
        defaults={"object": about.object, "kind": about.kind, "shown": about.current},
    )  # fmt: skip
    if new:
        _note_desk(field, about.current, at)


def _note_desk(field: Field, value: Any, at: datetime) -> None:
    known = [edit.id for edit in standing(edits_of(field))]
    FieldEdit.objects.create(field=field, value=value, after=known, by=None, at=at)


def _desk_edits(field: Field, value: Any) -> list[str]:
    """Edits at a desk that a tablet knew by their value: a pack holds that, before the edit has an id here."""
    rows = field.edits.filter(operation=None, by=None).values_list("uuid", "value")
    return [str(name) for name, said in rows if canonical(said) == canonical(value)]


def edits_of(field: Field) -> list[Edit]:
    """All edits of a field in the order in which they arrived."""
    rows = field.edits.order_by("pk").select_related("operation")
    return [
        Edit(
            id=str(row.uuid),
            value=row.value,
            after=frozenset(row.after),
            device=str(row.operation.device_id) if row.operation else None,
            sequence=row.operation.sequence if row.operation else None,
        )
        for row in rows
    ]


def _shown(edits: Sequence[Edit], arrived: str, current: Any) -> Any:
    """The one value that stands; of several the newest to arrive, but never over what was written at a desk."""
    stand = sides(edits)
    if len(stand) == 1:
        return stand[0].value
    at_desk = any(edit.device is None for edit in standing(edits))  # also where a tablet says the same
    newest = next((edit for edit in stand if edit.id == arrived), None)
    return newest.value if newest and not at_desk else current


def judge(field: Field, edits: Sequence[Edit], *, at: datetime) -> None:
    """Open, renew or settle the disagreement about a field."""
    stand = sides(edits)
    key = f"field:{field.pk}"
    there = Conflict.objects.filter(key=key, state=Standing.OPEN).first()
    if len(stand) > 1:
        told = [_side(each) for each in stand]
        if there is None:
            there = Conflict.objects.create(
                kind="field", key=key, object=field.object, field=field, sides=told, opened_at=at
            )
            events.record(there, "opened", by=None, at=at, thread=str(field.object_id), became={"sides": told})
        elif there.sides != told:
            there.sides = told
            there.save(update_fields=["sides"])
    elif there:
        there.state, there.decided_at = Standing.SETTLED, at
        there.save(update_fields=["state", "decided_at"])
        events.record(there, "settled", by=None, at=at, thread=str(field.object_id))


def _side(edit: Edit) -> dict[str, Any]:
    row = FieldEdit.objects.select_related("by", "operation").get(uuid=edit.id)
    return {
        "edit": edit.id,
        "operation": str(row.operation.uuid) if row.operation else None,
        "value": edit.value,
        "by": row.by_id,
        "who": row.by.shown if row.by else "at a desk",
    }
