"""Adopting a table of levels; choosing a level for an object, or accepting what is suggested for many."""

from __future__ import annotations

import json
from calendar import monthrange
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from media.base import events
from media.base.errors import Clash, FettleError
from media.base.models import User
from survey.register.db.models import Exhibition, Object
from treatments.options.db.models import ChosenLevel, LevelTable
from treatments.options.db.selectors import newest_table, table_in_use
from treatments.options.steps import LevelRates
from treatments.options.suggesting import HANDS_OFF, LEVELS, Suggestion
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
        table = parse_table(body)
    except ValueError as error:
        raise FettleError(f"This table of levels cannot be used: {error}.") from error
    if not reason.strip():
        raise FettleError("Say why the levels change; the reason is kept with the new version.")
    in_force = ChosenLevel.objects.filter(replaced_at=None, exhibition__closed_at=None).order_by()
    needed = {*LEVELS, *in_force.values_list("level", flat=True).distinct()}
    if missing := sorted(needed - {level.code for level in table.levels}):
        raise FettleError(f"This table of levels lacks {missing[0]}, which is suggested or chosen. Keep its code.")
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
    """Say how far to go with an object for an exhibition; the choice before it stays in the record.

    Without ``look_again_on`` the level itself says when to look again. The same choice made twice is one choice.
    """
    rates, why = _level(level), why.strip()
    if thing.restriction and level not in HANDS_OFF and not why:
        raise FettleError(
            f"{thing.number} carries a restriction ({thing.restriction}). Say who agreed to this level, and why."
        )
    if look_again_on and look_again_on <= timezone.localdate(at):
        raise FettleError("The day to look again must lie ahead.")
    _on_checklist(exhibition, thing)
    before = ChosenLevel.objects.filter(exhibition=exhibition, object=thing, replaced_at=None).first()
    if before and (before.level, before.why) == (level, why) and look_again_on in {None, before.look_again_on}:
        return before
    if before:
        before.replaced_at = at
        before.save(update_fields=["replaced_at"])
    row = ChosenLevel.objects.create(
        exhibition=exhibition, object=thing, level=level, why=why, at=at, by=by,
        look_again_on=look_again_on or _look_again(rates, at),
    )  # fmt: skip
    events.record(
        row, "chose a level", by=by, at=at, thread=str(thing.pk),
        was={"level": before.level} if before else None, became={"level": level, "why": why},
    )  # fmt: skip
    return row


def _level(code: str) -> LevelRates:
    try:
        return table_in_use().level(code)
    except ValueError as error:
        raise FettleError("This level of treatment is not in the department's table. Choose one that is.") from error


def _on_checklist(exhibition: Exhibition, thing: Object) -> None:
    """The row is locked, so that two who choose for one object at once come one after the other."""
    entries = exhibition.entries.select_for_update().filter(object=thing, removed_at=None)
    if not entries.first():
        raise FettleError(f"{thing.number} is not on the checklist of {exhibition}. Put it there first.")


def _look_again(level: LevelRates, at: datetime) -> date:
    """The same day of the month, so many months on; the last of a shorter month."""
    day = timezone.localdate(at)
    years, month = divmod(day.month - 1 + level.look_again_months, 12)
    last = monthrange(day.year + years, month + 1)[1]
    return day.replace(year=day.year + years, month=month + 1, day=min(day.day, last))


@transaction.atomic
def withdraw_level(exhibition: Exhibition, thing: Object, *, by: User | None, at: datetime) -> None:
    """Take the last choice back: the one that it replaced is in force again, or the suggestion."""
    _on_checklist(exhibition, thing)
    rows = ChosenLevel.objects.filter(exhibition=exhibition, object=thing)
    row = rows.filter(replaced_at=None).first()
    if row is None:
        raise FettleError(f"No level is chosen for {thing.number}, so there is nothing to take back.")
    # A choice replaces the one before it at the very moment at which it is made.
    before = rows.filter(replaced_at=row.at, pk__lt=row.pk).order_by("-pk").first()
    row.replaced_at = at
    row.save(update_fields=["replaced_at"])
    if before:
        before.replaced_at = None
        before.save(update_fields=["replaced_at"])
    events.record(
        row, "took a level back", by=by, at=at, thread=str(thing.pk),
        was={"level": row.level}, became={"level": before.level} if before else None,
    )  # fmt: skip


@transaction.atomic
def accept_suggestions(
    exhibition: Exhibition, suggested: Mapping[UUID, Suggestion], *, by: User | None, at: datetime
) -> int:
    """Choose for each object what is suggested for it, all or none; returns how many. One event each.

    Refused if anything changed under the hand: an object left the checklist, got a level, or carries a restriction
    that asks for a person's word.
    """
    rates = {code: _level(code) for code in {suggestion.level for suggestion in suggested.values()}}
    entries = exhibition.entries.select_for_update(of=("self",)).filter(object__in=list(suggested), removed_at=None)
    restricted = dict(entries.values_list("object_id", "object__restriction"))
    taken = ChosenLevel.objects.filter(exhibition=exhibition, object__in=list(suggested), replaced_at=None)
    if len(restricted) < len(suggested) or taken.exists():
        raise Clash("The checklist or its levels changed meanwhile, so nothing was chosen. Look through them again.")
    if any(restricted[pk] and suggestion.level not in HANDS_OFF for pk, suggestion in suggested.items()):
        raise FettleError("An object with a restriction needs your own word: choose its level by itself.")
    rows = ChosenLevel.objects.bulk_create(
        ChosenLevel(
            exhibition=exhibition, object_id=pk, level=suggestion.level, why=f"As suggested: {suggestion.why}"[:500],
            look_again_on=_look_again(rates[suggestion.level], at), at=at, by=by,
        )
        for pk, suggestion in suggested.items()
    )  # fmt: skip
    return events.record_many(
        (
            events.Change(row, "chose a level", None, {"level": row.level, "why": row.why}, str(row.object_id))
            for row in rows
        ),
        by=by,
        at=at,
    )


@transaction.atomic
def withdraw_accepted(exhibition: Exhibition, accepted_at: datetime, *, by: User | None, at: datetime) -> int:
    """Take back all levels that were accepted together and still stand; returns how many. One event each."""
    rows = list(ChosenLevel.objects.select_for_update().filter(exhibition=exhibition, at=accepted_at, replaced_at=None))
    if not rows:
        raise Clash("These levels were taken back or chosen anew already, so there is nothing to take back.")
    ChosenLevel.objects.filter(pk__in=[row.pk for row in rows]).update(replaced_at=at)
    return events.record_many(
        (events.Change(row, "took a level back", {"level": row.level}, None, str(row.object_id)) for row in rows),
        by=by,
        at=at,
    )
