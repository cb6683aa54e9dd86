"""Scoring again only what a new assessment touches.

The object itself is scored at once, with its new word on the habit of its workshops counted: that is what a whole run
would do, but for the pace of the department, which stays as the run learned it until the next whole run. Other work of
the same workshop and period follows in batches once its habit has moved by more than ``DRIFT`` since it was last
scored; below that it stays as it is, and a whole run would give a chance that differs by about as little.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from media.base import bulk
from survey.condition.db.models import Assessment
from survey.risk.db.models import ObjectDraws, ObjectRisk, RiskRun
from survey.risk.db.selectors.findings import Shop, objects_of
from survey.risk.db.selectors.gathering import gather
from survey.risk.db.selectors.light import Light, light_for
from survey.risk.db.services.learning import keep
from survey.risk.db.services.ordering import ranked
from survey.risk.db.services.scoring import compute, write
from survey.risk.whole import says

DRIFT = 0.01  # total variation between two habits of a workshop


def rescore_touched(run: RiskRun, objects: Sequence[UUID], *, at: datetime) -> None:
    """Score some objects again in a run that is shown, in the transaction that the caller holds.

    Their ranks are right at once; those of others, ties, and the chance to be among the first follow when all is put in
    order.
    """
    _score(_held(run), objects)
    _rank(run, set(objects))
    RiskRun.objects.filter(pk=run.pk).update(finished_at=at)


def others_to_rescore(run: RiskRun, *, but: Collection[UUID]) -> tuple[list[Shop], list[UUID]]:
    """Workshops and periods whose habit has moved since their work was scored, and the objects with such work.

    Those of ``but`` are scored by it already.
    """
    shops, done = light_for(_fresh(run)).drifted(DRIFT), set(but)
    return shops, [pk for pk in objects_of(shops) if pk not in done]


def settle(run: RiskRun, shops: Sequence[Shop], by: Light) -> None:
    """Note that all work of these workshops and periods is scored by the habits of ``by``, in the caller's
    transaction."""
    keep(_held(run).settled(shops, by))


def assessed_since(moment: datetime) -> list[UUID]:
    """Objects with an assessment finished after a moment: a run that began then may have read them before."""
    found = Assessment.objects.filter(finished_at__gt=moment, object__withdrawn_at=None)
    return sorted(set(found.values_list("object_id", flat=True)))


def _held(run: RiskRun) -> Light:
    """The light of a run whose row nobody else changes until the caller's transaction ends."""
    RiskRun.objects.select_for_update().get(pk=run.pk)
    return light_for(_fresh(run))


def _fresh(run: RiskRun) -> RiskRun:
    return RiskRun.objects.select_related("parameters", "exhibition").get(pk=run.pk)


def _score(light: Light, objects: Sequence[UUID]) -> None:
    """Take back the former words of some objects on workshops' habits, say their present ones, and score by these."""
    words: list[tuple[Shop, NDArray[np.float64], int]] = []
    for said in ObjectDraws.objects.filter(run=light.run, object__in=objects).values_list("said", flat=True):
        words += [((UUID(workshop), period), -np.array(logs), -1) for workshop, period, logs in said]
    gathered = gather(objects, light.run.exhibition, light.setting)
    if gathered.joints:
        spoken, kinds = says(gathered.told({}), light.parameters)
        found = zip(gathered.shops, spoken, kinds.tolist(), strict=True)
        words += [(shop, logs, kind) for shop, logs, kind in found if shop]
    light = light.heard(words)
    keep(light)
    write(light.run, objects, compute(light, gathered))


def _rank(run: RiskRun, objects: Collection[UUID]) -> None:
    """Write the ranks of some objects among all of their run as they stand now."""
    rows = list(ObjectRisk.objects.filter(run=run).order_by("object_id").values_list(
        "pk", "object_id", "band_order", "loss", "weighted_loss"
    ))  # fmt: skip
    if not rows:
        return
    pks, owners, bands, *losses = zip(*rows, strict=True)
    by_loss, by_weighted = (ranked(np.array(bands, np.int64), np.array(loss))[1].tolist() for loss in losses)
    places = zip(by_loss, by_weighted, pks, owners, strict=True)
    new = [(loss, weighted, pk) for loss, weighted, pk, owner in places if owner in objects]
    bulk.update_rows(ObjectRisk, ("rank_by_loss", "rank_by_weighted"), new)
