"""Scoring as a job: resumed where it stopped, each object scored once however often it is delivered."""

from __future__ import annotations

from uuid import UUID

from django.utils import timezone

from media.base.jobs import Work, job
from survey.risk.db import services
from survey.risk.db.models import OwnFit, RiskRun
from survey.risk.db.selectors.loggers import LOOK_JOB
from survey.risk.db.selectors.parameters import PREVIEW_JOB
from survey.risk.db.services import fitting, loggers, running, trying


@job("survey.risk.run")
def run_risk(work: Work, *, run_id: str) -> None:
    """Score every joint of a run, together with any worker that takes a part of it."""
    running.run_whole(work, _run(run_id))


@job(running.PART_JOB)
def run_part(work: Work, *, run_id: str, after: str, upto: str) -> None:
    """Score the objects of one part of a run."""
    running.run_part(work, _run(run_id), after=after, upto=upto)


@job("survey.risk.rescore")
def rescore(work: Work, *, objects: list[str]) -> None:
    """Score some objects again in the run that is shown, then what they touch."""
    running.rescore(work, sorted(UUID(pk) for pk in objects))


def _run(pk: str) -> RiskRun:
    return RiskRun.objects.select_related("parameters", "exhibition").get(pk=pk)


@job("survey.risk.look_next")
def look_next(work: Work, *, run_id: str) -> None:
    """Work out what to look at next after a run. Done whole: what is half done is never shown."""
    run = _run(run_id)
    steps = list(services.make_next_list(run, tell=work.say))
    with work.step(saying="Keeping the list"):
        made = services.keep_next_list(run, steps, at=timezone.now())
    work.finish({"run": str(run.pk), **made.counts})


@job(PREVIEW_JOB)
def try_out_draft(work: Work, *, draft: str) -> None:
    """Work out what a draft of parameters would do to the ranking; nothing is kept but that."""
    trying.try_out(work, UUID(draft), at=timezone.now())


@job("survey.risk.fit")
def fit(work: Work, *, fit_id: str) -> None:
    """Fit rates to own surveys. Killed midway, it begins anew; a fit that is kept is not made again."""
    made = OwnFit.objects.select_related("parameters", "asked_by").get(pk=fit_id)

    def tell(words: str) -> None:
        with work.step(done=1, saying=words):
            pass

    if made.finished_at is None:
        work.say("Fitting", total=8)
        outcome = fitting.fit_own_surveys(made, tell=tell)
        with work.step(saying="Fitted"):
            fitting.keep_fit(made, outcome, at=timezone.now())
    work.finish({"fit": str(made.pk), **made.counts})


@job(LOOK_JOB)
def look_through_loggers(work: Work, *, file: str) -> None:
    """Read a logger's file and keep its months; nothing counts by this."""
    loggers.work_through(work, UUID(file), at=timezone.now())
