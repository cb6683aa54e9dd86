"""Reading exhibitions and their checklists."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Q
from django.utils import timezone

from media.base.errors import NotThere
from media.base.pages import Page, keyset
from survey.register.db.models import ChecklistEntry, Exhibition, Milestone, MilestoneKind, Use

USED = {
    Use.OPEN_MOUNT.value: "on open mounts",
    Use.CASE.value: "in a case",
    Use.HANDLED.value: "handled",
    Use.TRAVELS.value: "travelling",
}
IN_ORDER = tuple(MilestoneKind.values)


@dataclass(frozen=True)
class ExhibitionLine:
    """An exhibition as the list shows it."""

    exhibition: Exhibition
    opening: date | None
    objects: int
    days_left: int | None


def the_exhibition(pk: uuid.UUID) -> Exhibition:
    """One exhibition. Raises ``NotThere``."""
    found = Exhibition.objects.filter(pk=pk).first()
    if found is None:
        raise NotThere("This exhibition does not exist any more. Look for it among the exhibitions.")
    return found


def open_exhibitions() -> list[Exhibition]:
    """Exhibitions still prepared for, the earliest opening first, those without one last. Two queries."""
    openings = _openings()
    return sorted(
        Exhibition.objects.filter(closed_at=None), key=lambda each: (openings.get(each.pk, date.max), each.name)
    )


def _openings() -> dict[uuid.UUID, date]:
    return dict(Milestone.objects.filter(kind=MilestoneKind.OPENING).values_list("exhibition_id", "date"))


def current_exhibition(today: date | None = None) -> Exhibition | None:
    """The exhibition that the department works for: not closed, its opening the nearest to come.

    If all openings are past, the latest of them; one without an opening day only if there is no other.
    """
    today = today or timezone.localdate()
    found, openings = open_exhibitions(), _openings()
    dated = [each for each in found if each.pk in openings]
    coming = [each for each in dated if openings[each.pk] >= today]
    if coming:
        return coming[0]
    return dated[-1] if dated else next(iter(found), None)


def milestones_of(exhibition: Exhibition) -> dict[str, date]:
    """Kind to date, in the order in which they follow each other."""
    dates = dict(Milestone.objects.filter(exhibition=exhibition).values_list("kind", "date"))
    return {kind: dates[kind] for kind in IN_ORDER if kind in dates}


def milestone_lines(exhibition: Exhibition, *, today: date) -> list[tuple[str, date, int]]:
    """Word, date and days from today of each milestone that is set."""
    return [
        (str(MilestoneKind(kind).label), day, (day - today).days) for kind, day in milestones_of(exhibition).items()
    ]


def entry_map(exhibition: Exhibition) -> dict[uuid.UUID, ChecklistEntry]:
    """Object id to its entry, of all objects on the checklist now. One query."""
    return {entry.object_id: entry for entry in exhibition.entries.filter(removed_at=None)}


def exhibition_lines(*, closed: bool, today: date) -> list[ExhibitionLine]:
    """All exhibitions, open or closed: the next opening first, of the closed the latest. Three queries."""
    openings = _openings()
    counted = ChecklistEntry.objects.filter(removed_at=None).order_by().values_list("exhibition")
    counts = dict(counted.annotate(number=Count("pk")))
    found = sorted(
        Exhibition.objects.filter(closed_at__isnull=not closed),
        key=lambda each: (openings.get(each.pk, date.min if closed else date.max), each.name),
        reverse=closed,
    )
    return [_line(each, openings.get(each.pk), counts.get(each.pk, 0), today) for each in found]


def _line(exhibition: Exhibition, opening: date | None, objects: int, today: date) -> ExhibitionLine:
    return ExhibitionLine(exhibition, opening, objects, (opening - today).days if opening else None)


def the_entry(pk: int) -> ChecklistEntry:
    """One entry with its object and exhibition. Raises ``NotThere``."""
    found = ChecklistEntry.objects.select_related("object", "exhibition").filter(pk=pk).first()
    if found is None:
        raise NotThere("This entry does not exist any more. Look for the object on the checklist.")
    return found


def checklist_page(
    exhibition: Exhibition, *, section: str | None = None, words: str = "", after: str | None, size: int = 50
) -> Page[ChecklistEntry]:
    """A page of the checklist by section and number. One query."""
    entries = exhibition.entries.filter(removed_at=None).select_related("object__place")
    if section is not None:
        entries = entries.filter(section=section)
    for word in words.split()[:6]:
        entries = entries.filter(
            Q(object__number_key__icontains=word)
            | Q(object__simple_name__icontains=word)
            | Q(object__title__icontains=word)
        )
    return keyset(entries, order=["section", "object__number_key"], after=after, size=size)


def removed_entries(exhibition: Exhibition) -> Sequence[ChecklistEntry]:
    """What was taken off the checklist, the latest first, a hundred at most."""
    removed = exhibition.entries.filter(removed_at__isnull=False).select_related("object")
    return list(removed.order_by("-removed_at", "object__number_key")[:100])


def sections_of(exhibition: Exhibition) -> list[tuple[str, int]]:
    """Sections of the checklist with their numbers of objects. One query."""
    entries = exhibition.entries.filter(removed_at=None).order_by("section").values_list("section")
    return list(entries.annotate(number=Count("pk")))


def use_counts(exhibition: Exhibition) -> list[tuple[str, int]]:
    """How the objects will be used, in words, with their numbers. One query."""
    entries = exhibition.entries.filter(removed_at=None).order_by().values_list("use")
    counts = dict(entries.annotate(number=Count("pk")))
    return [(words, counts[use]) for use, words in USED.items() if use in counts]
