"""Runs as several workers do them: learned once, divided into parts that any worker takes, put in order at the end.

The job of the whole run takes parts itself, so that one worker is enough, and takes over what a dead one held; it ends
when all parts have. What is computed is computed outside any transaction, and only written inside.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from itertools import pairwise
from uuid import UUID

from django.db.models import F, Q
from django.utils import timezone

from media.base import jobs
from media.base.errors import FettleError
from media.base.jobs import Cancelled, Work
from media.base.models import Job, JobState
from survey.condition.db.services.finishing import RESCORE
from survey.risk.db.models import RiskRun
from survey.risk.db.selectors import latest_run
from survey.risk.db.selectors.gathering import gather
from survey.risk.db.selectors.light import light_for
from survey.risk.db.services.looking_next import ask_for_next_list
from survey.risk.db.services.ordering import finish_run, order_of
from survey.risk.db.services.rescoring import assessed_since, others_to_rescore, rescore_touched, settle
from survey.risk.db.services.scoring import batches, compute, learned_for, objects_to_score, write

PART_JOB = "survey.risk.part"
MOST_PARTS, LEAST_OBJECTS = 64, 50  # parts of a run, and objects in one: starting on a part takes a moment
PATIENCE = 0.2  # seconds between looks at parts that others hold
DIVIDED = "divided"


def run_whole(work: Work, run: RiskRun) -> None:
    """Learn, divide, see to it that all parts are done, put in order. Raises ``FettleError`` where a part failed."""
    if not work.cursor:
        ids = objects_to_score()
        work.say("Reading what is known", total=len(ids))
        if not run.learned:
            _learn(work, run, ids)
        with work.step(cursor=DIVIDED, saying="Scoring joints"):
            _divide(run, ids)
    _see_parts_done(work, run)
    work.say("Putting them in order")
    order = order_of(run)
    with work.step():
        finish_run(run, order, at=timezone.now())
        ask_for_next_list(run, by=run.asked_by)
        if since := assessed_since(run.began_at):
            title = "Score what was surveyed meanwhile"
            jobs.enqueue(RESCORE, by=run.asked_by, title=title, objects=[str(pk) for pk in since])
    work.finish({"run": str(run.pk), **run.counts})


def _learn(work: Work, run: RiskRun, ids: Sequence[UUID]) -> None:
    learned = learned_for(run, ids, tell=lambda read: work.say(f"Reading what is known: {read} of {len(ids)} objects"))
    with work.step(saying="Weighing what all joints say together"):
        run.learned = learned
        run.save(update_fields=["learned"])


def _divide(run: RiskRun, ids: Sequence[UUID]) -> None:
    """Ask for the parts: ranges of keys that follow each other without a gap."""
    size = max(LEAST_OBJECTS, -(-len(ids) // MOST_PARTS))
    ends = ["", *(str(pk) for pk in ids[size - 1 : -1 : size]), ""]
    for number, (after, upto) in enumerate(pairwise(ends), start=1):
        title = f"Scoring joints, part {number} of {len(ends) - 1}"
        jobs.enqueue(PART_JOB, by=run.asked_by, title=title, run_id=str(run.pk), after=after, upto=upto)


def _see_parts_done(work: Work, run: RiskRun) -> None:
    parts = Job.objects.filter(name=PART_JOB, arguments__run_id=str(run.pk)).order_by("asked_at", "pk")
    while True:
        with work.step():  # the right to go on
            pass
        states = dict(parts.values_list("pk", "state"))
        failed = parts.filter(state__in=(JobState.FAILED, JobState.CANCELLED)).first()
        if failed:
            raise FettleError(failed.error or "A part of the scoring was stopped. The last scores still stand.")
        if all(state == JobState.DONE for state in states.values()):
            return
        free = Q(state=JobState.QUEUED) | Q(state=JobState.RUNNING, lease_until__lt=timezone.now())
        waiting = parts.filter(free).values_list("pk", flat=True).first()
        if waiting:
            jobs.run(waiting)
        else:
            time.sleep(PATIENCE)


def run_part(work: Work, run: RiskRun, *, after: str, upto: str) -> None:
    """Score the objects of one part; given up where the run itself was."""
    ids = objects_to_score(after=after, upto=upto)
    work.say("Scoring joints", total=len(ids))
    whole = Job.objects.filter(pk__in=[run.job_id])
    light = light_for(run)
    for objects in batches(ids, after=work.cursor):
        if not whole.filter(state__in=(JobState.QUEUED, JobState.RUNNING), cancel_asked=False).exists():
            raise Cancelled
        batch = compute(light, gather(objects, run.exhibition, light.setting))
        with work.step(cursor=str(objects[-1]), done=len(objects)):
            write(run, objects, batch)
            whole.update(done=F("done") + len(objects))
    work.finish({"scored": len(ids)})


def rescore(work: Work, ids: Sequence[UUID]) -> None:
    """Score some objects again in the run that is shown; nothing to do before the first run.

    The objects come first, so that they show within a second or two; then other work of the same workshops, if it is
    touched; then the order of all. Of several such jobs that wait, the last does the last two.
    """
    run = latest_run()
    if run is None:
        work.finish({"scored": 0})
        return
    if not run.learned:
        _learn(work, run, objects_to_score())
    if not work.cursor:
        work.say("Scoring what was surveyed", total=len(ids))
        with work.step(cursor=str(UUID(int=0)), done=len(ids)):
            rescore_touched(run, ids, at=timezone.now())
    if Job.objects.filter(name=RESCORE, state=JobState.QUEUED).exists():
        work.finish({"scored": len(ids)})
        return
    shops, others = others_to_rescore(run, but=ids)
    run.refresh_from_db(fields=["learned"])
    light = light_for(run)
    work.say("Scoring other work of the same workshops", total=len(ids) + len(others))
    for objects in batches(others, after=work.cursor):
        batch = compute(light, gather(objects, run.exhibition, light.setting))
        with work.step(cursor=str(objects[-1]), done=len(objects)):
            write(run, objects, batch, hear=False)
    work.say("Putting them in order")
    order = order_of(run)
    with work.step():
        settle(run, shops, light)
        run.refresh_from_db(fields=["learned"])
        finish_run(run, order, at=timezone.now())
    work.finish({"scored": len(ids) + len(others)})
