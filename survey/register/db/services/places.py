"""Adding, naming, ordering, moving and removing places; the paths of a subtree are kept right in one way only."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import ProtectedError, Value
from django.db.models.functions import Concat

from media.base import events
from media.base.errors import Clash, FettleError
from media.base.models import User
from survey.register.db.models import Place, PlaceKind
from survey.register.db.selectors.places import ORDER, children_of, subtree

BETWEEN = " · "
MOST_SIBLINGS = 99_999
LONGEST = 400


def place_path(parent: Place | None, position: int) -> str:
    """The path of the place at a position (from 1) inside ``parent``: five digits and a dot for each level."""
    return f"{parent.path if parent else ''}{position:05d}."


def full_name(parent: Place | None, name: str) -> str:
    """Names from the root. Raises ``FettleError`` if they are too long for a label."""
    written = f"{parent.full_name}{BETWEEN}{name}" if parent else name
    if len(written) > LONGEST:
        raise FettleError(f"With the places above it this name is longer than {LONGEST} characters: shorten it.")
    return written


@transaction.atomic
def add_place(*, kind: str, name: str, parent: Place | None, climate: str = "", by: User | None, at: datetime) -> Place:
    """Add a place as the last inside ``parent``."""
    _hold_tree()
    parent = Place.objects.get(pk=parent.pk) if parent else None
    name = _checked(kind, name, parent)
    position = _last_position(parent) + 1
    place = Place(kind=kind, name=name, parent=parent, climate=climate.strip(), position=position)
    place.path, place.full_name = place_path(parent, position), full_name(parent, name)
    try:
        with transaction.atomic():
            place.save(force_insert=True)
    except IntegrityError as error:
        raise Clash("Somebody added a place here at the same moment: add yours again.") from error
    became = {"kind": kind, "name": place.full_name, "climate": place.climate}
    events.record(place, "added", by=by, at=at, became=became)
    return place


@transaction.atomic
def edit_place(place: Place, *, name: str, kind: str, climate: str = "", by: User | None, at: datetime) -> Place:
    """Rename a place, or change its kind or climate; the full names below follow."""
    _hold_tree()
    place = Place.objects.select_related("parent").get(pk=place.pk)
    name = _checked(kind, name, place.parent, apart_from=place)
    shallowest = min((ORDER.index(child.kind) for child in children_of(place)), default=len(ORDER))
    if ORDER.index(kind) >= shallowest:
        below = PlaceKind(ORDER[shallowest]).label.lower()
        raise FettleError(f"A {below} stands inside, so this place must be something larger than a {below}.")
    was = {"name": place.name, "kind": place.kind, "climate": place.climate}
    place.name, place.kind, place.climate = name, kind, climate.strip()
    became = {"name": place.name, "kind": place.kind, "climate": place.climate}
    if was == became:
        return place
    place.save(update_fields=["name", "kind", "climate"])
    _settle([place], place.parent)
    changed = [name for name in became if was[name] != became[name]]
    events.record(
        place,
        "changed",
        by=by,
        at=at,
        was={name: was[name] for name in changed},
        became={name: became[name] for name in changed},
    )
    return Place.objects.get(pk=place.pk)


@transaction.atomic
def move_place(place: Place, *, parent: Place | None, by: User | None, at: datetime) -> Place:
    """Put a place with all it holds as the last inside another."""
    _hold_tree()
    place = Place.objects.get(pk=place.pk)
    parent = Place.objects.get(pk=parent.pk) if parent else None
    if parent and parent.path.startswith(place.path):
        raise FettleError("A place cannot stand inside itself: choose a place outside it.")
    if (parent.pk if parent else None) == place.parent_id:
        return place
    _checked(place.kind, place.name, parent, apart_from=place)
    was, left = place.full_name, place.parent
    place.position, place.parent = _last_position(parent) + 1, parent
    place.save(update_fields=["position", "parent"])
    _settle([place], parent)
    _close_gaps(left)
    place = Place.objects.get(pk=place.pk)
    events.record(place, "moved", by=by, at=at, was={"name": was}, became={"name": place.full_name})
    return place


@transaction.atomic
def put_at(place: Place, position: int, *, by: User | None, at: datetime) -> None:
    """Put a place at a position (from 1) of the walk among its siblings; the others close up."""
    _hold_tree()
    place = Place.objects.select_related("parent").get(pk=place.pk)
    siblings = list(children_of(place.parent))
    was = next(i for i, sibling in enumerate(siblings) if sibling.pk == place.pk)
    wanted = min(max(position, 1), len(siblings)) - 1
    if was == wanted:
        return
    siblings.insert(wanted, siblings.pop(was))
    _number(siblings, place.parent)
    events.record(place, "reordered", by=by, at=at, was={"position": was + 1}, became={"position": wanted + 1})


@transaction.atomic
def delete_place(place: Place, *, by: User | None, at: datetime) -> None:
    """Remove a place in which nothing stands and of which no record speaks."""
    _hold_tree()
    place = Place.objects.select_related("parent").get(pk=place.pk)
    if why := why_not_delete(place):
        raise Clash(why)
    events.record(place, "removed", by=by, at=at, was={"kind": place.kind, "name": place.full_name})
    parent = place.parent
    try:
        place.delete()
    except ProtectedError as error:
        raise Clash(RECORDED) from error
    _close_gaps(parent)


RECORDED = "Records of moves or surveys name this place, so it stays. Rename it to say that it is no longer used."


def why_not_delete(place: Place) -> str:
    """Why a place cannot be removed now, in one line; empty if it can."""
    if children_of(place).exists():
        return "Other places stand inside: move or remove them first."
    if place.holds.exists():
        return "Objects stand here: move them first."
    return RECORDED if place.moves_out.exists() or place.moves_in.exists() else ""


def _checked(kind: str, name: str, parent: Place | None, *, apart_from: Place | None = None) -> str:
    name = " ".join(name.split())
    if kind not in ORDER:
        raise FettleError("Say what kind of place it is.")
    if not name or len(name) > 120:
        raise FettleError("Give the place a name of at most 120 characters.")
    if parent and ORDER.index(parent.kind) >= ORDER.index(kind):
        raise FettleError(
            f"A {PlaceKind(kind).label.lower()} cannot stand in a {PlaceKind(parent.kind).label.lower()}: "
            "choose a larger place."
        )
    same = children_of(parent).filter(name=name)
    if (same.exclude(pk=apart_from.pk) if apart_from else same).exists():
        raise FettleError(f"There is already a place called “{name}” here: choose another name.")
    full_name(parent, name)
    return name


def _hold_tree() -> None:
    """One writer of the tree at a time: paths depend on each other."""
    list(Place.objects.select_for_update().filter(parent=None).order_by("pk").values_list("pk"))


def _last_position(parent: Place | None) -> int:
    last = children_of(parent).order_by("-position").values_list("position", flat=True).first() or 0
    if last >= MOST_SIBLINGS:
        raise FettleError("No more places fit inside this one: put another level between.")
    return last


def _close_gaps(parent: Place | None) -> None:
    siblings = list(children_of(parent))
    if any(sibling.position != position for position, sibling in enumerate(siblings, start=1)):
        _number(siblings, parent)


def _number(siblings: Sequence[Place], parent: Place | None) -> None:
    for position, sibling in enumerate(siblings, start=1):
        sibling.position = position
    Place.objects.bulk_update(siblings, ["position"], batch_size=500)
    _settle(siblings, parent)


def _settle(roots: Sequence[Place], parent: Place | None) -> None:
    """Write path and full name of some places with one parent, and of all below them, from names and positions."""
    below: list[Place] = []
    for root in roots:
        old_path, old_name = root.path, root.full_name
        path, name = place_path(parent, root.position), full_name(parent, root.name)
        if (path, name) == (old_path, old_name):
            continue
        for place in subtree(root):
            place.path = path + place.path[len(old_path) :]
            place.full_name = name + place.full_name[len(old_name) :]
            if len(place.full_name) > LONGEST:
                raise FettleError(f"“{place.name}” below would get a full name of more than {LONGEST} characters.")
            below.append(place)
    # Paths are unique and change places with each other: first all out of the way, then to where they belong.
    Place.objects.filter(pk__in=[place.pk for place in below]).update(path=Concat(Value("~"), "path"))
    Place.objects.bulk_update(below, ["path", "full_name"], batch_size=300)
