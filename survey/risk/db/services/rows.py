"""The rows that a scored batch leaves behind: joints, objects, draws."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from survey.risk.consequence import SPREAD, display_weight, significance_weight
from survey.risk.contributions import in_sentences
from survey.risk.db.models import Band, JointRisk, ObjectDraws, ObjectRisk
from survey.risk.db.selectors.gathering import Gathered
from survey.risk.db.selectors.light import Light
from survey.risk.db.services.ordering import packed
from survey.risk.identification import CLASSES
from survey.risk.inputs import JointInputs
from survey.risk.magnitude import score as magnitude_score
from survey.risk.objects import ObjectScores
from survey.risk.reasons import Reason, object_numbers, reasons
from survey.risk.urgency import Urgency, urgency
from survey.risk.whole import Scores

BAND_OF_RULE = (Band.NOT_SEEN, Band.MONITOR, Band.BEFORE_OPENING, Band.BEFORE_MOVE, Band.DO_NOT_LIFT)
BAND_CODE_OF_RULE = ("not-seen", "monitor", "before-opening", "before-mount-or-travel", "do-not-lift")
Said = list[Any]  # [workshop, period, logarithms by class], as stored
MOST_PARTS = 4  # of what a chance is made of, said in sentences


@dataclass(frozen=True)
class Batch:
    """One batch: what was gathered, its scores, and what the rules and the department's weights make of them."""

    light: Light
    gathered: Gathered
    scores: Scores
    urgency: Urgency
    inputs: JointInputs  # adhesives with what visits saw counted
    shown: ObjectScores  # with the interval of the draws
    weights: NDArray[np.float64]
    share_of_value: NDArray[np.float64]

    @classmethod
    def of(cls, light: Light, gathered: Gathered, scores: Scores) -> Batch:
        matters = significance_weight(_or_nan(fact.significance for fact in gathered.facts))
        listed = display_weight(_or_nan(fact.importance for fact in gathered.facts))
        objects = scores.together.objects
        shown = replace(
            objects,
            low=np.broadcast_to(scores.interval.low[:, None], objects.low.shape),
            high=np.broadcast_to(scores.interval.high[:, None], objects.high.shape),
            rank_unsure=np.zeros_like(objects.rank_unsure),
        )
        bands = light.parameters.thresholds
        return cls(
            light=light,
            gathered=gathered,
            scores=scores,
            urgency=urgency(gathered.signs, gathered.use, lifted_share=bands.lifted_share),
            inputs=scores.inputs.changed(class_probabilities=scores.together.classes[0]),
            shown=shown,
            weights=matters * listed,
            share_of_value=matters / light.whole,
        )

    @property
    def kinds(self) -> list[str]:
        """Kinds of the milestones ahead."""
        return [ahead.kind for ahead in self.light.setting.ahead]


def _or_nan(values: Iterable[int | None]) -> NDArray[np.float64]:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def joint_rows(batch: Batch) -> Iterator[JointRisk]:
    """A row for each joint."""
    gathered, joints = batch.gathered, batch.scores.together.joints
    before, opens = joints.before[0], joints.opens[0, :, -1]
    classes, last = batch.inputs.class_probabilities, batch.inputs.last_seen
    ageing = batch.scores.together.nitrate_now[0, :, 1:].sum(axis=1).clip(0, 1)
    for row, joint in enumerate(gathered.joints):
        chance = float(before[row, -1])
        assumed = ["load"] if batch.inputs.load.estimated[row] else []
        assumed += ["age"] if np.isnan(batch.inputs.age_now[row]) else []
        yield JointRisk(
            run=batch.light.run,
            joint_id=joint.id,
            object_id=joint.object_id,
            before_opening=chance,
            before_milestones=dict(zip(batch.kinds, before[row].round(6).tolist(), strict=True)),
            stage=int(last[row]) if last[row] >= 0 else None,
            stage_chances=joints.stage_now[0, row].round(4).tolist(),
            class_chances={c: round(float(p), 4) for c, p in zip(CLASSES, classes[row], strict=True) if p >= 0.005},
            nitrate_ageing=float(ageing[row]),
            move_share=float(1 - opens[row] / chance) if chance > 0 else 0.0,
            assumed=assumed,
        )


