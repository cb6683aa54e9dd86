"""Adopting a table of levels, choosing a level for an object."""

from __future__ import annotations

import json
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.db import transaction

from media.base import events
from media.base.errors import FettleError
from media.base.models import User
from survey.register.db.models import ChecklistEntry, Exhibition, Object
from treatments.options.db.models import ChosenLevel, LevelTable
from treatments.options.db.selectors import newest_table, table_in_use
from treatments.options.tables import parse_table

SHIPPED = "fixtures/step_rates.json"


def ensure_levels(*, at: datetime) -> LevelTable:
    """The table in use; the shipped one becomes number 1 where there is none."""
    if (row := newest_table()) is not None:
        return row
    body = json.loads((settings.ROOT / SHIPPED).read_text(encoding="utf-8"))
    parse_table(body)
    return LevelTable.objects.create(number=1, body=body, reason="As Fettle came", adopted_at=at)


@transaction.atomic
def adopt_levels(body: Any, *, reason: str, by: User | None, at: datetime) -> LevelTable:
    """Put a new version of the levels in force; earlier versions stay for what was estimated with them."""
    try:
        parse_table(body)
    except ValueError as error:
        raise FettleError(f"This table of levels cannot be used: {error}.") from error
    if not reason.strip():
        raise FettleError("Say why the levels change; the reason is kept with the new version.")
    before = ensure_levels(at=at)
    row = LevelTable.objects.create(
        number=before.number + 1, body=body, reason=reason.strip(), adopted_at=at, adopted_by=by
    )
    events.record(row, "adopted levels", by=by, at=at, was={"number": before.number}, became={"number": row.number})
    return row


@transaction.atomic
def choose_level(
    exhibition: Exhibition,
    thing: Object,
    level: str,
    *,
    why: str = "",
    look_again_on: date | None = None,
    by: User | None,
    at: datetime,
) -> ChosenLevel:
    """Say how far to go with an object for an exhibition; the choice before it stays in the record."""
    try:
        table_in_use().level(level)
    except ValueError as error:
        raise FettleError("This level of treatment is not in the department's table. Choose one that is.") from error
    if thing.restriction and level not in {"leave", "watch"} and not why.strip():
        raise FettleError(
            f"{thing.number} carries a restriction ({thing.restriction}). Say who agreed to this level, and why."
        )
    if not ChecklistEntry.objects.filter(exhibition=exhibition, object=thing, removed_at=None).exists():
        raise FettleError(f"{thing.number} is not on the checklist of {exhibition}. Put it there first.")
    before = ChosenLevel.objects.filter(exhibition=exhibition, object=thing, replaced_at=None).first()
    if before:
        before.replaced_at = at
        before.save(update_fields=["replaced_at"])
    row = ChosenLevel.objects.create(
        exhibition=exhibition, object=thing, level=level, why=why.strip(), look_again_on=look_again_on, at=at, by=by
    )
    events.record(
        row, "chose a level", by=by, at=at, thread=str(thing.pk),
        was={"level": before.level} if before else None, became={"level": level, "why": row.why},
    )  # fmt: skip
    return row


@transaction.atomic
def withdraw_level(exhibition: Exhibition, thing: Object, *, by: User | None, at: datetime) -> None:
    """Take the last choice back: the one before it is in force again, or the suggestion."""
    row = ChosenLevel.objects.filter(exhibition=exhibition, object=thing, replaced_at=None).first()
    if row is None:
        raise FettleError(f"No level is chosen for {thing.number}, so there is nothing to take back.")
    row.replaced_at = at
    row.save(update_fields=["replaced_at"])
    before = ChosenLevel.objects.filter(exhibition=exhibition, object=thing).exclude(pk=row.pk).order_by("-at").first()
    if before:
        before.pk, before.at, before.by, before.replaced_at = None, at, by, None
        before.save(force_insert=True)
    events.record(
        row, "took a level back", by=by, at=at, thread=str(thing.pk),
        was={"level": row.level}, became={"level": before.level} if before else None,
    )  # fmt: skip
