"""Reading for a sorting into places: the register's words, what they would become, and what earlier ones did."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.db.models import Count, Q, QuerySet

from media.base.errors import NotThere
from survey.register.db.models import Object, Place, PlaceKind, Sorting, SortingState
from survey.register.db.selectors.places import subtree
from survey.register.placing import (
    Choices,
    Path,
    fold,
    guess_largest_first,
    guess_separator,
    paths_of,
    says_no_place,
)

MOST_TEXTS = 5_000
"""Different texts sorted at once, the commonest first; the rest is left for the next time."""
Steps = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Unplaced:
    """Objects of the register without a place, and those among them of which the register says words."""

    objects: int
    worded: int


@dataclass(frozen=True)
class Line:
    """One text with its number of objects and what it becomes."""

    key: str
    objects: int
    path: Path
    left: bool


@dataclass(frozen=True)
class Plan:
    """What a sorting would do. ``new`` holds the paths of the places that it would make, each from the site down."""

    choices: Choices
    lines: Sequence[Line]
    new: frozenset[Steps]
    problem: str = ""

    @property
    def paths(self) -> dict[str, Steps]:
        """Text to its whole path, for the texts that become a place."""
        site = ((self.choices.site, str(PlaceKind.SITE)),)
        return {line.path.text: site + line.path.steps for line in self.lines if line.path.steps}

    @property
    def objects(self) -> int:
        """How many objects get a place."""
        return sum(line.objects for line in self.lines if line.path.steps)

    @property
    def fingerprint(self) -> str:
        """Of all that the plan would do: what is confirmed must be what was shown."""
        done = [sorted(self.paths.items()), sorted(self.new), self.objects]
        return hashlib.sha256(json.dumps(done).encode()).hexdigest()[:20]


def unplaced() -> Unplaced:
    """Objects without a place. One query."""
    found = _without_place().aggregate(objects=Count("pk"), worded=Count("pk", filter=~Q(place_text="")))
    return Unplaced(**found)


def unplaced_with_words() -> QuerySet[Object]:
    """Objects without a place of which the register says words."""
    return _without_place().exclude(place_text="")


def _without_place() -> QuerySet[Object]:
    return Object.objects.filter(place=None, withdrawn_at=None).order_by()


def words_of_unplaced() -> list[tuple[str, int]]:
    """The different texts with their numbers of objects, the commonest first. One query."""
    found = unplaced_with_words().values_list("place_text").annotate(number=Count("pk"))
    return list(found.order_by("-number", "place_text")[:MOST_TEXTS])


def key_of(text: str) -> str:
    """A short name of a text for forms."""
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def guessed(words: Sequence[tuple[str, int]]) -> Choices:
    """Choices to begin with, from the words and from what was chosen the last time. Three queries at most."""
    left = frozenset(text for text, _ in words if says_no_place(text))
    told = [text for text, _ in words if text not in left]
    separator = guess_separator(told)
    largest_first = guess_largest_first(told, separator)
    done = Sorting.objects.filter(state=SortingState.DONE).order_by("-asked_at")
    before = done.values_list("choices", flat=True).first()
    sites = Place.objects.filter(parent=None, kind=PlaceKind.SITE).order_by("path")
    site = (site_called(before["site"]) if before else None) or sites.first()
    if before and not separator:
        separator, largest_first = before["separator"], before["largest_first"]
    return Choices(site.name if site else "Museum", separator, largest_first, before["finest"] if before else "", left)


def plan_of(words: Sequence[tuple[str, int]], choices: Choices) -> Plan:
    """What the choices would do with these words. Two queries, however many words."""
    root = site_called(choices.site)
    if root and root.kind != PlaceKind.SITE:
        return Plan(choices, [], frozenset(), f"“{root.name}” is a {root.get_kind_display().lower()}: name a site.")
    if root:
        choices = replace(choices, site=root.name)
    there = _inside(root) if root else {}
    paths = paths_of([text for text, _ in words], choices, there)
    lines = [
        Line(key_of(text), number, path, text in choices.left)
        for (text, number), path in zip(words, paths, strict=True)
    ]
    site = ((choices.site, str(PlaceKind.SITE)),)
    new = {
        site + path.steps[:depth]
        for path in paths
        for depth in range(1, len(path.steps) + 1)
        if tuple(fold(name) for name, _ in path.steps[:depth]) not in there
    }
    if root is None and new:
        new.add(site)
    return Plan(choices, lines, frozenset(new))


def site_called(name: str) -> Place | None:
    """The place of this name that stands in no other, in whatever spelling."""
    wanted = fold(name)
    return next(
        (each for each in Place.objects.filter(parent=None).order_by("path") if fold(each.name) == wanted), None
    )


def _inside(root: Place) -> dict[tuple[str, ...], tuple[str, str]]:
    keys: dict[uuid.UUID, tuple[str, ...]] = {}
    found: dict[tuple[str, ...], tuple[str, str]] = {}
    for place in subtree(root).exclude(pk=root.pk).order_by("path").only("name", "kind", "parent_id"):
        above = keys.get(place.parent_id, ()) if place.parent_id else ()
        keys[place.pk] = (*above, fold(place.name))
        found.setdefault(keys[place.pk], (place.name, place.kind))
    return found


def the_sorting(pk: uuid.UUID) -> Sorting:
    """One sorting with its job. Raises ``NotThere``."""
    found = Sorting.objects.select_related("job", "asked_by").filter(pk=pk).first()
    if found is None:
        raise NotThere("This sorting does not exist. Look for it where objects are sorted into places.")
    return found


def earlier_sortings() -> list[Sorting]:
    """The latest sortings. One query."""
    return list(Sorting.objects.select_related("asked_by").defer("paths", "made").order_by("-asked_at")[:20])


def open_sorting() -> Sorting | None:
    """A sorting that has begun and not ended: its rest is done or undone before the next."""
    going = Sorting.objects.filter(state__in=(SortingState.ASKED, SortingState.DOING))
    return going.select_related("job").defer("paths", "made").order_by("-asked_at").first()
