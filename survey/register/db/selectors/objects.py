"""Reading objects: the register list with its search and filters, and one object's moves."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Literal

from django.db.models import Exists, OuterRef, Q, QuerySet, Value
from django.db.models.functions import Replace

from media.base.errors import NotThere
from media.base.pages import Page, keyset
from survey.register.db.models import ChecklistEntry, Exhibition, Object, ObjectMove, Place
from survey.register.deciding import number_key

TIGHT = Replace("number_key", Value(" "), Value(""))
"""A number without blanks: people type "k9" for K 9."""
SEARCHED = ("tight", "simple_name", "title", "material", "place__full_name", "place_text")
WORDS = 6


@dataclass(frozen=True)
class Wanted:
    """What a person asks of the register list. All that is given must hold."""

    words: str = ""
    place: Place | None = None
    placed: Literal["", "yes", "no"] = ""
    exhibition: Exhibition | None = None
    left: bool = False


def the_object(pk: uuid.UUID) -> Object:
    """One object with its place. Raises ``NotThere``."""
    found = Object.objects.select_related("place").filter(pk=pk).first()
    if found is None:
        raise NotThere("This object is not in the register any more. Look for its number.")
    return found


def same_number(number: str, *, apart_from: uuid.UUID | None = None) -> Object | None:
    """The object that carries this number, in whatever spacing; also one that has left the register."""
    found = Object.objects.filter(number_key=number_key(number))
    return (found.exclude(pk=apart_from) if apart_from else found).first()


def alike_numbers(number: str) -> list[Object]:
    """Objects of the register, two at most, whose number differs in capitals only; if none, also those in blanks."""
    key = number_key(number)
    there = Object.objects.filter(withdrawn_at=None).order_by("number_key")
    capitals = list(there.filter(number_key__iexact=key)[:2])
    return capitals or list(there.alias(tight=TIGHT).filter(tight__iexact=key.replace(" ", ""))[:2])


def find_objects(wanted: Wanted) -> QuerySet[Object]:
    """Objects in which every word stands, in number, name, title, material or place, and that pass the filters."""
    found = Object.objects.select_related("place").filter(withdrawn_at__isnull=not wanted.left).alias(tight=TIGHT)
    for word in wanted.words.split()[:WORDS]:
        somewhere = Q()
        for field in SEARCHED:
            somewhere |= Q(**{f"{field}__icontains": word})
        found = found.filter(somewhere)
    if wanted.place:
        found = found.filter(place__path__startswith=wanted.place.path)
    if wanted.placed:
        found = found.filter(place__isnull=wanted.placed == "no")
    if wanted.exhibition:
        entries = ChecklistEntry.objects.filter(exhibition=wanted.exhibition, removed_at=None, object=OuterRef("pk"))
        found = found.filter(Exists(entries))
    return found


def objects_list(wanted: Wanted, *, after: str | None, size: int = 50) -> Page[Object]:
    """A page of the register in order of number. One query."""
    return keyset(find_objects(wanted), order=["number_key"], after=after, size=size)


def count_up_to(wanted: Wanted, most: int) -> int:
    """How many objects fit; ``most`` + 1 where there are more, since counting all of a large register is slow."""
    return find_objects(wanted).order_by()[: most + 1].count()


def moves_of(thing: Object) -> list[ObjectMove]:
    """Where an object has stood, the newest move first."""
    return list(thing.moves.select_related("from_place", "to_place", "by").order_by("-at", "-pk"))


def open_checklists_of(thing: Object) -> list[Exhibition]:
    """Exhibitions still prepared for that want the object."""
    entries = ChecklistEntry.objects.filter(object=thing, removed_at=None, exhibition__closed_at=None)
    return [entry.exhibition for entry in entries.select_related("exhibition").order_by("exhibition__name")]


def withdrawal_reason(thing: Object) -> str:
    """What was said when the object left the register."""
    from media.base.models import Event

    left = Event.objects.filter(thread=str(thing.pk), verb="withdrawn").order_by("-at", "-pk").first()
    return left.note if left else ""
