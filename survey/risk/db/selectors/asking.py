"""What would become of one object's score: treated, its adhesive proved, moved otherwise. Nothing is written."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

import numpy as np

from media.base.errors import NotThere
from survey.risk.consequence import display_weight, significance_weight
from survey.risk.db.models import ObjectRisk, RiskRun
from survey.risk.db.selectors.gathering import ObjectFacts, gather
from survey.risk.db.selectors.light import light_for
from survey.risk.db.selectors.ranking import in_run
from survey.risk.moves import PLANNED, planned_moves
from survey.risk.together import score_together
from survey.risk.what_if import Asked
from survey.risk.whole import Outcome, outcome, tied

STAYS = "stays"  # not moved at all, which no use on a checklist says


@dataclass(frozen=True)
class Then:
    """One object's chance before opening with its interval, the share expected to be lost, and its rank."""

    chance: float
    low: float
    high: float
    loss: float
    rank: int


@dataclass(frozen=True)
class WhatIf:
    """One object as it stands and as asked; ``barred`` where a rule on signs puts it first whatever its chance."""

    now: Then
    then: Then
    barred: bool


def what_if(run: RiskRun, pk: UUID, *, adhesive: str = "", treated: str = "", use: str = "") -> WhatIf:
    """Score one object as the record has it and as asked.

    Parameters
    ----------
    run : RiskRun that has learned
    pk : UUID of an object scored in it
    adhesive : class code taken as proved on every joint; empty leaves it as known
    treated : code of ``what_if.TREATED``
    use : how it is shown instead, a code of ``moves.PLANNED`` or ``STAYS``; empty leaves it as planned

    Raises
    ------
    NotThere
        The object has no score, or no joint in place any more, or the run is from before it could be asked.
    ValueError
        A code that is not known.
    """
    row = in_run(run).filter(object=pk).first()
    if row is None or not run.learned:
        raise NotThere("This can be asked of scored objects only. Score the joints again on the ranking page first.")
    if use and use != STAYS and use not in PLANNED:
        raise ValueError(f"use must be one of {', '.join(PLANNED)}, {STAYS}, or empty")
    light = light_for(run)
    gathered = gather([pk], run.exhibition, light.setting)
    if not gathered.joints:
        raise NotThere("No old joint of this object is in place any more.")
    told, given = gathered.told(light.number), light.parameters
    bonds, _, found = tied(told, light.learned.workshops, given)
    inputs = told.inputs.changed(class_probabilities=found.rows)
    kinds = [ahead.kind for ahead in light.setting.ahead]
    moves = None if not use else planned_moves("" if use == STAYS else use, kinds)
    worst = int(score_together(inputs, bonds, light.learned.assumptions(given.assumptions)).objects.worst_joint[0, -1])
    changed = Asked(adhesive, treated, moves).of(inputs, bonds, worst)
    outcomes = [outcome(*each, told, light.learned, light.worlds, given) for each in ((inputs, bonds), changed)]
    weight = _weight(gathered.facts[0])
    now, then = (_then(row, made, weight) for made in outcomes)
    return WhatIf(now, then, row.band_order == 0)


def _weight(fact: ObjectFacts) -> float:
    numbers = [np.array([np.nan if value is None else value]) for value in (fact.significance, fact.importance)]
    return float(significance_weight(numbers[0])[0] * display_weight(numbers[1])[0])


def _then(row: ObjectRisk, made: Outcome, weight: float) -> Then:
    loss = float(made.loss[0])
    before = ObjectRisk.objects.filter(
        run=row.run_id, band_order=row.band_order, weighted_loss__gt=loss * weight * (1 + 1e-9)
    )  # a hair above itself, for the last bit of the reckoning
    first = ObjectRisk.objects.filter(run=row.run_id, band_order__lt=row.band_order)
    rank = 1 + first.count() + before.exclude(pk=row.pk).count()
    return Then(float(made.chance[0]), float(made.low[0]), float(made.high[0]), loss, rank)
