"""Operations as a tablet writes them, with only what a test is about written out."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime, timedelta
from itertools import count
from typing import Any

from media.base.models import User
from survey.models import Joint, Object
from tests.builders import NOW

CLEAR: dict[str, Any] = {
    "round": None, "definitions": 1, "visit": "round", "seconds": 40, "found": "here", "place_found": None,
    "old_restoration": "none", "instability": "good", "damage": "good", "disfigurement": "good", "handling": "free",
    "observation": "", "interpretation": "", "as_last_time": None, "restorations": [], "parts": [], "views": {},
}  # fmt: skip


class Tablet:
    """One tablet with its own order and clock; ``by`` is whoever holds it."""

    def __init__(self, by: User, *, name: str | None = None, ahead: timedelta = timedelta(0)) -> None:
        self.id = name or str(uuid.uuid4())
        self.by, self.ahead = by, ahead
        self.sequence = count(1)
        self.clock = NOW

    def tick(self, minutes: float = 1) -> datetime:
        """A while later; the tablet's own clock then."""
        self.clock += timedelta(minutes=minutes)
        return self.clock + self.ahead

    def operation(self, kind: str, object_id: Any, body: Mapping[str, Any], **fields: Any) -> dict[str, Any]:
        return {
            "id": str(uuid.uuid4()), "device": self.id, "sequence": next(self.sequence), "schema_version": 1,
            "kind": kind, "object_id": str(object_id), "based_on": {}, "body": dict(body), "photographs": [],
            "made_by": self.by.pk, "wall_clock": self.tick().isoformat(), "monotonic": 1000.5,
        } | fields  # fmt: skip

    def assesses(
        self,
        thing: Object | str,
        *,
        photographs: Mapping[str, str] | None = None,
        place: Any = None,
        after: list[str] | None = None,
        known: list[str] | None = None,
        **body: Any,
    ) -> dict[str, Any]:
        """A finished assessment; of an object that gives no cause for remark unless said."""
        if isinstance(thing, Object):
            place = place or thing.place_id
        views = dict(photographs or {})
        here = str(place) if place else None
        based = {"after": after or [], "value": here, "here": here, "assessments": known or []}
        key = thing.pk if isinstance(thing, Object) else thing
        return self.operation(
            "assessment", key, CLEAR | {"views": views} | body, based_on=based, photographs=list(views)
        )  # fmt: skip

    def changes(
        self, joint: Joint | str, field: str, value: Any, *, was: Any, after: list[str] | None = None,
        thing: Object | None = None, kind: str = "joint",
    ) -> dict[str, Any]:  # fmt: skip
        """A lasting fact of a part, changed."""
        owner = thing.pk if thing else joint.restoration.object_id  # type: ignore[union-attr]  # a row if no object is said
        name = joint if isinstance(joint, str) else str(joint.pk)
        body = {"thing": kind, "id": name, "field": field, "value": value}
        return self.operation("fact", owner, body, based_on={"after": after or [], "value": was})

    def draws(self, thing: Object | str, sha256: str, *marks: Mapping[str, Any], after: list[str] | None = None,
              **drawing: Any) -> dict[str, Any]:  # fmt: skip
        """What was drawn on a photograph."""
        whole = {"width": 800, "height": 600, "scale": None, "marks": list(marks)} | drawing
        body = {"photograph": sha256, "drawing": whole}
        key = thing.pk if isinstance(thing, Object) else thing
        return self.operation("markup", key, body, based_on={"after": after or []})

    def finds(self, number: str, place: Any = None, **body: Any) -> dict[str, Any]:
        """An object that is not on its list."""
        told = {"number": number, "simple_name": "bowl", "place": str(place) if place else None, "note": ""} | body
        return self.operation("unlisted", uuid.uuid4(), told)


def joint_seen(
    joint: Joint | str, stage: int | None = 0, *, made: Mapping[str, Any] | None = None,
    restoration: str | None = None, signs: Mapping[str, int | None] | None = None, **fields: Any,
) -> dict[str, Any]:  # fmt: skip
    """A joint as one assessment saw it; ``made`` if the tablet recorded it first."""
    return {
        "kind": "joint", "id": joint if isinstance(joint, str) else str(joint.pk), "made": made,
        "new": made is not None, "restoration": restoration, "stage": stage,
        "answer": "seen" if stage is not None else "not_seen",
        "signs": [{"code": c, "answer": "present", "extent_percent": e} for c, e in (signs or {}).items()],
        "evidence": [],
    } | fields  # fmt: skip


def a_restoration(**fields: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "date_text": "about 1950", "workshop": "", "notes": ""} | fields


def restored(*parts: Mapping[str, Any], **body: Any) -> dict[str, Any]:
    """The body of an object with old restoration."""
    return {"old_restoration": "present", "damage": "fair", "handling": "care", "parts": list(parts)} | body
