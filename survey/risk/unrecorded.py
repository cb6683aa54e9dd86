"""What a look is worth at objects that nobody has surveyed and of which no joint is on record.

Of such an object only its surroundings speak: how many objects of its room had old joints, how many, and in which
stages. A room with few looks leans on the whole collection, as the mean of a beta or a Dirichlet distribution does on
its prior (D. V. Lindley, Introduction to Probability and Statistics (1965), part 2, from memory).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survey.risk.bonds import Bonds, Floats, Whole
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.look_next import ACT_FROM, LOOK_MINUTES_JOINT, LOOK_MINUTES_OBJECT, Looks, gained, if_seen, only_middle
from survey.risk.stages import OPEN, STAGES, with_slips
from survey.risk.together import score_together

COUNTS_AS = 10.0  # looks in a room from which its own record weighs as much as all others (expert default)


@dataclass(frozen=True)
class Peers:
    """What looks have found, by room [g]: objects ``looked`` at, of these ``restored``, their ``joints``, and how many
    of the joints were seen in each stage [g, s]."""

    looked: Whole
    restored: Whole
    joints: Whole
    stages: Whole

    def __post_init__(self) -> None:
        if self.stages.shape != (self.looked.size, len(STAGES)):
            raise ValueError(f"stages must be one row for each room, of {len(STAGES)}")
        if np.any((self.restored < 0) | (self.restored > self.looked)):
            raise ValueError("restored must lie between 0 and looked")

    def restored_share(self) -> Floats:
        """Chance [g] that a further object of the room has old joints."""
        overall = (self.restored.sum() + 1.0) / (self.looked.sum() + 2.0)
        return np.asarray((self.restored + COUNTS_AS * overall) / (self.looked + COUNTS_AS))

    def joints_each(self) -> Floats:
        """Mean number [g] of joints of a restored object of the room, at least 1."""
        overall = (self.joints.sum() + 1.0) / (self.restored.sum() + 1.0)
        each = (self.joints + COUNTS_AS * overall) / (self.restored + COUNTS_AS)
        return np.maximum(np.asarray(each), 1.0)


@dataclass(frozen=True)
class Typical:
    """Of one further joint in each group [g]: chance that a look at it changes what is done, its worth, and the chance
    that it is failing or open."""

    changes: Floats
    worth: Floats
    failing: Floats


def typical_joints(
    inputs: JointInputs,
    group: Whole,
    seen: Whole,
    *,
    loss: Floats,
    assumptions: Assumptions | None = None,
    act_from: float = ACT_FROM,
) -> Typical:
    """What to expect of one more joint like those on record.

    Parameters
    ----------
    inputs : JointInputs [j], joints on record that stand for it; what was seen of them is left aside
    group : int [j], which group each stands for, from 0; every group has at least one
    seen : int [g, s], stages found on joints of the same room
    loss : [j], share of the object's value lost with each
    assumptions : Assumptions, optional; the middle belief alone is used
    act_from : float, as for ``look_next.worth_of_looks``
    """
    chosen, groups = only_middle(assumptions or Assumptions()), seen.shape[0]
    if group.shape != inputs.object_index.shape or np.any(np.bincount(group, minlength=groups)[:groups] == 0):
        raise ValueError("group must name a group for each joint, and every group must have one")
    count = inputs.object_index.size
    blank = inputs.changed(visit_stages=np.full((count, 1), -1), visit_ago=np.full((count, 1), np.nan))
    now = score_together(blank, Bonds.none(blank), chosen).joints.stage_now[0]
    found = now @ with_slips(np.asarray(chosen.misclassification, dtype=np.float64))
    acts, gain = gained(if_seen(blank, chosen), act_from)
    of = _group_sums(found, group, groups)
    modelled = of / of.sum(axis=1, keepdims=True)
    likely = (seen + COUNTS_AS * modelled) / (seen.sum(axis=1, keepdims=True) + COUNTS_AS)
    some = np.maximum(of, 1e-300)  # by how likely each joint on record is to be the one that shows the stage
    changes = _group_sums(found * acts, group, groups) / some
    worth = _group_sums(found * gain * loss[:, None], group, groups) / some
    return Typical((likely * changes).sum(axis=1), (likely * worth).sum(axis=1), likely[:, OPEN - 1 :].sum(axis=1))


def worth_of_unrecorded(restored: Floats, joints: Floats, typical: Typical, group: Whole, *, matters: Floats) -> Looks:
    """What a look at each object [n] is worth.

    Parameters
    ----------
    restored, joints : [g], from ``Peers``, by group; typical : Typical [g]
    group : int [n], the group of each object
    matters : [n], >= 0, significance times importance

    Returns
    -------
    Looks
        ``unseen`` is 0: nobody knows how many joints there are.
    """
    expected = (restored * joints)[group]
    any_of = restored[group] * -np.expm1(joints[group] * np.log1p(-np.minimum(typical.changes[group], 1.0 - 1e-12)))
    minutes = LOOK_MINUTES_OBJECT + LOOK_MINUTES_JOINT * expected
    nobody_saw = np.zeros(group.size, dtype=np.int64)
    worth = expected * typical.worth[group] * matters
    return Looks(
        any_of, worth, minutes, expected * typical.failing[group], nobody_saw, nobody_saw, np.zeros(group.size)
    )


def _group_sums(values: Floats, group: Whole, groups: int) -> NDArray[np.float64]:
    return np.stack([np.bincount(group, column, minlength=groups) for column in values.T], axis=1)
