"""Long work. The job row is the truth; the broker only rings the bell.

A job is claimed by a conditional update under a lease, renewed by every step; a worker that was taken for dead writes
nothing, since leaving a step checks the lease inside the step's own transaction. A sweeper re-queues what was lost.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import socket
import threading
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from media.base.errors import Clash, FettleError, NotThere
from media.base.models import Job, JobState, User

logger = logging.getLogger(__name__)
Work_ = Callable[..., None]
_registry: dict[str, Work_] = {}
_nightly: dict[str, str] = {}
NIGHT_HOUR = 2
"""Local hour from which the nightly jobs of a day are due; a machine that slept then does them when it wakes."""
# Of several processes: a worker's parent hears the stop, its children do the jobs.
stopping = multiprocessing.Event()


class LeaseLost(Exception):
    """Another worker has taken this job over: nothing more may be written."""


class Cancelled(Exception):
    """A person asked for the job to end."""


class HandedBack(Exception):
    """The worker is stopping; the job waits for the next one."""


def job(name: str) -> Callable[[Work_], Work_]:
    """Register a function as the work of jobs called ``name``; it is called with a ``Work`` and the job's arguments."""

    def register(function: Work_) -> Work_:
        if name in _registry and _registry[name] is not function:
            raise ValueError(f"two jobs are called {name}")
        _registry[name] = function
        return function

    return register


def nightly(name: str, title: str) -> Callable[[Work_], Work_]:
    """Register a job that takes no arguments and is asked for once a day, by whichever worker is awake first."""
    _nightly[name] = title
    return job(name)


def due_tonight(now: datetime) -> list[Job]:
    """Write the rows of nightly jobs that this day has not seen yet; returns those made.

    The row's key follows from name and day, so that of several workers one makes it.
    """
    local = timezone.localtime(now)
    if local.hour < NIGHT_HOUR:
        return []
    made = []
    for name, title in _nightly.items():
        pk = uuid.uuid5(uuid.NAMESPACE_OID, f"{name} {local.date().isoformat()}")
        row, new = Job.objects.get_or_create(pk=pk, defaults={"name": name, "title": title, "asked_at": now})
        made += [row] if new else []
    return made


def registered() -> frozenset[str]:
    """Names of all known jobs."""
    return frozenset(_registry)


def enqueue(name: str, *, by: User | None = None, title: str = "", **arguments: Any) -> Job:
    """Write a job's row now; deliver its number once the surrounding transaction is committed."""
    if name not in _registry:
        raise ValueError(f"name: no job is called {name!r}")
    row = Job.objects.create(name=name, title=title, arguments=arguments, asked_by=by, asked_at=timezone.now())
    transaction.on_commit(lambda: deliver(row.pk))
    return row


def deliver(pk: Any) -> None:
    """Ring the bell for one job. A broker that does not answer is no error: the sweeper rings again."""
    from media.base.tasks import run_job

    Job.objects.filter(pk=pk).update(delivered_at=timezone.now())
    try:
        run_job.apply_async(args=(str(pk),), retry=False)
    except Exception:
        if settings.CELERY_TASK_ALWAYS_EAGER:
            raise
        logger.warning("job %s: the broker does not answer; it will be delivered when it does", pk)


def cancel(pk: Any) -> Job:
    """Ask a job to end; one that nobody has begun ends at once."""
    now = timezone.now()
    Job.objects.filter(pk=pk, state=JobState.QUEUED).update(state=JobState.CANCELLED, finished_at=now)
    Job.objects.filter(pk=pk, state=JobState.RUNNING).update(cancel_asked=True)
    row = Job.objects.filter(pk=pk).first()
    if row is None:
        raise NotThere("This job does not exist any more.")
    if row.state in {JobState.DONE, JobState.FAILED}:
        raise Clash("This job has already ended, so there is nothing to cancel.")
    return row


@dataclass
class Work:
    """What a job's function works with: progress, resuming, and the right to write."""

    row: Job
    owner: str
    cursor: str = field(init=False)

    def __post_init__(self) -> None:
        self.cursor = self.row.cursor

    def say(self, what: str, *, total: int | None = None) -> None:
        """Tell the page what is being done now, and of how many."""
        changes: dict[str, Any] = {"saying": what[:200]}
        if total is not None:
            changes["total"] = total
        self._renew(changes)

    @contextmanager
    def step(self, *, cursor: str = "", done: int = 0, saying: str = "") -> Iterator[None]:
        """One batch: its writes, the progress and the lease's renewal stand or fall together."""
        with transaction.atomic():
            yield
            changes: dict[str, Any] = {"done": F("done") + done}
            if cursor:
                changes["cursor"] = cursor
            if saying:
                changes["saying"] = saying[:200]
            self._renew(changes)
        self.cursor = cursor or self.cursor
        if stopping.is_set():
            raise HandedBack

    def finish(self, result: Any) -> None:
        """Keep what the job found; the row is closed when the function returns."""
        self._renew({"result": result})

    def _renew(self, changes: dict[str, Any]) -> None:
        until = timezone.now() + timedelta(seconds=settings.JOB_LEASE_SECONDS)
        mine = Job.objects.filter(pk=self.row.pk, owner=self.owner, state=JobState.RUNNING)
        if not mine.filter(cancel_asked=False).update(lease_until=until, **changes):
            raise Cancelled if mine.exists() else LeaseLost


