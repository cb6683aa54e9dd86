"""Adding, changing, moving and withdrawing objects by hand."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from media.base import events
from media.base.errors import Clash, FettleError
from media.base.models import User
from survey.register.db.models import Object, ObjectMove, Place
from survey.register.db.selectors.objects import moves_of, open_checklists_of, same_number
from survey.register.deciding import number_key

FIELDS = (
    "number", "simple_name", "title", "description", "material", "classification", "department", "body",
    "date_text", "date_earliest", "date_latest", "height_mm", "width_mm", "depth_mm", "diameter_mm", "mass_kg",
    "credit_line", "acquired_on", "significance", "restriction", "place_text",
)  # fmt: skip
"""What a person may say of an object by form."""


@transaction.atomic
def add_object(values: Mapping[str, Any], *, place: Place | None = None, by: User | None, at: datetime) -> Object:
    """Add one object to the register, standing at ``place`` if that is known."""
    thing = Object(**{name: values[name] for name in FIELDS if name in values}, place=place)
    _number(thing)
    try:
        with transaction.atomic():
            thing.save(force_insert=True)
    except IntegrityError as error:
        raise Clash(f"The number {thing.number} has just been given to another object: look at that one.") from error
    became = {name: value for name, value in values.items() if name in FIELDS and value not in (None, "")}
    events.record(thing, "added", by=by, at=at, became=became, thread=str(thing.pk))
    if place:
        _note_move(thing, None, place, reason="Added to the register", by=by, at=at)
    return thing


@transaction.atomic
def change_object(thing: Object, values: Mapping[str, Any], *, by: User | None, at: datetime) -> Object:
    """Change what the register says of an object; what was and what became is kept."""
    thing = _held(thing)
    was = {name: getattr(thing, name) for name in FIELDS if name in values}
    changed = [name for name in was if was[name] != values[name]]
    if not changed:
        return thing
    for name in changed:
        setattr(thing, name, values[name])
    _number(thing)
    try:
        with transaction.atomic():
            thing.save(update_fields=[*changed, "number_key"])
    except IntegrityError as error:
        raise Clash(f"The number {thing.number} has just been given to another object: look at that one.") from error
    events.record(
        thing, "changed", by=by, at=at, thread=str(thing.pk),
        was={name: was[name] for name in changed}, became={name: values[name] for name in changed},
    )  # fmt: skip
    return thing


@transaction.atomic
def move_object(
    thing: Object, place: Place | None, *, reason: str = "", by: User | None, at: datetime
) -> ObjectMove | None:
    """Say that an object now stands elsewhere (none: its place is not known). None if it already stands there."""
    thing = _held(thing)
    left = thing.place
    if (place.pk if place else None) == thing.place_id:
        return None
    thing.place = place
    thing.save(update_fields=["place"])
    return _note_move(thing, left, place, reason=reason, by=by, at=at)


@transaction.atomic
def undo_last_move(thing: Object, *, by: User | None, at: datetime) -> ObjectMove:
    """Put an object back where its last move took it from. The record keeps both."""
    thing = _held(thing)
    last = next(iter(moves_of(thing)), None)
    if last is None:
        raise Clash("This object has never been moved, so there is nothing to undo.")
    move = move_object(thing, last.from_place, reason="Last move undone", by=by, at=at)
    if move is None:
        raise Clash("This object already stands where its last move took it from.")
    return move


@transaction.atomic
def withdraw_object(thing: Object, *, reason: str, by: User | None, at: datetime) -> Object:
    """Take an object out of the register; its record stays."""
    thing = _held(thing)
    if thing.withdrawn_at:
        raise Clash("This object has already left the register.")
    if not reason.strip():
        raise FettleError("Say why the object leaves the register.")
    if wanting := open_checklists_of(thing):
        names = ", ".join(each.name for each in wanting)
        raise Clash(f"The object is on the checklist of {names}: take it off there first.")
    thing.withdrawn_at = at
    thing.save(update_fields=["withdrawn_at"])
    events.record(
        thing, "withdrawn", by=by, at=at, thread=str(thing.pk),
        was={"withdrawn_at": None}, became={"withdrawn_at": at}, note=reason.strip(),
    )  # fmt: skip
    return thing


@transaction.atomic
def take_back_object(thing: Object, *, by: User | None, at: datetime) -> Object:
    """Put a withdrawn object back into the register."""
    thing = _held(thing)
    if thing.withdrawn_at is None:
        raise Clash("This object is in the register already.")
    was = thing.withdrawn_at
    thing.withdrawn_at = None
    thing.save(update_fields=["withdrawn_at"])
    events.record(
        thing, "taken back", by=by, at=at, thread=str(thing.pk),
        was={"withdrawn_at": was}, became={"withdrawn_at": None},
    )  # fmt: skip
    return thing


def _held(thing: Object) -> Object:
    return Object.objects.select_for_update(of=("self",)).select_related("place").get(pk=thing.pk)


def _number(thing: Object) -> None:
    """Set the number's key; refuse a number that is missing or already given."""
    thing.number = " ".join(thing.number.split())
    thing.number_key = number_key(thing.number)
    if not thing.number_key:
        raise FettleError("Give the object its accession number.")
    if other := same_number(thing.number, apart_from=thing.pk):
        left = ", which has left the register" if other.withdrawn_at else ""
        raise Clash(f"The number {thing.number} belongs to another object{left}: each number is given once.")


def _note_move(
    thing: Object, left: Place | None, place: Place | None, *, reason: str, by: User | None, at: datetime
) -> ObjectMove:
    move = ObjectMove.objects.create(
        object=thing, from_place=left, to_place=place, at=at, by=by, reason=reason.strip()[:300]
    )
    events.record(
        thing, "moved", by=by, at=at, thread=str(thing.pk), note=move.reason,
        was={"place": left.full_name if left else None}, became={"place": place.full_name if place else None},
    )  # fmt: skip
    return move
