"""Following a job on a terminal: a bar drawn from its row, and its end."""

from __future__ import annotations

import threading
import time
from typing import Any
from uuid import UUID

from django.db import connection

from media.base.models import Job

BAR = 32
PATIENCE = 3600.0  # seconds that another worker may take over a job that it was quicker to claim


def ended(job: Job) -> Job:
    """The job once it has ended; a worker may have claimed it before this process did."""
    until = time.monotonic() + PATIENCE
    job.refresh_from_db()
    while not job.ended and time.monotonic() < until:
        time.sleep(0.2)
        job.refresh_from_db()
    return job


class Bar:
    """A progress bar drawn from the job's row while the work goes on; nothing where nobody watches."""

    def __init__(self, job: UUID, out: Any, *, of: str) -> None:
        self.job, self.out, self.of = job, out, of
        self.over = threading.Event()
        self.thread = threading.Thread(target=self._draw, daemon=True) if out.isatty() else None

    def __enter__(self) -> Bar:
        if self.thread:
            self.thread.start()
        return self

    def __exit__(self, *raised: object) -> None:
        self.over.set()
        if self.thread:
            self.thread.join()
            self.out.write("\r" + " " * (BAR + 40) + "\r", ending="")

    def _draw(self) -> None:
        while not self.over.wait(0.15):
            job = Job.objects.get(pk=self.job)
            full = round(BAR * (job.share or 0))
            counted = f"{job.done} of {job.total} {self.of}" if job.total else ""
            self.out.write(f"\r[{'=' * full}{' ' * (BAR - full)}] {counted:<30}", ending="")
            self.out.flush()
        connection.close()
