"""Which labels are to be printed, and what stands on them."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from django.contrib.staticfiles import finders
from django.db.models import Q, QuerySet

from survey.register.db.models import Exhibition, Object, Place, PlaceKind
from survey.register.db.selectors.exhibitions import open_exhibitions, sections_of
from survey.register.db.selectors.places import ABOVE_SHELVES, objects_within, subtree
from survey.register.label_sheets import Fonts
from survey.register.labels import Label
from survey.risk.db.selectors import latest_run, must_not_be_lifted

MOST = 308  # labels in one file: about five seconds of drawing
PLACES = 3_000
FONTS = "media/vendor/dejavu/DejaVuSansCondensed"


@dataclass(frozen=True)
class Asked:
    """Labels for what stands in a place or on a checklist, or for the shelves and trays of a place themselves."""

    what: Literal["objects", "shelves"] = "objects"
    place: Place | None = None
    exhibition: Exhibition | None = None
    section: str | None = None

    @property
    def said(self) -> bool:
        """Whether enough is said to print anything."""
        return bool(self.place or (self.exhibition and self.what == "objects"))


def count(asked: Asked) -> int:
    """How many labels there are. One query."""
    return (_shelves(asked) if asked.what == "shelves" else _objects(asked)).count()


def labels(asked: Asked, *, first: int = 0, most: int = MOST) -> list[Label]:
    """Labels in walking order, those of a checklist by section and number. At most six queries."""
    if asked.what == "shelves":
        rows = _shelves(asked).select_related("parent")[first : first + most]
        return [Label(place.pk, place.name, name=place.parent.full_name if place.parent else "") for place in rows]
    things = _objects(asked).select_related("place")[first : first + most]
    barred = not_to_be_lifted(asked.place)
    return [
        Label(
            thing.pk,
            thing.number,
            name=thing.simple_name,
            where=thing.place.full_name if thing.place and asked.place is None else "",
            do_not_lift=thing.pk in barred,
        )
        for thing in things
    ]


def not_to_be_lifted(place: Place | None) -> set[uuid.UUID]:
    """Objects that must not be lifted, by the rules or a surveyor's word. Four queries."""
    return {each.object.pk for shelf in must_not_be_lifted(latest_run(), within=place) for each in shelf.objects}


def _objects(asked: Asked) -> QuerySet[Object]:
    if asked.place:
        return objects_within(asked.place).order_by("place__path", "number_key")
    listed: dict[str, Any] = {"entries__exhibition": asked.exhibition, "entries__removed_at": None}
    if asked.section is not None:
        listed["entries__section"] = asked.section
    # One filter, so that the order goes by the entry that was found and not by every list the object is on.
    return Object.objects.filter(withdrawn_at=None, **listed).order_by("entries__section", "number_key")


def _shelves(asked: Asked) -> QuerySet[Place]:
    if asked.place is None:
        return Place.objects.none()
    return subtree(asked.place).filter(kind__in=(PlaceKind.SHELF, PlaceKind.TRAY)).order_by("path")


def places_to_choose(chosen: Place | None) -> list[Place]:
    """Places down to the bays, and the one that is chosen. One query."""
    wanted = Q(kind__in=ABOVE_SHELVES) | Q(pk=chosen.pk if chosen else None)
    return list(Place.objects.filter(wanted).order_by("path")[:PLACES])


def lists_to_choose() -> list[tuple[Exhibition, list[tuple[str, int]]]]:
    """Open exhibitions with the sections of their checklists."""
    return [(each, sections_of(each)) for each in open_exhibitions()]


def fonts() -> Fonts:
    """Where the letters of labels lie. Raises ``FileNotFoundError``."""
    return Fonts(_file(f"{FONTS}.ttf"), _file(f"{FONTS}-Bold.ttf"))


def _file(name: str) -> str:
    found = finders.find(name)
    if not isinstance(found, str) or not Path(found).is_file():
        raise FileNotFoundError(name)
    return found
