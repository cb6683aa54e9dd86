"""What a tablet's own names mean here."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import Model

from survey.capture.db.models import Made
from survey.condition.db.models import Fill, Joint, Overpaint, Restoration

MODELS: dict[str, type[Joint] | type[Fill] | type[Overpaint]] = {"joint": Joint, "fill": Fill, "overpaint": Overpaint}
Thing = Joint | Fill | Overpaint


def row_id(name: str, kind: str) -> uuid.UUID:
    """The key of the row that a tablet means: of a thing that it made, or the name itself."""
    made = Made.objects.filter(client_id=name, kind=kind).first()
    return made.row_id if made else uuid.UUID(name)


def the_part(kind: str, name: str, object_id: uuid.UUID) -> Thing | None:
    """A part of an object, also one that was taken down since; none if it is not known."""
    rows = MODELS[kind]._default_manager.select_related("restoration")
    found: Thing | None = rows.filter(pk=row_id(name, kind), restoration__object=object_id).first()
    return found


def the_campaign(name: str, object_id: uuid.UUID) -> Restoration | None:
    """A restoration of an object; none if it is not known."""
    return Restoration.objects.filter(pk=row_id(name, "restoration"), object=object_id).first()


def fact_of(thing: Thing, field: str) -> Any:
    """A lasting fact of a part as operations write it; None where not known."""
    if field == "adhesive":
        adhesive, basis = getattr(thing, "adhesive", ""), getattr(thing, "basis", "")
        return {"adhesive": adhesive, "basis": basis} if adhesive else None
    value = getattr(thing, field)
    return None if value == "" and field != "part" else value


def columns_of(field: str, value: Any) -> dict[str, Any]:
    """A fact as the columns of its row hold it."""
    if field == "adhesive":
        return dict(value) if value else {"adhesive": "", "basis": ""}
    if field == "material":
        return {field: value or ""}
    return {field: value}


def known_as(row: Model) -> str:
    """How an event names a part."""
    return str(getattr(row, "label", row.pk))
