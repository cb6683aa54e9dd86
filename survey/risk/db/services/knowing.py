"""Everything on record at once, for what looks at a whole collection: joints, what they share, the pace learned."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.condition.db.selectors import JointRow
from survey.risk.bonds import Bonds
from survey.risk.consequence import display_weight, significance_weight
from survey.risk.db.models import RiskRun
from survey.risk.db.selectors.gathering import ObjectFacts, gather
from survey.risk.db.selectors.light import light_for, setting_of
from survey.risk.db.services.scoring import batches, learned_for, objects_to_score
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.joining import joined_told
from survey.risk.look_next import only_middle
from survey.risk.parameters import Parameters
from survey.risk.whole import tied

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Known:
    """All joints on record with what scoring knows of them; objects are numbered as in ``facts``."""

    facts: list[ObjectFacts]
    joints: list[JointRow]
    parts: list[str]
    inputs: JointInputs
    loss: Floats
    bonds: Bonds
    workshop: NDArray[np.int64]  # of each restoration, -1 not known
    assumptions: Assumptions
    parameters: Parameters

    @property
    def matters(self) -> Floats:
        """Significance times importance of each object [n], as in the ranking."""
        return matters_of([f.significance for f in self.facts], [f.importance for f in self.facts])


def matters_of(significance: Sequence[int | None], importance: Sequence[int | None]) -> Floats:
    def numbers(values: Sequence[int | None]) -> Floats:
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)

    return significance_weight(numbers(significance)) * display_weight(numbers(importance))


def known_of(run: RiskRun, tell: Callable[[str], None]) -> Known | None:
    """Everything on record in the light that a run's objects are scored in; None without a joint."""
    setting, ids, read = setting_of(run), objects_to_score(), 0
    gathered = []
    for some in batches(ids, after=""):
        tell(f"Reading joints on record: {read} of {len(ids)} objects")
        each = gather(some, run.exhibition, setting)
        gathered += [each] if each.joints else []
        read += len(some)
    if not gathered:
        return None
    if not run.learned:  # scored before a run kept what it learned
        run.learned = learned_for(run, ids)
    light = light_for(run)
    told = joined_told([each.told(light.number) for each in gathered])
    bonds, _, found = tied(told, light.learned.workshops, setting.parameters)
    return Known(
        facts=[fact for each in gathered for fact in each.facts],
        joints=[joint for each in gathered for joint in each.joints],
        parts=[part for each in gathered for part in each.labels.part],
        inputs=told.inputs.changed(class_probabilities=found.rows),
        loss=told.loss,
        bonds=bonds,
        workshop=told.workshop,
        assumptions=only_middle(light.learned.assumptions(setting.parameters.assumptions)),
        parameters=setting.parameters,
    )
