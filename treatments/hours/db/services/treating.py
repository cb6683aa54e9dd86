"""Treatments, from their first hour to the word that they are finished."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from media.base import events
from media.base.errors import Clash, FettleError
from media.base.models import User
from survey.condition.db import selectors as condition
from survey.register.db.models import Object
from survey.register.db.selectors import current_exhibition
from treatments.hours.db.models import LoggedTime, RunningClock, Treatment
from treatments.hours.db.selectors import plans_of
from treatments.options.db import selectors as options


@transaction.atomic
def begin_treatment(thing: Object, *, on: date, by: User | None, at: datetime) -> Treatment:
    """The treatment of an object that goes on; a new one at the level that counts where there is none.

    Its estimate is kept as the table of levels gave it then, before any factor, so that what was learned from earlier
    work is never learned twice. Where another level has been chosen since, it is estimated anew.
    """
    Object.objects.select_for_update().get(pk=thing.pk)
    row = Treatment.objects.filter(object=thing, finished_on=None).order_by("began_on", "pk").first()
    exhibition = current_exhibition(timezone.localdate(at))
    if exhibition and not exhibition.entries.filter(object=thing, removed_at=None).exists():
        exhibition = None
    plan = plans_of(exhibition, [thing.pk])[thing.pk]
    if row is not None:
        wanted = plan.chosen.level if plan.chosen else row.level if row.estimate else plan.level
        if wanted == row.level:
            if row.began_on is None or on < row.began_on:
                row.began_on = on
                row.save(update_fields=["began_on"])
            return row
        was = row.level
        row.level, row.drivers, row.estimate = wanted, *_estimated(thing, wanted)
        row.began_on = min(on, row.began_on) if row.began_on else on
        row.save()
        events.record(
            row, "estimated anew", by=by, at=at, thread=str(thing.pk), was={"level": was}, became={"level": row.level}
        )
        return row
    drivers, estimate = _estimated(thing, plan.level)
    row = Treatment.objects.create(
        object=thing, exhibition=exhibition, level=plan.level, drivers=drivers, estimate=estimate, began_on=on
    )
    events.record(row, "began a treatment", by=by, at=at, thread=str(thing.pk), became={"level": row.level, "on": on})
    return row


def _estimated(thing: Object, code: str) -> tuple[dict[str, Any], dict[str, list[float]]]:
    """What was counted on the object, and each step's low, likely and high hours, as the table gives them."""
    table = options.table_in_use()
    level, drivers = table.level(code), condition.drivers([thing.pk]).get(thing.pk)
    counted = (drivers.failing if level.joint_scope == "failing" else drivers.all) if drivers else None
    steps = options.steps_of(level, drivers, table)
    known = {name: value for name, value in (asdict(counted) if counted else {}).items() if value is not None}
    return known, {step.code: [step.hours.low, step.hours.likely, step.hours.high] for step in steps}


@transaction.atomic
def finish_treatment(row: Treatment, *, surprise: bool | None, note: str, by: User | None, at: datetime) -> Treatment:
    """Say that the work is done: the object counts as ready and its hours teach the next estimate."""
    row = Treatment.objects.select_for_update().get(pk=row.pk)
    if row.finished_on:
        raise Clash("This treatment was finished already.")
    clock = RunningClock.objects.filter(object=row.object_id).select_related("worker").first()
    if clock:
        raise Clash(f"A clock of {clock.worker.shown} still runs on {row.object}. Stop it first.")
    last = LoggedTime.objects.standing().filter(treatment=row).aggregate(last=Max("on"))["last"]
    if last is None:
        raise FettleError(f"No time is written down for {row.object} yet. Log what the work took, then finish it.")
    row.finished_on, row.surprise, row.surprise_note = last, surprise, note.strip()[:500]
    row.save(update_fields=["finished_on", "surprise", "surprise_note"])
    events.record(
        row, "finished a treatment", by=by, at=at, thread=str(row.object_id),
        became={"level": row.level, "on": last, "surprise": surprise}, note=row.surprise_note,
    )  # fmt: skip
    return row


@transaction.atomic
def reopen_treatment(row: Treatment, *, by: User | None, at: datetime) -> Treatment:
    """There is more to do after all. Refused where another treatment of the object has begun since."""
    Object.objects.select_for_update().get(pk=row.object_id)
    row = Treatment.objects.get(pk=row.pk)
    if row.finished_on is None:
        raise Clash("This treatment goes on already.")
    if Treatment.objects.filter(object=row.object_id, finished_on=None).exists():
        raise Clash("Another treatment of this object has begun since. Log the time there.")
    was, row.finished_on = row.finished_on, None
    row.save(update_fields=["finished_on"])
    events.record(row, "took a treatment up again", by=by, at=at, thread=str(row.object_id), was={"on": was})
    return row


@transaction.atomic
def say_surprise(row: Treatment, surprise: bool, note: str, *, by: User | None, at: datetime) -> None:
    """Whether taking down showed what nobody expected; the forecast learns its chance from this."""
    was, row.surprise, row.surprise_note = row.surprise, surprise, note.strip()[:500]
    row.save(update_fields=["surprise", "surprise_note"])
    events.record(
        row, "said what taking down showed", by=by, at=at, thread=str(row.object_id),
        was={"surprise": was}, became={"surprise": surprise}, note=row.surprise_note,
    )  # fmt: skip
