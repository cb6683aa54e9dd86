"""Scoring as a job: resumed where it stopped, each object scored once however often it is delivered."""

from __future__ import annotations

from uuid import UUID

from django.utils import timezone

from media.base.jobs import Work, job
from survey.risk.db import services
from survey.risk.db.models import RiskRun
from survey.risk.db.selectors import latest_run
from survey.risk.db.selectors.parameters import PREVIEW_JOB
from survey.risk.db.services import trying


@job("survey.risk.run")
def run_risk(work: Work, *, run_id: str) -> None:
    """Score every joint of a run."""
    run = RiskRun.objects.select_related("parameters", "exhibition").get(pk=run_id)
    ids = services.objects_to_score()
    work.say("Scoring joints", total=len(ids))
    if not run.learned:
        with work.step(saying="Weighing what all joints say together"):
            services.learn_run(run, ids)
        work.say("Scoring joints")
    light = services.light_for(run)
    for objects in services.batches(ids, after=work.cursor):
        with work.step(cursor=str(objects[-1]), done=len(objects)):
            services.score_batch(light, objects)
    with work.step(saying="Putting them in order"):
        services.finish_run(run, at=timezone.now())
        services.ask_for_next_list(run, by=run.asked_by)
    work.finish({"run": str(run.pk), **run.counts})


@job("survey.risk.rescore")
def rescore(work: Work, *, objects: list[str]) -> None:
    """Score some objects again in the run that is shown; nothing to do before the first run."""
    run = latest_run()
    if run is None:
        work.finish({"scored": 0})
        return
    if not run.learned:
        with work.step(saying="Weighing what all joints say together"):
            services.learn_run(run, services.objects_to_score())
    ids = sorted(UUID(pk) for pk in objects)
    work.say("Scoring what was surveyed", total=len(ids))
    with work.step(done=len(ids)):
        services.score_batch(services.light_for(run), ids)
        services.finish_run(run, at=timezone.now())
    work.finish({"scored": len(ids)})


@job("survey.risk.look_next")
def look_next(work: Work, *, run_id: str) -> None:
    """Work out what to look at next after a run. Done whole: what is half done is never shown."""
    run = RiskRun.objects.select_related("parameters", "exhibition").get(pk=run_id)
    steps = list(services.make_next_list(run, tell=work.say))
    with work.step(saying="Keeping the list"):
        made = services.keep_next_list(run, steps, at=timezone.now())
    work.finish({"run": str(run.pk), **made.counts})


@job(PREVIEW_JOB)
def try_out_draft(work: Work, *, draft: str) -> None:
    """Work out what a draft of parameters would do to the ranking; nothing is kept but that."""
    trying.try_out(work, UUID(draft), at=timezone.now())
