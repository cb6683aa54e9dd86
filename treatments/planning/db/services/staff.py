"""Keeping staff, leave, days off and benches."""

from __future__ import annotations

import uuid
from datetime import date, datetime
from typing import Any

from django.db import transaction

from media.base import events
from media.base.errors import FettleError, NotThere
from media.base.models import User
from treatments.options.steps import SKILLS
from treatments.planning.db.models import Holiday, Leave, StaffMember, Workplace

FIELDS = ("name", "skills", "week", "bench_share", "works_from", "works_to")
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def member(pk: uuid.UUID) -> StaffMember:
    """One member of staff. Raises ``NotThere``."""
    found = StaffMember.objects.filter(pk=pk).prefetch_related("leave").first()
    if found is None:
        raise NotThere("This person is not on the staff list any more.")
    return found


@transaction.atomic
def save_member(row: StaffMember, values: dict[str, Any], *, by: User | None, at: datetime) -> StaffMember:
    """Add or change a member of staff. ``week`` holds seven pairs of starting hour and paid hours."""
    new = row._state.adding
    was = None if new else {name: getattr(row, name) for name in FIELDS}
    for name in FIELDS:
        if name in values:
            setattr(row, name, values[name])
    _check(row)
    became = {name: getattr(row, name) for name in FIELDS}
    if was == became:
        return row
    row.save()
    events.record(row, "added to the staff" if new else "changed", by=by, at=at, was=was, became=became)
    return row


def _check(row: StaffMember) -> None:
    if unknown := sorted(set(row.skills) - set(SKILLS)):
        raise FettleError(f"There is no skill called {unknown[0]}. Choose from {', '.join(SKILLS)}.")
    if not 0 < row.bench_share <= 1:
        raise FettleError("The share of paid time at the bench must lie above 0 and at most 100 %.")
    if row.works_from and row.works_to and row.works_to < row.works_from:
        raise FettleError("The last day at work must not be before the first.")
    if len(row.week) != 7:
        raise FettleError("A week has seven days: give a start and hours for each, 0 hours for a day off.")
    try:
        pairs = [(float(start), float(hours)) for start, hours in row.week]
    except (TypeError, ValueError) as error:
        raise FettleError("Give each day's start and hours as numbers, 9 and 7.5 for example.") from error
    for name, (start, hours) in zip(DAYS, pairs, strict=True):
        if not (0 <= start < 24 and 0 <= hours <= 24 - start):
            raise FettleError(f"{name}: work must start and end within the day.")


@transaction.atomic
def remove_member(row: StaffMember, *, by: User | None, at: datetime) -> None:
    """Take somebody off the staff list; their logged hours stay, since those belong to the person who signs in."""
    events.record(row, "taken off the staff", by=by, at=at, was={name: getattr(row, name) for name in FIELDS})
    row.delete()


@transaction.atomic
def add_leave(row: StaffMember, first: date, last: date, why: str, *, by: User | None, at: datetime) -> Leave:
    if last < first:
        raise FettleError("Leave cannot end before it begins: swap the two days.")
    made = Leave.objects.create(staff=row, first=first, last=last, why=why.strip())
    events.record(row, "leave added", by=by, at=at, became={"first": first, "last": last, "why": made.why})
    return made


@transaction.atomic
def remove_leave(row: StaffMember, pk: int, *, by: User | None, at: datetime) -> None:
    found = row.leave.filter(pk=pk).first()
    if found is None:
        raise NotThere("This leave was taken out already.")
    was = {"first": found.first, "last": found.last, "why": found.why}
    events.record(row, "leave taken out", by=by, at=at, was=was)
    found.delete()


@transaction.atomic
def add_holiday(day: date, name: str, *, by: User | None, at: datetime) -> Holiday:
    """A day on which nobody works; named twice it is kept once."""
    row, new = Holiday.objects.get_or_create(date=day, defaults={"name": name.strip()})
    if new:
        events.record(row, "day off added", by=by, at=at, became={"date": day, "name": row.name})
    return row


@transaction.atomic
def remove_holiday(pk: int, *, by: User | None, at: datetime) -> None:
    row = Holiday.objects.filter(pk=pk).first()
    if row is None:
        raise NotThere("This day off was taken out already.")
    events.record(row, "day off taken out", by=by, at=at, was={"date": row.date, "name": row.name})
    row.delete()


@transaction.atomic
def set_workplaces(counts: dict[str, int], *, by: User | None, at: datetime) -> None:
    """How many fume hoods and photography benches there are; one of each until somebody says."""
    for kind, count in counts.items():
        row, _ = Workplace.objects.select_for_update().get_or_create(kind=kind, defaults={"count": 1})
        if row.count != count:
            was, row.count = row.count, count
            row.save(update_fields=["count"])
            events.record(row, "count changed", by=by, at=at, was={"count": was}, became={"count": count})
