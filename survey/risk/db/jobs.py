"""Scoring as a job: resumed where it stopped, each object scored once however often it is delivered."""

from __future__ import annotations

from uuid import UUID

from django.utils import timezone

from media.base.jobs import Work, enqueue, job
from media.base.models import Job, JobState
from survey.risk.db import services
from survey.risk.db.models import OwnFit, RiskRun
from survey.risk.db.selectors import latest_run
from survey.risk.db.selectors.light import light_for
from survey.risk.db.selectors.loggers import LOOK_JOB
from survey.risk.db.selectors.parameters import PREVIEW_JOB
from survey.risk.db.services import fitting, loggers, trying

RESCORE = "survey.risk.rescore"


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
    light = light_for(run)
    for objects in services.batches(ids, after=work.cursor):
        with work.step(cursor=str(objects[-1]), done=len(objects)):
            services.score_batch(light, objects)
    with work.step(saying="Putting them in order"):
        services.finish_run(run, at=timezone.now())
        services.ask_for_next_list(run, by=run.asked_by)
        if since := services.assessed_since(run.began_at):
            title = "Score what was surveyed meanwhile"
            enqueue(RESCORE, by=run.asked_by, title=title, objects=[str(pk) for pk in since])
    work.finish({"run": str(run.pk), **run.counts})


@job(RESCORE)
def rescore(work: Work, *, objects: list[str]) -> None:
    """Score some objects again in the run that is shown; nothing to do before the first run.

    The objects come first, so that they show within a second or two; then other work of the same workshops, if it is
    touched; then the order of all. Of several such jobs that wait, the last does the last two.
    """
    run = latest_run()
    if run is None:
        work.finish({"scored": 0})
        return
    if not run.learned:
        with work.step(saying="Weighing what all joints say together"):
            services.learn_run(run, services.objects_to_score())
    ids = sorted(UUID(pk) for pk in objects)
    if not work.cursor:
        work.say("Scoring what was surveyed", total=len(ids))
        with work.step(cursor=str(UUID(int=0)), done=len(ids)):
            services.rescore_touched(run, ids, at=timezone.now())
    if Job.objects.filter(name=RESCORE, state=JobState.QUEUED).exists():
        work.finish({"scored": len(ids)})
        return
    shops, others = services.others_to_rescore(run, but=ids)
    work.say("Scoring other work of the same workshops", total=len(ids) + len(others))
    for some in services.batches(others, after=work.cursor):
        with work.step(cursor=str(some[-1]), done=len(some)):
            services.rescore_others(run, some)
    with work.step(saying="Putting them in order"):
        services.settle(run, shops)
        run.refresh_from_db()
        services.finish_run(run, at=timezone.now())
    work.finish({"scored": len(ids) + len(others)})


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


@job(LOOK_JOB)
def look_through_loggers(work: Work, *, file: str) -> None:
    """Read a logger's file and keep its months; nothing counts by this."""
    loggers.work_through(work, UUID(file), at=timezone.now())


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
