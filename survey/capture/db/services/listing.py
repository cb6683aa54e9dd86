"""Objects found on a shelf that the tablet's list does not hold."""

from __future__ import annotations

from datetime import datetime

from media.base.models import User
from survey.capture import operations
from survey.capture.db.models import Made, Operation
from survey.capture.db.services.holding import Held, locked_object
from survey.capture.db.services.settling import About, keep_as_it_was, note_edit
from survey.condition.db.selectors.walking import by_number
from survey.register.db.models import Object, Place
from survey.register.db.services.objects import move_object

FOUND_THERE = "Found there in a survey"


def find_unlisted(row: Operation, operation: operations.Operation) -> None:
    """Know the object by its number and where it was found. One that the register lacks waits for a conservator."""
    number = operation.body["number"]
    known = by_number(number)
    if known is None:
        raise Held(f"{number} is not in the register: add it there, or say which object it is.")
    name_object(row, operation, known)


def name_object(row: Operation, operation: operations.Operation, known: Object) -> None:
    """Say which object of the register an unlisted one is."""
    thing = locked_object(str(known.pk))
    row.object = thing
    Made.objects.get_or_create(
        client_id=operation.object_id, defaults={"kind": "object", "row_id": thing.pk, "operation": row}
    )
    if operation.body["place"]:
        here = str(thing.place_id) if thing.place_id else None
        at = row.happened_at or row.received_at
        # Whoever found it had no list that says where it belongs: that goes on record beside the find.
        keep_as_it_was(About(thing, "object", thing.pk, "place", here), at=at)
        note_place(row, thing, operation.body["place"], expected=here, after=(), by=row.made_by, at=at)


def note_place(
    row: Operation,
    thing: Object,
    place: str | None,
    *,
    expected: str | None,
    after: tuple[str, ...],
    by: User | None,
    at: datetime,
) -> None:
    """Keep where an object was found, and move it there in the register unless that would hide a move made since."""
    current = str(thing.place_id) if thing.place_id else None
    about = About(thing, "object", thing.pk, "place", current)
    shown = note_edit(about, place, expected=expected, after=after, row=row, by=by, at=at)
    write_place(thing, shown, by=by, at=at)


def write_place(thing: Object, place: str | None, *, by: User | None, at: datetime) -> None:
    """Make the register say where an object stands. Raises ``Held`` if there is no such place any more."""
    found = Place.objects.filter(pk=place).first() if place else None
    if place and found is None:
        raise Held("The place where it was found is not among the places any more: say where it stands.")
    move_object(thing, found, reason=FOUND_THERE, by=by, at=at)
