"""Objects that nobody has surveyed, and what looks have found in the rooms around them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple
from uuid import UUID

from django.db.models import Exists, OuterRef

from survey.condition.db.models import AdhesiveEvidence, Answer, Found, Joint, Visit
from survey.condition.db.selectors import standing
from survey.register.db.models import ChecklistEntry, Exhibition, Object, Place, PlaceKind

ANSWERED = (Answer.PRESENT, Answer.NONE)


class Unsurveyed(NamedTuple):
    """An object of which nobody has said whether it has old restoration; ``room`` is a path, empty if not known."""

    id: UUID
    significance: int | None
    importance: int | None
    use: str
    room: str
    missing: bool


@dataclass
class Room:
    """What looks in the round found in a room. Looks made because something looked bad would make it look worse."""

    name: str
    looked: int = 0
    restored: int = 0


def rooms() -> dict[str, str]:
    """Name of each room by its path. One query."""
    return dict(Place.objects.filter(kind=PlaceKind.ROOM).values_list("path", "name"))


def room_of(path: str | None, known: Mapping[str, str]) -> str:
    """The path of the room that a place lies in, or empty."""
    parts = (path or "").split(".")
    return next((at for end in range(1, len(parts)) if (at := ".".join(parts[:end]) + ".") in known), "")


def unsurveyed(exhibition: Exhibition | None, known: Mapping[str, str]) -> list[Unsurveyed]:
    """Objects of the register that nobody has surveyed and of which no joint is on record. Three queries."""
    answered = standing().filter(object=OuterRef("pk"), old_restoration__in=ANSWERED)
    joints = Joint.objects.filter(ended_at=None, restoration__object=OuterRef("pk"))
    rows = Object.objects.filter(~Exists(answered), ~Exists(joints), withdrawn_at=None).order_by("pk")
    listed: dict[UUID, tuple[int | None, str]] = {}
    if exhibition:
        entries = ChecklistEntry.objects.filter(exhibition=exhibition, removed_at=None)
        listed = {pk: (importance, use) for pk, importance, use in entries.values_list("object", "importance", "use")}
    missing = set(standing().filter(found=Found.MISSING).values_list("object_id", flat=True))
    return [
        Unsurveyed(pk, significance, *listed.get(pk, (None, "")), room_of(path, known), pk in missing)
        for pk, significance, path in rows.values_list("pk", "significance", "place__path").iterator(5_000)
    ]


def looks_by_room(known: Mapping[str, str]) -> dict[str, Room]:
    """Objects whose old restoration a look in the round has decided, by room; empty path for no room. One query."""
    rows = standing().filter(visit=Visit.ROUND, old_restoration__in=ANSWERED, object__withdrawn_at=None)
    last = {
        pk: (answer, path)
        for pk, answer, path in rows.order_by("started_at", "finished_at").values_list(
            "object_id", "old_restoration", "object__place__path"
        )
    }
    found: dict[str, Room] = defaultdict(lambda: Room(""))
    for answer, path in last.values():
        at = room_of(path, known)
        room = found.setdefault(at, Room(known.get(at, "")))
        room.looked += 1
        room.restored += answer == Answer.PRESENT
    return found


def tests_made() -> dict[UUID, set[str]]:
    """Kinds of test, as the likelihood table names them, that each joint has had. One query."""
    made: dict[UUID, set[str]] = defaultdict(set)
    for joint, basis, finding in AdhesiveEvidence.objects.values_list("joint_id", "basis", "finding"):
        made[joint].add(f"{finding.partition('_')[0]}_test" if basis == "spot_test" else basis)
    return made


def restricted() -> set[UUID]:
    """Objects with a restriction on record: evidence to be kept, or an agreement that is needed. One query."""
    return set(Object.objects.exclude(restriction="").filter(withdrawn_at=None).values_list("pk", flat=True))
