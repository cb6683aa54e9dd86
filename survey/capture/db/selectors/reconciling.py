"""Reading what a person must decide: disagreements, and operations that wait."""

from __future__ import annotations

import json
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from media.base.errors import NotThere
from media.base.pages import Page, keyset
from survey.capture.db.models import Conflict, Device, Operation, PhotographWanted, Standing, State
from survey.register.db.models import Place

WORDS = {
    "place": "Where it stands", "part": "Where on the object", "length_mm": "Length", "wall_mm": "Wall",
    "lever_mm": "Overhang", "held_mass_kg": "Mass that hangs on it", "structural": "Structural", "adhesive": "Adhesive",
    "material": "Material", "area_cm2": "Area", "over_original": "Over original surface",
}  # fmt: skip
UNITS = {"length_mm": "mm", "wall_mm": "mm", "lever_mm": "mm", "held_mass_kg": "kg", "area_cm2": "cm²"}


@dataclass(frozen=True)
class Side:
    """One of the values that stand side by side, in words."""

    edit: str
    who: str
    words: str


@dataclass(frozen=True)
class Question:
    """A disagreement as the page asks it."""

    conflict: Conflict
    about: str
    sides: Sequence[Side]


def open_conflicts(*, after: str | None, size: int = 30) -> Page[Conflict]:
    """Disagreements to be decided, the oldest first. One query."""
    rows = Conflict.objects.filter(state=Standing.OPEN).select_related("object", "field")
    return keyset(rows, order=["opened_at", "pk"], after=after, size=size)


def questions(rows: Sequence[Conflict]) -> list[Question]:
    """Disagreements in words. One query for the places that they name."""
    places = [side["value"] for row in rows if row.field and row.field.name == "place" for side in row.sides]
    named = {
        str(pk): name for pk, name in Place.objects.filter(pk__in=filter(None, places)).values_list("pk", "full_name")
    }
    return [_question(row, named) for row in rows]


def _question(row: Conflict, places: dict[str, str]) -> Question:
    about = WORDS.get(row.field.name, row.field.name) if row.field else "Parts recorded"
    sides = [Side(s.get("edit", ""), s["who"] or "somebody", _words(row, s["value"], places)) for s in row.sides]
    return Question(row, about, sides)


def _words(row: Conflict, value: Any, places: dict[str, str]) -> str:
    if row.field is None:
        return "recorded new parts" if value == "new parts" else "found no old restoration"
    if value is None:
        return "not known"
    if row.field.name == "place":
        return places.get(value, "a place that is gone")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return f"{value['adhesive']} ({value['basis']})".replace("_", " ")
    unit = UNITS.get(row.field.name)
    return f"{value:g}\u00a0{unit}" if unit else str(value).replace("_", " ")


def waiting(*, after: str | None, size: int = 30) -> Page[Operation]:
    """Operations that wait for a person or could not be read, the oldest first. One query."""
    rows = Operation.objects.filter(state__in=(State.HELD, State.REFUSED))
    rows = rows.select_related("device", "made_by", "delivered_by", "object")
    return keyset(rows, order=["pk"], after=after, size=size)


def told(row: Operation) -> dict[str, Any]:
    """What an operation says, as it came."""
    found = json.loads(row.raw)
    return found if isinstance(found, dict) else {}


def devices() -> list[Device]:
    """Tablets, the latest seen first, a hundred at most."""
    return list(Device.objects.select_related("last_by").order_by("-last_seen_at")[:100])


def photographs_missing() -> int:
    """Photographs that assessments name and that have not come."""
    return PhotographWanted.objects.filter(attached_at=None, refused="").count()


def the_conflict(pk: uuid.UUID) -> Conflict:
    """Raises ``NotThere``."""
    found = Conflict.objects.filter(pk=pk).first()
    if found is None:
        raise NotThere("This disagreement does not exist. Look at the list again.")
    return found


def the_operation(pk: int) -> Operation:
    """Raises ``NotThere``."""
    found = Operation.objects.filter(pk=pk).first()
    if found is None:
        raise NotThere("This operation does not exist. Look at the list again.")
    return found
