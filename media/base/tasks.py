"""The one Celery task: it carries a job's number. And what a worker does beside it."""

from __future__ import annotations

import os
import sys
import threading
from typing import Any

from celery import shared_task
from celery.signals import worker_ready, worker_shutting_down
from django.conf import settings
from django.db import close_old_connections, connection
from django.utils import timezone

from media.base import jobs


@shared_task(name="fettle.job", acks_late=True)
def run_job(pk: str) -> None:
    """Do one job by its number; the row decides whether there is anything to do."""
    jobs.run(pk)


@worker_ready.connect
def begin(**_: Any) -> None:
    """Start the sweeper; and, for a child of the web process, die when the parent does."""
    jobs.stopping.clear()
    threading.Thread(target=_sweep_for_ever, daemon=True, name="sweeper").start()
    if os.environ.get("FETTLE_CHILD") == "1":
        threading.Thread(target=_die_with_parent, daemon=True, name="parent-watch").start()


@worker_shutting_down.connect
def end(**_: Any) -> None:
    """Jobs hand themselves back at their next step, so that a stop does not wait for a whole job."""
    jobs.stopping.set()


def _sweep_for_ever() -> None:
    while not jobs.stopping.wait(settings.JOB_SWEEP_SECONDS):
        close_old_connections()
        try:
            jobs.due_tonight(timezone.now())
            jobs.sweep()
        except Exception:
            jobs.logger.warning("the sweeper could not reach the database; it tries again", exc_info=True)
    connection.close()


def _die_with_parent() -> None:
    # The parent holds the other end of this pipe; its death, however sudden, ends the reading.
    while os.read(sys.stdin.fileno(), 4096):
        pass
    os._exit(3)
