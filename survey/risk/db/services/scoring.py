"""Running the scoring: what all of the collection teaches, then batches of objects, each written whole."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from media.base import bulk, events, jobs
from media.base.models import Job, User
from survey.condition.db.models import Joint
from survey.register.db.models import Exhibition
from survey.register.db.selectors import current_exhibition
from survey.risk.db.models import JointRisk, ObjectDraws, ObjectRisk, ParameterSet, RiskRun
from survey.risk.db.selectors.gathering import Gathered, gather
from survey.risk.db.selectors.light import Light, setting_of
from survey.risk.db.services.learning import learn_from
from survey.risk.db.services.rows import Batch, draw_rows, joint_rows, object_rows
from survey.risk.whole import score

BATCH = 400


def ensure_parameters(*, at: datetime) -> ParameterSet:
    """The newest parameter set; the shipped defaults become number 1 where there is none."""
    newest = ParameterSet.objects.order_by("-number").first()
    return newest or ParameterSet.objects.create(
        number=1, name="Shipped defaults", values={}, adopted_at=at, reason="As Fettle came"
    )


@transaction.atomic
def start_run(*, by: User | None, at: datetime, exhibition: Exhibition | None = None) -> tuple[RiskRun, Job]:
    """Ask for a scoring of everything; it goes on as a job."""
    exhibition = exhibition or current_exhibition()
    run = RiskRun.objects.create(
        parameters=ensure_parameters(at=at), exhibition=exhibition, as_of=at.date(), began_at=at, asked_by=by
    )
    job = jobs.enqueue("survey.risk.run", by=by, title="Scoring all joints", run_id=str(run.pk))
    run.job = job
    run.save(update_fields=["job"])
    events.record(run, "asked for a scoring", by=by, at=at, became={"as_of": run.as_of, "exhibition": str(exhibition)})
    return run, job


def objects_to_score() -> list[UUID]:
    """Objects with a joint in place, in the order in which a run goes through them."""
    owners = Joint.objects.filter(ended_at=None, restoration__object__withdrawn_at=None)
    return sorted(set(owners.values_list("restoration__object_id", flat=True)))


def batches(ids: Sequence[UUID], *, after: str) -> list[list[UUID]]:
    """What is left of a run, in batches."""
    left = [pk for pk in ids if not after or pk > UUID(after)]
    return [left[start : start + BATCH] for start in range(0, len(left), BATCH)]


def learn_run(run: RiskRun, ids: Sequence[UUID]) -> None:
    """Work out what all objects of a run teach, and keep it with the run."""
    run.learned = learned_for(run, ids)
    run.save(update_fields=["learned"])


def learned_for(run: RiskRun, ids: Sequence[UUID]) -> dict[str, Any]:
    """What some objects teach under the parameters and day of a run, which need not be saved."""
    setting = setting_of(run)
    gathered = (gather(some, run.exhibition, setting) for some in batches(ids, after=""))
    return learn_from(gathered, setting.parameters, seed=run.parameters.number)


def score_batch(light: Light, objects: Sequence[UUID]) -> None:
    """Score some objects and write their rows, replacing any that the run had."""
    write_scores(light, objects, gather(objects, light.run.exhibition, light.setting))


def write_scores(light: Light, objects: Sequence[UUID], gathered: Gathered) -> None:
    """Score what was gathered of some objects and write their rows."""
    run = light.run
    for model in (ObjectRisk, JointRisk, ObjectDraws):
        model.objects.filter(run=run, object__in=objects).delete()
    if gathered.joints:
        batch = Batch.of(
            light, gathered, score(gathered.told(light.number), light.learned, light.worlds, light.parameters)
        )
        bulk.insert(JointRisk, joint_rows(batch), leave_out=("id",))
        bulk.insert(ObjectRisk, object_rows(batch), leave_out=("id",))
        bulk.insert(ObjectDraws, draw_rows(batch), leave_out=("id",))
