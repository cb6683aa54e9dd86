"""Setting up exhibitions with their dates, and closing them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from itertools import pairwise

from django.db import IntegrityError, transaction

from media.base import events
from media.base.errors import Clash, FettleError
from media.base.models import User
from survey.register.db.models import Exhibition, Milestone, MilestoneKind
from survey.register.db.selectors.exhibitions import IN_ORDER, milestones_of


def out_of_order(dates: Mapping[str, date | None]) -> str:
    """What is wrong with the order of milestones, in words; empty if they follow each other."""
    given = [(kind, day) for kind in IN_ORDER if (day := dates.get(kind))]
    for (earlier, first), (later, second) in pairwise(given):
        if second < first or (later == MilestoneKind.END and second == first):
            first_word, second_word = MilestoneKind(earlier).label, MilestoneKind(later).label
            return (
                f"{second_word} on {_said(second)} would come {'with' if second == first else 'before'} "
                f"{first_word.lower()} on {_said(first)}: change one of the two."
            )
    return ""


def _said(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


@transaction.atomic
def create_exhibition(
    *, name: str, place_text: str = "", dates: Mapping[str, date | None], by: User | None, at: datetime
) -> Exhibition:
    """Set up an exhibition with the dates that are known."""
    made = Exhibition(name=_checked(name, dates), place_text=place_text.strip())
    _save(made, new=True)
    _write_dates(made, dates)
    became = {"name": made.name, "place": made.place_text, **_shown(dates)}
    events.record(made, "set up", by=by, at=at, became=became)
    return made


@transaction.atomic
def change_exhibition(
    exhibition: Exhibition,
    *,
    name: str,
    place_text: str,
    dates: Mapping[str, date | None],
    by: User | None,
    at: datetime,
) -> Exhibition:
    """Change name, place or dates; a date left empty is taken away."""
    exhibition = _held(exhibition)
    was = {"name": exhibition.name, "place": exhibition.place_text, **_shown(milestones_of(exhibition))}
    exhibition.name, exhibition.place_text = _checked(name, dates), place_text.strip()
    became = {"name": exhibition.name, "place": exhibition.place_text, **_shown(dates)}
    changed = sorted(field for field in was.keys() | became.keys() if was.get(field) != became.get(field))
    if not changed:
        return exhibition
    _save(exhibition)
    _write_dates(exhibition, dates)
    events.record(
        exhibition, "changed", by=by, at=at,
        was={field: was.get(field) for field in changed}, became={field: became.get(field) for field in changed},
    )  # fmt: skip
    return exhibition


@transaction.atomic
def close_exhibition(exhibition: Exhibition, *, by: User | None, at: datetime) -> Exhibition:
    """Say that an exhibition is no longer prepared for. Its checklist and record stay."""
    exhibition = _held(exhibition)
    if exhibition.closed_at:
        raise Clash("This exhibition is closed already.")
    exhibition.closed_at = at
    exhibition.save(update_fields=["closed_at"])
    events.record(exhibition, "closed", by=by, at=at, was={"closed_at": None}, became={"closed_at": at})
    return exhibition


@transaction.atomic
def reopen_exhibition(exhibition: Exhibition, *, by: User | None, at: datetime) -> Exhibition:
    """Prepare for a closed exhibition again."""
    exhibition = _held(exhibition)
    if exhibition.closed_at is None:
        raise Clash("This exhibition is open already.")
    was = exhibition.closed_at
    exhibition.closed_at = None
    exhibition.save(update_fields=["closed_at"])
    events.record(exhibition, "opened again", by=by, at=at, was={"closed_at": was}, became={"closed_at": None})
    return exhibition


def _held(exhibition: Exhibition) -> Exhibition:
    return Exhibition.objects.select_for_update().get(pk=exhibition.pk)


def _checked(name: str, dates: Mapping[str, date | None]) -> str:
    name = " ".join(name.split())
    if not name or len(name) > 200:
        raise FettleError("Give the exhibition a name of at most 200 characters.")
    if wrong := out_of_order(dates):
        raise FettleError(wrong)
    return name


def _save(exhibition: Exhibition, *, new: bool = False) -> None:
    try:
        with transaction.atomic():
            exhibition.save(force_insert=new)
    except IntegrityError as error:
        raise Clash(f"There is already an exhibition called “{exhibition.name}”: choose another name.") from error


def _write_dates(exhibition: Exhibition, dates: Mapping[str, date | None]) -> None:
    exhibition.milestones.exclude(kind__in=[kind for kind, day in dates.items() if day]).delete()
    for kind, day in dates.items():
        if day:
            Milestone.objects.update_or_create(exhibition=exhibition, kind=kind, defaults={"date": day})


def _shown(dates: Mapping[str, date | None]) -> dict[str, str]:
    return {kind: day.isoformat() for kind, day in dates.items() if day}
