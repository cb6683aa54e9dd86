"""What an object's chance is made of: how much of it goes when one thing is taken away, and whether the parts add up.

Parts of a chance need not add up: where either of two joints would be enough, taking one away changes little, and
taking away both changes much. So each part is the fall in the chance when that one thing alone is taken away, and it
is said what they come to together.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survey.risk.bonds import Bonds, Floats
from survey.risk.identification import CLASSES
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.reasons import percent
from survey.risk.together import Together, chances_together, score_together

CAUSES: tuple[str, ...] = ("moves", "waiting", "age", "adhesive")
CAUSE_WORDS: dict[str, str] = {
    "moves": "the planned moves",
    "waiting": "the time until then",
    "age": "the years since it was joined",
    "adhesive": "not knowing the adhesive",
}
ADDS_UP = 0.05  # of the chance: parts that come this near to it are said to add up


@dataclass(frozen=True)
class Contributions:
    """Parts of the chance of objects [n] before the last milestone, under the middle belief.

    Attributes
    ----------
    chance : [n]
    joints : [j], fall of its object's chance if this joint could not fail
    causes : [n, 4], in the order of ``CAUSES``: fall without any planned move; with the milestone today; with joints
        made today, or seen today as they were seen last; with each adhesive known for what it most likely is. The last
        two may be negative: not knowing can be good or bad news.
    of_joints : [n], the parts of an object's joints added up
    """

    chance: Floats
    joints: Floats
    causes: Floats
    of_joints: Floats

    @property
    def adds_up(self) -> NDArray[np.bool_]:
        """Whether [n] the parts of the joints come to the chance."""
        return np.asarray(np.abs(self.of_joints - self.chance) <= ADDS_UP * self.chance)


def contributions(
    inputs: JointInputs, bonds: Bonds, assumptions: Assumptions | None = None, *, scores: Together | None = None
) -> Contributions:
    """Take away one thing at a time.

    Parameters
    ----------
    inputs : JointInputs; bonds : Bonds; assumptions : Assumptions, optional
    scores : Together, optional, of the same inputs, bonds and assumptions; reckoned if not given
    """
    chosen = assumptions or Assumptions()
    made = scores or score_together(inputs, bonds, chosen)
    chance = made.objects.before[chosen.middle, :, -1]
    joints = chance[inputs.object_index] - made.without[chosen.middle, :, -1]
    asked = (_unmoved(inputs), _at_once(inputs), _made_today(inputs))
    falls = [chance - chances_together(changed, bonds, chosen) for changed in asked]
    falls.append(chance - chances_together(*_known(inputs, bonds), chosen))
    together = np.bincount(inputs.object_index, joints, minlength=inputs.object_count)
    return Contributions(chance, joints, np.stack(falls, axis=1), np.asarray(together, dtype=np.float64))


def _unmoved(inputs: JointInputs) -> JointInputs:
    return inputs.changed(moves=np.zeros_like(inputs.moves))


def _at_once(inputs: JointInputs) -> JointInputs:
    """All that is planned done today."""
    return inputs.changed(years_ahead=np.zeros_like(inputs.years_ahead))


def _made_today(inputs: JointInputs) -> JointInputs:
    """No ageing until today: joints never seen are new, the others stand as they were last seen, seen today."""
    last = inputs.last_seen
    return inputs.changed(
        age_now=np.zeros(last.size), visit_ago=np.zeros((last.size, 1)), visit_stages=last[:, None].copy()
    )


def _known(inputs: JointInputs, bonds: Bonds) -> tuple[JointInputs, Bonds]:
    """Every adhesive known for what it most likely is."""
    shares = np.eye(len(CLASSES))[inputs.class_probabilities.argmax(axis=1)]
    certain = replace(bonds, follows=np.zeros_like(bonds.follows), otherwise=shares)
    return inputs.changed(class_probabilities=shares), certain


def in_sentences(
    found: Contributions,
    inputs: JointInputs,
    index: int,
    parts: Sequence[str],
    *,
    leave_out: Sequence[str] = (),
    most: int | None = None,
) -> list[str]:
    """What one object's chance is made of, greatest part first, and whether the joints' parts add up.

    ``parts`` [j] names where each joint is; ``leave_out`` names causes not to be said; ``most`` parts are said.
    """
    chance = float(found.chance[index])
    rows = np.flatnonzero(inputs.object_index == index).tolist()
    if not rows:
        return []
    named = [(float(found.joints[row]), f"the joint at the {parts[row]}") for row in rows]
    causes = zip(CAUSES, found.causes[index], strict=True)
    named += [(float(fall), CAUSE_WORDS[code]) for code, fall in causes if code not in leave_out]
    named = [part for part in named if abs(part[0]) > max(0.005, 0.05 * chance)]
    said = []
    for fall, words in sorted(named, key=lambda part: -abs(part[0]))[:most]:
        after = percent(min(1.0, max(0.0, chance - fall)))
        said.append(f"Without {words} the chance would be {after} instead of {percent(chance)}.")
    if len(rows) > 1:
        said.append(_sum_in_words(chance, float(found.of_joints[index]), bool(found.adds_up[index])))
    return said


def _sum_in_words(chance: float, together: float, adds_up: bool) -> str:
    """Whether the parts of the joints come to the whole."""
    if adds_up:
        return f"The parts of its joints add up to {percent(min(1.0, together))}, the whole chance."
    if together < chance:
        rest = percent(chance - together)
        return f"The parts of its joints do not add up: for {rest} more than one joint would be enough by itself."
    return "The parts of its joints do not add up to the chance: they come to more than it."