def claim(pk: Any, owner: str) -> Job | None:
    """Take a job that waits, or whose lease has run out; none if somebody else has it."""
    now = timezone.now()
    free = Q(state=JobState.QUEUED) | Q(state=JobState.RUNNING, lease_until__lt=now)
    until = now + timedelta(seconds=settings.JOB_LEASE_SECONDS)
    taken = Job.objects.filter(free, pk=pk).update(
        state=JobState.RUNNING, owner=owner, lease_until=until, attempts=F("attempts") + 1, started_at=now
    )
    return Job.objects.get(pk=pk) if taken else None


def run(pk: Any) -> None:
    """Claim and do one job; delivered twice, the second call finds nothing to take."""
    owner = f"{socket.gethostname()}:{os.getpid()}:{threading.get_ident()}:{timezone.now().timestamp()}"
    row = claim(pk, owner)
    if row is None:
        return
    if row.attempts > settings.JOB_ATTEMPTS:
        _close(
            row, owner, JobState.FAILED, error=f"Given up after {settings.JOB_ATTEMPTS} attempts: a person must look."
        )
        return
    try:
        with _kept_alive(row, owner):
            _registry[row.name](Work(row, owner), **row.arguments)
    except Cancelled:
        _close(row, owner, JobState.CANCELLED)
    except LeaseLost:
        logger.warning("job %s: lease lost, another worker goes on", pk)
    except HandedBack:
        Job.objects.filter(pk=pk, owner=owner).update(
            state=JobState.QUEUED, lease_until=None, delivered_at=None, attempts=F("attempts") - 1
        )
    except FettleError as error:
        _close(row, owner, JobState.FAILED, error=error.message)
    except Exception as error:
        logger.exception("job %s (%s) failed", pk, row.name)
        _close(row, owner, JobState.FAILED, error=f"It stopped on a fault of Fettle's own ({type(error).__name__}).")
    else:
        _close(row, owner, JobState.DONE)


@contextmanager
def _kept_alive(row: Job, owner: str) -> Iterator[None]:
    """Renew the lease while one step computes longer than the lease lasts.

    A killed process takes this thread with it, so the lease of a dead worker still runs out.
    """
    over = threading.Event()

    def beat() -> None:
        from django.db import connection

        while not over.wait(settings.JOB_LEASE_SECONDS / 3):
            until = timezone.now() + timedelta(seconds=settings.JOB_LEASE_SECONDS)
            Job.objects.filter(pk=row.pk, owner=owner, state=JobState.RUNNING).update(lease_until=until)
        connection.close()

    if settings.CELERY_TASK_ALWAYS_EAGER:
        yield
        return
    thread = threading.Thread(target=beat, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def _close(row: Job, owner: str, state: JobState, *, error: str = "") -> None:
    Job.objects.filter(pk=row.pk, owner=owner, state=JobState.RUNNING).update(
        state=state, error=error, finished_at=timezone.now(), lease_until=None
    )


def sweep() -> list[str]:
    """Queue again what a dead worker held, and ring again for what waits; returns the jobs rung for.

    A waiting job is rung for only if its last delivery is older than two sweeps, or copies would pile up.
    """
    now = timezone.now()
    for row in Job.objects.filter(state=JobState.RUNNING, lease_until__lt=now):
        note = {"at": now.isoformat(), "lost": row.owner, "done": row.done}
        Job.objects.filter(pk=row.pk, owner=row.owner, state=JobState.RUNNING, lease_until__lt=now).update(
            state=JobState.QUEUED, owner="", lease_until=None, delivered_at=None, log=[*row.log, note]
        )
    stale = now - timedelta(seconds=2 * settings.JOB_SWEEP_SECONDS)
    waiting = Job.objects.filter(state=JobState.QUEUED).filter(Q(delivered_at=None) | Q(delivered_at__lt=stale))
    rung = [str(pk) for pk in waiting.values_list("pk", flat=True)[:200]]
    for pk in rung:
        deliver(pk)
    return rung
