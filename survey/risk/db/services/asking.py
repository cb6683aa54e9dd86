"""Asking for scores by hand, and taking that back."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from media.base import events, jobs
from media.base.errors import Clash, NotThere
from media.base.models import Job, JobState, User
from survey.risk.db.models import RiskRun
from survey.risk.db.selectors.summary import RUN_JOB
from survey.risk.db.services.scoring import start_run

OPEN = (JobState.QUEUED, JobState.RUNNING)


@transaction.atomic
def score_again(*, by: User | None, at: datetime) -> tuple[RiskRun, Job]:
    """Start a scoring of everything. Raises ``Clash`` while one goes on: two would only wait for each other."""
    if Job.objects.filter(name=RUN_JOB, state__in=OPEN).exists():
        raise Clash("Scoring goes on already. Wait until it is done, or stop it first.")
    return start_run(by=by, at=at)


@transaction.atomic
def stop_scoring(*, by: User | None, at: datetime) -> Job:
    """Stop the scoring that goes on; the scores shown stay those of the last run. Raises ``NotThere``."""
    job = Job.objects.filter(name=RUN_JOB, state__in=OPEN).order_by("-asked_at").first()
    if job is None:
        raise NotThere("No scoring goes on, so there is nothing to stop.")
    events.record(job, "stopped", by=by, at=at)
    return jobs.cancel(job.pk)
