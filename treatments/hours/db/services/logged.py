"""Writing down time at the bench, correcting it later, striking what was wrong. Nothing is ever overwritten."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import QuerySet, Sum
from django.utils import timezone

from media.base import events
from media.base.errors import Clash, FettleError
from media.base.models import User
from survey.register.db.models import Object
from treatments.hours.db.models import LoggedTime, RunningClock, Treatment
from treatments.hours.db.services.treating import begin_treatment
from treatments.options.db.selectors import table_in_use

LONGEST = timedelta(hours=16)  # of one sitting: longer is a clock forgotten or a date mistyped
SHORTEST = timedelta(minutes=1)
FARTHEST_BACK = timedelta(days=20 * 365)
DAY_HOURS = 24.0


@dataclass(frozen=True)
class Said:
    """What somebody says they worked: a sitting with both moments, or a day and hours; never both."""

    step: str
    on: date
    hours: float
    started_at: datetime | None = None
    ended_at: datetime | None = None
    note: str = ""
    step_done: bool = False

    @classmethod
    def sitting(cls, step: str, started_at: datetime, ended_at: datetime, **more: Any) -> Said:
        """From one moment to another; it counts for the day on which it began."""
        hours = round((ended_at - started_at).total_seconds() / 3600, 4)
        return cls(step, timezone.localdate(started_at), hours, started_at, ended_at, **more)


@transaction.atomic
def log_time(thing: Object, said: Said, *, worker: User, by: User | None, at: datetime) -> LoggedTime:
    """Write down time that somebody worked on an object; its treatment begins with its first hour.

    Refused, in words, where it overlaps with other time of the same person, lies ahead, or cannot be.
    """
    _lock(worker)
    said = _checked(said, worker, at)
    row = _written(begin_treatment(thing, on=said.on, by=by, at=at), said, worker, at)
    events.record(row, "logged time", by=by, at=at, thread=str(thing.pk), became=_shown(row))
    return row


@transaction.atomic
def correct_time(row: LoggedTime, said: Said, *, by: User | None, at: datetime) -> LoggedTime:
    """Replace logged time by what is right; the row before stays in the record. The same again changes nothing."""
    _lock(row.worker)
    _standing(row)
    said = _checked(said, row.worker, at, apart_from=row)
    was = Said(row.step, row.on, row.hours, row.started_at, row.ended_at, row.note, row.step_done)
    if said == was:
        return row
    made = _written(row.treatment, said, row.worker, at, corrects=row)
    events.record(
        made, "corrected time", by=by, at=at, thread=str(row.treatment.object_id), was=_shown(row), became=_shown(made)
    )
    return made


@transaction.atomic
def take_out(row: LoggedTime, *, by: User | None, at: datetime) -> None:
    """Strike time that was never worked; it can be put back."""
    _standing(row)
    row.taken_out_at = at
    row.save(update_fields=["taken_out_at"])
    events.record(row, "struck time", by=by, at=at, thread=str(row.treatment.object_id), was=_shown(row))


@transaction.atomic
def put_back(row: LoggedTime, *, by: User | None, at: datetime) -> None:
    """Undo a strike, unless other time has come to stand in its place."""
    _lock(row.worker)
    if row.taken_out_at is None:
        raise Clash("This time counts already, so there is nothing to put back.")
    _checked(Said(row.step, row.on, row.hours, row.started_at, row.ended_at), row.worker, at, apart_from=row)
    row.taken_out_at = None
    row.save(update_fields=["taken_out_at"])
    events.record(row, "put time back", by=by, at=at, thread=str(row.treatment.object_id), became=_shown(row))


def _lock(worker: User) -> None:
    """Two devices of one person write one after the other, so that neither misses what the other wrote."""
    User.objects.select_for_update().get(pk=worker.pk)


def _standing(row: LoggedTime) -> None:
    if not LoggedTime.objects.standing().filter(pk=row.pk).exists():
        raise Clash("This time was corrected or struck meanwhile. Look at the list again.")


def _written(
    treatment: Treatment, said: Said, worker: User, at: datetime, corrects: LoggedTime | None = None
) -> LoggedTime:
    return LoggedTime.objects.create(
        treatment=treatment, step=said.step, worker=worker, on=said.on, hours=said.hours, note=said.note,
        started_at=said.started_at, ended_at=said.ended_at, step_done=said.step_done, corrects=corrects, at=at,
    )  # fmt: skip


def _shown(row: LoggedTime) -> dict[str, Any]:
    return {"step": row.step, "on": row.on, "hours": row.hours, "worker": row.worker.shown, "note": row.note}


def _checked(said: Said, worker: User, at: datetime, *, apart_from: LoggedTime | None = None) -> Said:
    """What can be kept. Raises ``FettleError`` with one clear line."""
    codes = {step.code for level in table_in_use().levels for step in level.steps}
    if said.step not in codes and (apart_from is None or said.step != apart_from.step):
        raise FettleError("This step is not in the department's table. Choose one that is.")
    today = timezone.localdate(at)
    if said.on > today or (said.ended_at and said.ended_at > at + SHORTEST):
        raise FettleError("Time can only be written down once it has been worked: this lies ahead.")
    if said.on < today - FARTHEST_BACK:
        raise FettleError("This day lies more than twenty years back. Check the year.")
    if said.started_at and said.ended_at:
        _check_sitting(said.started_at, said.ended_at)
        _check_overlap(said.started_at, said.ended_at, worker, apart_from)
    elif not 0 < said.hours <= DAY_HOURS:
        raise FettleError("Give more than nothing and at most 24 hours for one day.")
    others = _others(worker, apart_from).filter(on=said.on).aggregate(hours=Sum("hours"))["hours"] or 0.0
    if others + said.hours > DAY_HOURS + 1e-6:
        raise FettleError(
            f"{worker.shown} has {others:.2f} hours on {said.on:%-d %B %Y} already: with these the day would have "
            "more than 24."
        )
    return replace(said, note=said.note.strip()[:500])


def _check_sitting(start: datetime, end: datetime) -> None:
    if end - start < SHORTEST:
        raise FettleError("A sitting must end at least a minute after it began.")
    if end - start > LONGEST:
        raise FettleError("A sitting of more than 16 hours cannot be right. Say when it really ended.")


def _others(worker: User, apart_from: LoggedTime | None) -> QuerySet[LoggedTime]:
    rows = LoggedTime.objects.standing().filter(worker=worker)
    return rows.exclude(pk=apart_from.pk) if apart_from else rows


def _check_overlap(start: datetime, end: datetime, worker: User, apart_from: LoggedTime | None) -> None:
    """Nobody works on two things at once."""
    found = _others(worker, apart_from).filter(started_at__lt=end, ended_at__gt=start)
    if row := found.select_related("treatment__object").order_by("started_at").first():
        begin, stop = timezone.localtime(row.started_at), timezone.localtime(row.ended_at)
        raise Clash(
            f"{worker.shown} was on {row.treatment.object} from {begin:%H:%M} to {stop:%H:%M} on "
            f"{begin:%-d %B %Y}. Nobody works on two things at once: correct one of the two."
        )
    clock = RunningClock.objects.filter(worker=worker, started_at__lt=end).select_related("object").first()
    if clock:
        raise Clash(
            f"A clock of {worker.shown} has been running on {clock.object} since "
            f"{timezone.localtime(clock.started_at):%-d %B, %H:%M}. Stop it first, or end this before it began."
        )
