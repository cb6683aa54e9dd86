"""Running the scoring: what all of the collection teaches, then batches of objects, each written whole."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
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


def objects_to_score(*, after: str = "", upto: str = "") -> list[UUID]:
    """Objects with a joint in place, in the order in which a run goes through them; a range of them by their keys."""
    owners = Joint.objects.filter(ended_at=None, restoration__object__withdrawn_at=None)
    if after:
        owners = owners.filter(restoration__object__gt=after)
    if upto:
        owners = owners.filter(restoration__object__lte=upto)
    return sorted(set(owners.values_list("restoration__object_id", flat=True)))


def batches(ids: Sequence[UUID], *, after: str) -> list[list[UUID]]:
    """What is left of a run, in batches."""
    left = [pk for pk in ids if not after or pk > UUID(after)]
    return [left[start : start + BATCH] for start in range(0, len(left), BATCH)]


def learned_for(
    run: RiskRun, ids: Sequence[UUID], *, tell: Callable[[int], None] = lambda read: None
) -> dict[str, Any]:
    """What some objects teach under the parameters and day of a run, which need not be saved.

    ``tell`` hears how many of them were read so far.
    """
    setting = setting_of(run)

    def gathered() -> Iterator[Gathered]:
        for number, some in enumerate(batches(ids, after="")):
            tell(number * BATCH)
            yield gather(some, run.exhibition, setting)

    return learn_from(gathered(), setting.parameters, seed=run.parameters.number)


def compute(light: Light, gathered: Gathered) -> Batch | None:
    """The scores of what was gathered; none where no joint is in place any more. Writes nothing."""
    if not gathered.joints:
        return None
    scores = score(gathered.told(light.number), light.learned, light.worlds, light.parameters)
    return Batch.of(light, gathered, scores)


def write(run: RiskRun, objects: Sequence[UUID], batch: Batch | None, *, hear: bool = True) -> None:
    """Write the rows of some objects, replacing any that the run had, in the caller's transaction.

    ``hear`` False keeps what they are known to have said of their workshops: a run has counted that, and no more.
    """
    held = (
        {} if hear else dict(ObjectDraws.objects.filter(run=run, object__in=objects).values_list("object_id", "said"))
    )
    for model in (ObjectRisk, JointRisk, ObjectDraws):
        model.objects.filter(run=run, object__in=objects).delete()
    if batch:
        bulk.insert(JointRisk, joint_rows(batch), leave_out=("id",))
        bulk.insert(ObjectRisk, object_rows(batch), leave_out=("id",))
        bulk.insert(ObjectDraws, draw_rows(batch, held), leave_out=("id",))


def score_batch(light: Light, objects: Sequence[UUID]) -> None:
    """Score some objects and write their rows, in the caller's transaction."""
    write(light.run, objects, compute(light, gather(objects, light.run.exhibition, light.setting)))
