"""What a person decides about disagreements and about operations that wait."""

from __future__ import annotations

import json
from datetime import datetime

from django.db import transaction

from media.base import events
from media.base.errors import Clash, FettleError
from media.base.models import User
from survey.capture import operations
from survey.capture.db.models import Conflict, Field, FieldEdit, Operation, Standing, State
from survey.capture.db.selectors.naming import MODELS
from survey.capture.db.services.facts import write_fact
from survey.capture.db.services.holding import locked_object
from survey.capture.db.services.listing import name_object, write_place
from survey.capture.db.services.receiving import attempt, take_in_waiting
from survey.register.db.models import Object, Place
from survey.register.db.selectors.objects import same_number
from survey.register.db.services.objects import add_object

NOT_OPEN = "Somebody has decided this already, or it has settled by itself. Look at the list again."


@transaction.atomic
def decide_field(conflict: Conflict, edit: str, *, note: str = "", by: User, at: datetime) -> Conflict:
    """Let one side of a disagreement stand. The decision is an edit of its own that knows all the others."""
    conflict = _open(conflict)
    side = next((each for each in conflict.sides if each.get("edit") == edit), None)
    if conflict.field is None or side is None:
        raise FettleError("Choose one of the values that stand side by side.")
    field, value = conflict.field, side["value"]
    known = [str(each) for each in field.edits.values_list("uuid", flat=True)]
    FieldEdit.objects.create(field=field, value=value, after=known, by=by, at=at)
    field.shown = value
    field.save(update_fields=["shown"])
    _write(field, value, by=by, at=at)
    return _decided(conflict, {"value": value}, note, by=by, at=at)


def _write(field: Field, value: object, *, by: User, at: datetime) -> None:
    if field.kind == "object":
        write_place(field.object, str(value) if value else None, by=by, at=at)
        return
    part = MODELS[field.kind]._default_manager.select_related("restoration").filter(pk=field.thing).first()
    if part is None:
        raise Clash("This part is no longer recorded, so nothing was written.")
    write_fact(part, field.name, value, by=by, at=at)


@transaction.atomic
def let_both_stand(conflict: Conflict, *, note: str, by: User, at: datetime) -> Conflict:
    """Say that somebody has looked: what each recorded stays. What is doubled is mended on the object itself."""
    conflict = _open(conflict)
    if conflict.kind != "parts":
        raise FettleError("A fact has one value: choose one of those that stand side by side.")
    return _decided(conflict, {"both": True}, note, by=by, at=at)


def _open(conflict: Conflict) -> Conflict:
    rows = Conflict.objects.select_for_update(of=("self",)).select_related("field__object", "object")
    now = rows.get(pk=conflict.pk)
    if now.state != Standing.OPEN:
        raise Clash(NOT_OPEN)
    return now


def _decided(conflict: Conflict, decision: dict[str, object], note: str, *, by: User, at: datetime) -> Conflict:
    conflict.state, conflict.decision, conflict.note = Standing.DECIDED, decision, note.strip()[:500]
    conflict.decided_by, conflict.decided_at = by, at
    conflict.save()
    events.record(
        conflict, "decided", by=by, at=at, thread=str(conflict.object_id), note=conflict.note,
        was={"sides": conflict.sides}, became=decision,
    )  # fmt: skip
    return conflict


def take_in(row: Operation, *, by: User, at: datetime) -> Operation:
    """Try again what waits: its reason may be gone. One kept apart for its id or its place in the order is let in."""
    with transaction.atomic():
        row = _waiting(row)
        attempt(row)
        if row.state == State.APPLIED:
            _noted(row, "taken in", by=by, at=at)
    take_in_waiting()
    return row


@transaction.atomic
def set_aside(row: Operation, *, reason: str, by: User, at: datetime) -> Operation:
    """Do not take an operation in. It stays as it came, with who said so and why."""
    row = _waiting(row)
    if not reason.strip():
        raise FettleError("Say why this is set aside.")
    row.state, row.reason, row.waits_for = State.SET_ASIDE, reason.strip()[:500], None
    _noted(row, "set aside", by=by, at=at)
    return row


def add_unlisted(row: Operation, *, by: User, at: datetime) -> Object:
    """Add an object that was found on a shelf to the register, and take in what tablets told of it."""
    with transaction.atomic():
        row, operation = _unlisted(row)
        body = operation.body
        place = Place.objects.filter(pk=body["place"]).first() if body["place"] else None
        made = add_object(
            {"number": body["number"], "simple_name": body["simple_name"]}, place=place, by=by, at=at
        )  # fmt: skip
        _name(row, operation, made, by=by, at=at)
    take_in_waiting()
    return made


def say_which(row: Operation, number: str, *, by: User, at: datetime) -> Object:
    """Say which object of the register an unlisted one is, and take in what tablets told of it."""
    with transaction.atomic():
        row, operation = _unlisted(row)
        known = same_number(number)
        if known is None:
            raise FettleError(f"{number[:120]} is not in the register either: look for it as it is written there.")
        _name(row, operation, known, by=by, at=at)
    take_in_waiting()
    return known


def _unlisted(row: Operation) -> tuple[Operation, operations.Operation]:
    row = _waiting(row)
    if row.kind != "unlisted":
        raise FettleError("Only an object that no list holds can be named here.")
    return row, operations.parse(json.loads(row.raw))


def _name(row: Operation, operation: operations.Operation, known: Object, *, by: User, at: datetime) -> None:
    name_object(row, operation, locked_object(str(known.pk)))
    row.state, row.reason, row.waits_for = State.APPLIED, "", None
    _noted(row, "taken in", by=by, at=at)


def _waiting(row: Operation) -> Operation:
    now = Operation.objects.select_for_update(of=("self",)).get(pk=row.pk)
    if now.state not in (State.HELD, State.REFUSED):
        raise Clash(NOT_OPEN)
    return now


def _noted(row: Operation, verb: str, *, by: User, at: datetime) -> None:
    row.decided_by, row.decided_at = by, at
    row.save()
    thread = str(row.object_id) if row.object_id else ""
    events.record(row, verb, by=by, at=at, thread=thread, note=row.reason, became={"operation": str(row.uuid)})
