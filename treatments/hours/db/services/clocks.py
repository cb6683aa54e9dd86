"""The running clock of each person: a row from start to stop."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from media.base import events
from media.base.errors import Clash
from media.base.models import User
from survey.register.db.models import Object
from treatments.hours.db.models import LoggedTime, RunningClock
from treatments.hours.db.selectors.time import forgotten
from treatments.hours.db.services.logged import SHORTEST, Said, _check_overlap, _lock, log_time
from treatments.options.db.selectors import table_in_use


@transaction.atomic
def start_clock(thing: Object, step: str, *, worker: User, at: datetime) -> RunningClock:
    """Begin work on a step. Pressed twice, one clock runs; where one runs on something else it must be stopped first.

    Nothing is logged and no treatment begins before the clock is stopped.
    """
    _lock(worker)
    running = RunningClock.objects.filter(worker=worker).select_related("object").first()
    if running:
        if (running.object_id, running.step) == (thing.pk, step):
            return running
        raise Clash(f"Your clock runs on {running.object} already. Stop it before you start on {thing}.")
    if step not in {each.code for level in table_in_use().levels for each in level.steps}:
        raise Clash("This step is not in the department's table. Choose one that is.")
    _check_overlap(at, at + SHORTEST, worker, None)
    row = RunningClock.objects.create(worker=worker, object=thing, step=step, started_at=at)
    events.record(row, "started a clock", by=worker, at=at, thread=str(thing.pk), became={"step": step})
    return row


@transaction.atomic
def stop_clock(
    worker: User, *, at: datetime, ended_at: datetime | None = None, note: str = "", step_done: bool = False
) -> LoggedTime | None:
    """End the running clock and log its time; nothing for less than a minute, as by a wrong touch.

    A clock that was forgotten is refused until ``ended_at`` says when the work really ended.
    """
    _lock(worker)
    clock = RunningClock.objects.filter(worker=worker).select_related("object").first()
    if clock is None:
        raise Clash("No clock is running. If you worked, write the time down by hand.")
    if ended_at is None and forgotten(clock, at):
        raise Clash("This clock has run for very long. Say when the work really ended.")
    ended = ended_at or at
    thing, start, step = clock.object, clock.started_at, clock.step
    clock.delete()
    if ended_at is None and ended - start < SHORTEST:
        return None
    return log_time(
        thing, Said.sitting(step, start, ended, note=note, step_done=step_done), worker=worker, by=worker, at=at
    )


@transaction.atomic
def discard_clock(worker: User, *, at: datetime) -> None:
    """End the running clock without logging anything."""
    clock = RunningClock.objects.filter(worker=worker).first()
    if clock is None:
        raise Clash("No clock is running, so there is nothing to discard.")
    events.record(
        clock, "discarded a clock", by=worker, at=at, thread=str(clock.object_id),
        was={"step": clock.step, "started_at": clock.started_at},
    )  # fmt: skip
    clock.delete()
