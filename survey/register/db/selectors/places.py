"""Reading places: the tree in walking order, and what stands where."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, QuerySet

from media.base.errors import NotThere
from media.base.pages import Page, keyset
from survey.register.db.models import Object, Place, PlaceKind

STEP = 6  # characters of a path per level: five digits and a dot
ORDER = tuple(PlaceKind.values)
ABOVE_SHELVES = tuple(ORDER[: ORDER.index(PlaceKind.SHELF)])
MARKS = 600


@dataclass(frozen=True)
class PlaceLine:
    """A place as a list shows it: how deep it lies, and how many objects stand in it and below."""

    place: Place
    depth: int
    objects: int

    @property
    def depths(self) -> range:
        """One step for each level above, for a template to draw."""
        return range(self.depth)


@dataclass(frozen=True)
class ShelfLine:
    """A shelf or tray of a bay with the objects to draw on it."""

    place: Place
    objects: Sequence[Object]


def the_place(pk: uuid.UUID) -> Place:
    """One place. Raises ``NotThere``."""
    place = Place.objects.select_related("parent").filter(pk=pk).first()
    if place is None:
        raise NotThere("This place does not exist any more. Look for it among the places.")
    return place


def prefixes(path: str) -> list[str]:
    """Paths of all places above one, the root first."""
    return [path[:end] for end in range(STEP, len(path), STEP)]


def ancestors(place: Place) -> list[Place]:
    """The places above, the root first."""
    return list(Place.objects.filter(path__in=prefixes(place.path)).order_by("path"))


def subtree(place: Place) -> QuerySet[Place]:
    """The place and all below it."""
    return Place.objects.filter(path__startswith=place.path)


def children_of(place: Place | None) -> QuerySet[Place]:
    """Places directly inside, in walking order; the roots for none."""
    return Place.objects.filter(parent=place).order_by("path")


def possible_parents(kind: str, *, apart_from: Place | None = None) -> QuerySet[Place]:
    """Places that one of this kind may stand in: any shallower kind, but none inside ``apart_from`` itself."""
    places = Place.objects.filter(kind__in=ORDER[: ORDER.index(kind)]).order_by("path")
    return places.exclude(path__startswith=apart_from.path) if apart_from else places


def object_counts() -> Counter[str]:
    """Objects of the register in each place and below it, by path. One query."""
    direct = Object.objects.filter(withdrawn_at=None, place__isnull=False).order_by()
    counts: Counter[str] = Counter()
    for path, number in direct.values_list("place__path").annotate(number=Count("pk")):
        for above in [*prefixes(path), path]:
            counts[above] += number
    return counts


def places_page(*, after: str | None, size: int = 200) -> Page[PlaceLine]:
    """Sites, buildings, rooms and bays in walking order with their counts. Two queries."""
    page = keyset(Place.objects.filter(kind__in=ABOVE_SHELVES), order=["path"], after=after, size=size)
    return Page(_lines(page.rows), page.next)


def child_lines(place: Place) -> list[PlaceLine]:
    """The places directly inside one, with their counts. Two queries."""
    return _lines(list(children_of(place)))


def _lines(places: Sequence[Place]) -> list[PlaceLine]:
    counts = object_counts() if places else Counter()
    return [PlaceLine(place, len(place.path) // STEP - 1, counts[place.path]) for place in places]


def objects_within(place: Place) -> QuerySet[Object]:
    """Objects of the register in a place or anywhere below it."""
    return Object.objects.filter(place__path__startswith=place.path, withdrawn_at=None)


def objects_page(place: Place, *, after: str | None, size: int = 50) -> Page[Object]:
    """Objects in a place and below, as one walks past them. One query."""
    return keyset(
        objects_within(place).select_related("place"), order=["place__path", "number_key"], after=after, size=size
    )


def shelves_of(place: Place) -> list[ShelfLine]:
    """Shelves and trays of a bay, each with its objects in order of number, ``MARKS`` in all. Two queries."""
    shelves = list(subtree(place).filter(kind__in=(PlaceKind.SHELF, PlaceKind.TRAY)).order_by("path"))
    standing: dict[uuid.UUID, list[Object]] = {shelf.pk: [] for shelf in shelves}
    found = objects_within(place).filter(place__in=shelves).order_by("place__path", "number_key")
    for thing in found.only("id", "number", "simple_name", "place_id")[:MARKS]:
        standing[thing.place_id].append(thing)  # type: ignore[index]  # filtered by place: never empty here
    return [ShelfLine(shelf, standing[shelf.pk]) for shelf in shelves]


def position_of(place: Place) -> int:
    """Where a place comes among its siblings, from 1, whatever gaps there are."""
    return Place.objects.filter(parent=place.parent_id, path__lte=place.path).count()
