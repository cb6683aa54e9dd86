"""Score every old joint here and now, with a progress bar on a terminal."""

from __future__ import annotations

import json
import sys
import threading
import time
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from typing import Any, TextIO
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone

from media.base import jobs
from media.base.errors import FettleError
from media.base.models import Job, JobState
from survey.risk.db import jobs as risk_jobs  # noqa: F401  # registers the scoring
from survey.risk.db.models import RiskRun
from survey.risk.db.services import score_again

BAR = 32
PATIENCE = 3600  # seconds that another worker may take over a job it was quicker to claim

HELP = """Score every old joint on record: its chance to let go before opening day, and with it each object's band
and rank. The newest finished scoring is what all pages show; the one before stays on record.

Example:
  manage.py score
  manage.py score --json
"""


class Command(BaseCommand):
    help = HELP

    def create_parser(self, *args: Any, **kwargs: Any) -> Any:
        return super().create_parser(*args, formatter_class=RawDescriptionHelpFormatter, **kwargs)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="print the outcome as one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            run, job = score_again(by=None, at=timezone.now())
        except FettleError as error:
            raise CommandError(error.message) from error
        with _Bar(job.pk, sys.stderr):
            jobs.run(job.pk)
            job = _ended(job)
        if job.state != JobState.DONE:
            raise CommandError(job.error or "The scoring was stopped before it was done; the last scores still stand.")
        run.refresh_from_db()
        self.stdout.write(json.dumps(_outcome(run)) if options["json"] else _sentence(run))


def _ended(job: Job) -> Job:
    """The job once it has ended; a worker may have claimed it before this process did."""
    until = time.monotonic() + PATIENCE
    job.refresh_from_db()
    while not job.ended and time.monotonic() < until:
        time.sleep(0.2)
        job.refresh_from_db()
    return job


def _outcome(run: RiskRun) -> dict[str, Any]:
    return {
        "run": str(run.pk),
        "reckoned_from": run.as_of.isoformat(),
        "exhibition": run.exhibition.name if run.exhibition else None,
        "parameter_set": run.parameters.number,
        **run.counts,
    }


def _sentence(run: RiskRun) -> str:
    ahead = f" before the opening of {run.exhibition}" if run.exhibition else ""
    counts = run.counts
    return (
        f"{counts['joints']} joints of {counts['objects']} objects scored{ahead}; "
        f"{counts['do_not_lift']} must not be lifted. Next: manage.py rank"
    )


class _Bar:
    """A progress bar drawn from the job's row while the work goes on; nothing where nobody watches."""

    def __init__(self, job: UUID, out: TextIO) -> None:
        self.job, self.out = job, out
        self.over = threading.Event()
        self.thread = threading.Thread(target=self._draw, daemon=True) if out.isatty() else None

    def __enter__(self) -> _Bar:
        if self.thread:
            self.thread.start()
        return self

    def __exit__(self, *raised: object) -> None:
        self.over.set()
        if self.thread:
            self.thread.join()
            self.out.write("\r" + " " * (BAR + 40) + "\r")

    def _draw(self) -> None:
        while not self.over.wait(0.15):
            job = Job.objects.get(pk=self.job)
            full = round(BAR * (job.share or 0))
            counted = f"{job.done} of {job.total} objects" if job.total else ""
            self.out.write(f"\r[{'=' * full}{' ' * (BAR - full)}] {counted:<24}")
            self.out.flush()
        connection.close()