def object_rows(batch: Batch) -> Iterator[ObjectRisk]:
    """A row for each object that has a joint."""
    objects, loss = batch.scores.together.objects, batch.scores.together.loss[0, :, -1]
    seen = batch.inputs.last_seen
    for index, mine in _with_joints(batch):
        fact, band, worst = batch.gathered.facts[index], _band(batch, index), int(seen[mine].max())
        yield ObjectRisk(
            run=batch.light.run,
            object_id=fact.id,
            band=band,
            band_order=0 if band == Band.DO_NOT_LIFT else 1,
            before_opening=float(objects.middle[index, -1]),
            before_opening_low=float(batch.scores.interval.low[index]),
            before_opening_high=float(batch.scores.interval.high[index]),
            before_milestones=dict(zip(batch.kinds, objects.middle[index].round(6).tolist(), strict=True)),
            yearly=float(objects.per_year[0, index]),
            loss=float(loss[index]),
            weighted_loss=float(loss[index] * batch.weights[index]),
            magnitude=_magnitude(batch, index, mine),
            worst_stage=worst if worst >= 0 else None,
            joints=int(mine.size),
            reasons=[{"code": each.code, "text": each.text} for each in _reasons(batch, index)],
            on_checklist=bool(fact.use),
            warnings=batch.gathered.warnings.get(fact.id, []),
        )


def draw_rows(batch: Batch, held: Mapping[UUID, list[Said]]) -> Iterator[ObjectDraws]:
    """The draws of each object that has a joint, and what its restorations say of their workshops.

    Of objects in ``held`` what that says stays.
    """
    stored, gathered = packed(batch.scores.draws), batch.gathered
    said: dict[int, list[Said]] = defaultdict(list)
    owner = np.zeros(len(gathered.shops), dtype=np.int64)
    owner[gathered.restoration] = gathered.inputs.object_index
    for index, shop, words in zip(owner.tolist(), gathered.shops, batch.scores.speaks.tolist(), strict=True):
        if shop:
            said[index].append([str(shop[0]), shop[1], words])
    for index, _ in _with_joints(batch):
        pk = gathered.facts[index].id
        yield ObjectDraws(run=batch.light.run, object_id=pk, chances=stored[index], said=held.get(pk, said[index]))


def _with_joints(batch: Batch) -> Iterator[tuple[int, NDArray[np.int64]]]:
    """Objects that have joints, each with the rows of its joints."""
    index = batch.inputs.object_index
    order = np.argsort(index, kind="stable")
    ends = np.searchsorted(index[order], np.arange(len(batch.gathered.facts) + 1))
    for place in range(len(batch.gathered.facts)):
        if ends[place + 1] > ends[place]:
            yield place, order[ends[place] : ends[place + 1]]


def _band(batch: Batch, index: int) -> Band:
    """The rule's band; a surveyor's word that it must not be lifted stands above any rule."""
    if batch.gathered.facts[index].told_not_to_lift:
        return Band.DO_NOT_LIFT
    return BAND_OF_RULE[int(batch.urgency.band[index])]


def _magnitude(batch: Batch, index: int, mine: NDArray[np.int64]) -> dict[str, list[float]]:
    """A, B, C as low, probable, high; A from the yearly rate by three paces, B from the worst joint's loss."""
    rates = np.sort(batch.scores.yearly[:, index])
    worst = mine[int(np.argmax(batch.gathered.loss[mine, 1]))]
    share = float(batch.share_of_value[index])
    of_what = np.clip([share / SPREAD, share, share * SPREAD], 0, 1)
    years = 1 / np.maximum(rates, 1e-9)
    parts = magnitude_score(years, batch.gathered.loss[worst], of_what)
    return {name: part.round(3).tolist() for name, part in zip("ABC", parts, strict=True)}


def _reasons(batch: Batch, index: int) -> list[Reason]:
    gathered, scores, setting = batch.gathered, batch.scores, batch.light.setting
    last = len(setting.ahead) - 1
    labels = replace(gathered.labels, basis=scores.basis.tolist())
    numbers = object_numbers(
        batch.inputs,
        scores.together.joints,
        batch.shown,
        labels,
        index=index,
        milestone=last,
        milestone_name=setting.ahead[last].name,
        prior=0,
        band=BAND_CODE_OF_RULE[int(batch.urgency.band[index])],
        rules=[(code, [labels.part[row] for row in rows]) for code, rows in batch.urgency.reasons(index)],
        if_changed={code: float(changed[index]) for code, changed in scores.if_changed.items()},
        apart=float(scores.together.apart[0, index, last]),
    )
    told = gathered.facts[index].told_not_to_lift
    said = [Reason("told", f"The surveyor of {told:%-d %B %Y} said that it must not be lifted.")] if told else []
    made_of = in_sentences(
        scores.parts, batch.inputs, index, labels.part, leave_out=("moves",), most=MOST_PARTS
    )  # the moves are said among what would change it
    return [*said, *reasons(numbers), *(Reason(f"made-of-{n}", text) for n, text in enumerate(made_of, start=1))]
