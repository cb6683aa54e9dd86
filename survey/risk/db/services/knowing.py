"""Everything on record at once, for what looks at a whole collection: joints, what they share, the pace learned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survey.condition.db.selectors import JointRow
from survey.risk.bonds import Bonds
from survey.risk.consequence import display_weight, significance_weight
from survey.risk.db.models import RiskRun
from survey.risk.db.selectors.gathering import ObjectFacts, gather
from survey.risk.db.services.scoring import batches, objects_to_score, setting_of
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.joining import joined
from survey.risk.pace import Pace, class_evidence, pace_evidence
from survey.risk.parameters import Parameters, read
from survey.risk.stages import StagePrior
from survey.risk.workshops import Findings, governing, identify

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


def known_of(run: RiskRun) -> Known | None:
    """Everything on record, adhesives weighed together and the pace learned from visits; None without a joint."""
    parameters, setting = read(run.parameters.values), setting_of(run)
    gathered = [gather(ids, run.exhibition, setting) for ids in batches(objects_to_score(), after="")]
    gathered = [each for each in gathered if each.joints]
    if not gathered:
        return None
    inputs = joined([each.inputs for each in gathered])
    joints = [joint for each in gathered for joint in each.joints]
    restoration, first = _numbered([joint.restoration_id for joint in joints])
    shops = [joints[row].workshop_id for row in first]
    workshop = _numbered(shops)[0]
    workshop[[shop is None for shop in shops]] = -1
    inputs, bonds = _tied(inputs, restoration, workshop, parameters)
    return Known(
        facts=[fact for each in gathered for fact in each.facts],
        joints=joints,
        parts=[part for each in gathered for part in each.labels.part],
        inputs=inputs,
        loss=np.concatenate([each.loss for each in gathered])[:, 1],
        bonds=bonds,
        workshop=workshop,
        assumptions=_learned(inputs, bonds, parameters),
        parameters=parameters,
    )


def _numbered(keys: Sequence[Any]) -> tuple[NDArray[np.int64], list[int]]:
    """Keys as numbers from 0 in order of appearance, and the first row of each."""
    number: dict[Any, int] = {}
    first: list[int] = []
    found = np.empty(len(keys), dtype=np.int64)
    for row, key in enumerate(keys):
        if key not in number:
            number[key] = len(number)
            first.append(row)
        found[row] = number[key]
    return found, first


def _tied(
    inputs: JointInputs, restoration: NDArray[np.int64], workshop: NDArray[np.int64], parameters: Parameters
) -> tuple[JointInputs, Bonds]:
    """What each joint was found to be, taken as its own evidence and shared over restorations and workshops."""
    prior, sharing = parameters.class_prior, parameters.sharing
    own = np.log(np.maximum(inputs.class_probabilities, 1e-12)) - np.log(prior)
    findings = Findings(restoration, workshop, own, np.zeros((workshop.size, prior.size)), prior)
    middle = parameters.assumptions.priors[parameters.assumptions.middle].mean_years
    aged = class_evidence(inputs, sharing, parameters.assumptions, years=middle)
    found = identify(findings, sharing, visits=aged)
    governs = governing(found, np.arange(restoration.size))
    bonds = Bonds.of(found, governs, restoration, sharing, findings=findings)
    return inputs.changed(class_probabilities=governs.classes), bonds


def _learned(inputs: JointInputs, bonds: Bonds, parameters: Parameters) -> Assumptions:
    """The assumptions with one belief about pace: the middle of what visits have left of it."""
    chosen = parameters.assumptions
    belief = Pace.prior(chosen)
    belief = belief.after(pace_evidence(inputs, bonds, chosen, belief.years), trust=parameters.visits_trust)
    middle = chosen.priors[chosen.middle]
    learned = StagePrior("learned", belief.quantile(0.5), "The middle belief with visits counted", middle.stays)
    return replace(chosen, priors=(learned,))
