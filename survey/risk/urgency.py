"""What must not wait: rules on signs and use that no score can average away.

Suggested rules, to be agreed by the department's conservator; each term is yes, no or not known. Use (show, travel)
may raise a band and never lowers one. Grounds: an object that cannot be handled, packed or moved comes first
(pottery survey of a state museum laboratory, New Mexico, 2012); published lives conflict, so age alone sets no band.
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from survey.risk.stages import OPEN

LIFTED_SHARE = 0.5  # of a load-bearing joint's length, from which it must not be lifted


class Band(IntEnum):
    """How urgent, from least; ``code`` is what pages and exports carry."""

    NOT_SEEN = 0
    MONITOR = 1
    BEFORE_OPENING = 2
    BEFORE_MOVE = 3
    DO_NOT_LIFT = 4

    @property
    def code(self) -> str:
        """Stable word of the band."""
        return _CODES[self]


_CODES = {
    Band.NOT_SEEN: "not-seen",
    Band.MONITOR: "monitor",
    Band.BEFORE_OPENING: "before-opening",
    Band.BEFORE_MOVE: "before-mount-or-travel",
    Band.DO_NOT_LIFT: "do-not-lift",
}


@dataclass(frozen=True)
class JointSigns:
    """What was seen of joints [j], as it was recorded. Flags are 1 yes, 0 no, nan not known.

    ``stage`` int, 0 to 4 as last seen, -1 not seen; ``lifted_share`` 0 to 1 of the joint's length, nan not known.
    """

    object_index: NDArray[np.int64]
    stage: NDArray[np.int64]
    lifted_share: NDArray[np.float64]
    structural: NDArray[np.float64]
    part_detached: NDArray[np.float64]
    moves_under_touch: NDArray[np.float64]
    flaking_or_salts: NDArray[np.float64]
    shrunken_or_peeling: NDArray[np.float64]
    brittle_or_yellowed: NDArray[np.float64]


@dataclass(frozen=True)
class ObjectUse:
    """What objects [n] are meant for. Flags are 1 yes, 0 no, nan not known."""

    travels: NDArray[np.float64]
    hung_by_restored_part: NDArray[np.float64]
    on_show: NDArray[np.float64]
    disfiguring_restoration: NDArray[np.float64]


@dataclass(frozen=True)
class Urgency:
    """Bands of objects [n] and joints [j], with the rules that set them.

    ``rules`` maps each code of ``RULES`` to the joints [j] or objects [n] for which it holds.
    """

    band: NDArray[np.int64]
    joint_band: NDArray[np.int64]
    must_not_be_lifted: NDArray[np.bool_]
    rules: dict[str, NDArray[np.bool_]]
    object_index: NDArray[np.int64]

    def reasons(self, index: int) -> list[tuple[str, tuple[int, ...]]]:
        """Codes of the rules that set the band of one object, with the joints each holds for (none: the object)."""
        found: list[tuple[str, tuple[int, ...]]] = []
        for code, (band, of_joint) in RULES.items():
            if band != self.band[index]:
                continue
            if of_joint:
                rows = np.flatnonzero(self.rules[code] & (self.object_index == index))
                if rows.size:
                    found.append((code, tuple(int(row) for row in rows)))
            elif self.rules[code][index]:
                found.append((code, ()))
        return found


# Code of each rule: the band it sets, and whether it is about a joint (else about the whole object).
RULES: dict[str, tuple[Band, bool]] = {
    "joint-open": (Band.DO_NOT_LIFT, True),
    "part-detached": (Band.DO_NOT_LIFT, True),
    "joint-moves": (Band.DO_NOT_LIFT, True),
    "load-bearing-lifted": (Band.DO_NOT_LIFT, True),
    "lifted-load-unknown": (Band.DO_NOT_LIFT, True),
    "flaking-or-salts": (Band.DO_NOT_LIFT, True),
    "film-peeling": (Band.BEFORE_MOVE, True),
    "load-bearing-brittle": (Band.BEFORE_MOVE, True),
    "travels": (Band.BEFORE_MOVE, False),
    "hung-by-restored-part": (Band.BEFORE_MOVE, False),
    "discoloured": (Band.BEFORE_OPENING, True),
    "disfiguring": (Band.BEFORE_OPENING, False),
    "on-show": (Band.BEFORE_OPENING, False),
    "tight": (Band.MONITOR, True),
    "not-seen": (Band.NOT_SEEN, True),
}


def urgency(signs: JointSigns, use: ObjectUse, *, lifted_share: float = LIFTED_SHARE) -> Urgency:
    """Apply the rules: an object's band is that of its worst joint or of its use, whichever is more urgent.

    Parameters
    ----------
    signs : JointSigns [j]
    use : ObjectUse [n]
    lifted_share : float, 0 to 1, of a load-bearing joint's length, from which it must not be lifted

    Returns
    -------
    Urgency

    Raises
    ------
    ValueError
        Shapes that do not fit, or flags that are neither 0, 1 nor nan, named.

    Notes
    -----
    Not known never triggers a rule, but for one case: film lifted over half of a joint that nobody has said is not
    load-bearing is treated as load-bearing, since the mistake the other way drops an object.
    """
    _check(signs, use)
    lifted = signs.lifted_share >= lifted_share
    bearing, unknown = signs.structural == 1, np.isnan(signs.structural)
    peeling = (signs.shrunken_or_peeling == 1) | (signs.stage == 2) | (signs.lifted_share > 0)
    brittle = (signs.brittle_or_yellowed == 1) | np.isin(signs.stage, (1, 2))
    has_joint = np.zeros(use.travels.size, dtype=np.bool_)
    has_joint[signs.object_index] = True
    rules = {
        "joint-open": signs.stage == OPEN,
        "part-detached": signs.part_detached == 1,
        "joint-moves": (signs.moves_under_touch == 1) | (signs.stage == OPEN - 1),
        "load-bearing-lifted": lifted & bearing,
        "lifted-load-unknown": lifted & unknown,
        "flaking-or-salts": signs.flaking_or_salts == 1,
        "film-peeling": peeling,
        "load-bearing-brittle": brittle & bearing,
        "travels": (use.travels == 1) & has_joint,
        "hung-by-restored-part": use.hung_by_restored_part == 1,
        "discoloured": brittle,
        "disfiguring": use.disfiguring_restoration == 1,
        "on-show": (use.on_show == 1) & has_joint,
        "tight": signs.stage == 0,
    }
    joint_band = np.zeros(signs.stage.size, dtype=np.int64)
    band = np.zeros(use.travels.size, dtype=np.int64)
    for code, holds in rules.items():
        level, of_joint = RULES[code]
        target = joint_band if of_joint else band
        target[holds] = np.maximum(target[holds], int(level))
    joint_band[(joint_band == Band.NOT_SEEN) & (signs.stage >= 0)] = Band.MONITOR
    rules["not-seen"] = joint_band == Band.NOT_SEEN
    np.maximum.at(band, signs.object_index, joint_band)
    return Urgency(band, joint_band, band == Band.DO_NOT_LIFT, rules, signs.object_index)


def _check(signs: JointSigns, use: ObjectUse) -> None:
    """Shapes, flags, shares and stages, or ValueError by name."""
    joints, objects = signs.object_index.size, use.travels.size
    if np.any((signs.object_index < 0) | (signs.object_index >= objects)):
        raise ValueError("object_index must point into the objects of use")
    if signs.stage.shape != (joints,) or np.any((signs.stage < -1) | (signs.stage > OPEN)):
        raise ValueError(f"stage must be one whole number from -1 to {OPEN} for each joint")
    if np.any((signs.lifted_share < 0) | (signs.lifted_share > 1)) or signs.lifted_share.shape != (joints,):
        raise ValueError("lifted_share must lie between 0 and 1, one for each joint")
    flags = {name: (getattr(signs, name), joints) for name in signs.__dataclass_fields__}
    flags |= {name: (getattr(use, name), objects) for name in use.__dataclass_fields__}
    for name, (values, size) in flags.items():
        if name in ("object_index", "stage", "lifted_share"):
            continue
        if values.shape != (size,) or not np.all(np.isnan(values) | (values == 0) | (values == 1)):
            raise ValueError(f"{name} must be 0, 1 or nan, one for each row")
