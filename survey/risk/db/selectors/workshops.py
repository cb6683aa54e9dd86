"""Joints of ageing cellulose nitrate, by who made them and by where they stand."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from uuid import UUID

from survey.condition.db.models import Workshop
from survey.register.db.models import Place, PlaceKind
from survey.risk.db.models import JointRisk, RiskRun
from survey.risk.db.selectors.details import LEVELS, certainties

NITRATE = "cellulose_nitrate"
LIKELY = 0.5  # from here a joint is counted as most likely of it


@dataclass
class Tally:
    """Joints of one group. ``nitrate`` and ``ageing`` are expected numbers: sums of chances, not counts."""

    joints: int = 0
    objects: set[UUID] = field(default_factory=set)
    not_seen: int = 0
    nitrate: float = 0.0
    ageing: float = 0.0
    likely: Counter[str] = field(default_factory=Counter)

    def add(self, thing: UUID, *, chance: float, ageing: float, seen: bool, certainty: str) -> None:
        """Count one joint: ``chance`` that it is cellulose nitrate, ``ageing`` that it is past the sound stage too."""
        self.joints += 1
        self.objects.add(thing)
        self.not_seen += not seen
        self.nitrate += chance
        self.ageing += ageing
        if chance >= LIKELY:
            self.likely[certainty] += 1

    @property
    def by_certainty(self) -> list[int]:
        """Joints most likely of cellulose nitrate by how sure that is, the surest first."""
        return [self.likely[level] for level in reversed(LEVELS)]

    @property
    def likely_joints(self) -> int:
        return sum(self.likely.values())


@dataclass(frozen=True)
class WorkshopLine:
    """A former workshop, or none where nobody knows who did it."""

    workshop: Workshop | None
    tally: Tally


@dataclass(frozen=True)
class PlaceTally:
    """A room, or what stands in none."""

    place: Place | None
    tally: Tally


@dataclass(frozen=True)
class Nitrate:
    """The whole collection, and the same by workshop and by room."""

    whole: Tally
    workshops: Sequence[WorkshopLine]
    places: Sequence[PlaceTally]


def ageing_nitrate(run: RiskRun) -> Nitrate:
    """Counts and expected numbers of all joints of a run. Four queries."""
    rows = list(
        JointRisk.objects.filter(run=run, object__withdrawn_at=None).values_list(
            "joint_id", "object_id", "class_chances", "stage", "stage_chances", "nitrate_ageing", "joint__basis",
            "joint__restoration__workshop_id", "object__place__path",
        )
    )  # fmt: skip
    levels = certainties({row[0]: row[6] for row in rows})
    rooms = _rooms()
    whole, by_workshop, by_room = Tally(), defaultdict[UUID | None, Tally](Tally), defaultdict[str, Tally](Tally)
    for joint, thing, classes, stage, now, ageing, _, workshop, path in rows:
        chance = classes.get(NITRATE, 0.0)
        both = chance * (1.0 - now[0]) if ageing is None else ageing  # old runs kept the two apart
        for tally in (whole, by_workshop[workshop], by_room[_room_of(path, rooms)]):
            tally.add(thing, chance=chance, ageing=both, seen=stage is not None, certainty=levels[joint])
    known = Workshop.objects.in_bulk([pk for pk in by_workshop if pk])
    workshops = [WorkshopLine(known[pk] if pk else None, tally) for pk, tally in by_workshop.items()]
    places = [PlaceTally(rooms.get(path), tally) for path, tally in by_room.items()]
    return Nitrate(whole, _most_first(workshops), sorted(places, key=lambda line: _walk(line.place)))


def _most_first(found: Iterable[WorkshopLine]) -> list[WorkshopLine]:
    return sorted(found, key=lambda line: (line.workshop is None, -line.tally.ageing))


def _walk(place: Place | None) -> tuple[bool, str]:
    return place is None, place.path if place else ""


def _rooms() -> dict[str, Place]:
    return {place.path: place for place in Place.objects.filter(kind=PlaceKind.ROOM)}


def _room_of(path: str | None, rooms: dict[str, Place]) -> str:
    """The path of the room that a place lies in; empty where there is none."""
    return next((room for room in rooms if path and path.startswith(room)), "")
