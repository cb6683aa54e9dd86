"""The numbers of one object in sentences that a curator accepts and a conservator can dispute.

Each sentence carries the code of what it says, so that a page can mark it, and never a certainty: a probability is
also said as a number of times in ten.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from survey.risk.adhesives import NAMES
from survey.risk.identification import CLASSES
from survey.risk.inputs import JointInputs
from survey.risk.load import MOVES
from survey.risk.objects import JointScores, ObjectScores
from survey.risk.stages import OPEN

# In the order of stages.STAGES.
STAGE_WORDS: tuple[str, ...] = ("sound", "ageing", "with failing adhesive", "failing: it moves or gapes", "open")

MOVE_WORDS: Mapping[str, str] = {
    "lift": "lifting",
    "photograph": "photographing",
    "mount": "mounting",
    "travel": "travel",
}

BASIS_WORDS: Mapping[str, str] = {
    "none": "nothing was tested: only how often each adhesive is met",
    "guess": "the surveyor's guess",
    "date": "the date of the repair",
    "look": "how it looks",
    "uv": "its colour under ultraviolet light",
    "solvent": "its response to a solvent swab",
    "nitrate_test": "a spot test for nitrate",
    "protein_test": "a spot test for protein",
    "record": "a written record",
    "ftir": "an infrared spectrum",
    "restoration": "what was found on other joints of the same restoration",
    "workshop": "what was found on other work of the same workshop and period",
}

RULE_WORDS: Mapping[str, str] = {
    "joint-open": "a joint is open",
    "part-detached": "a part is detached",
    "joint-moves": "a joint moves or gapes",
    "load-bearing-lifted": "on a load-bearing joint the film has lifted along half of its length or more",
    "lifted-load-unknown": "on a joint that may be load-bearing the film has lifted along half of its length or more",
    "flaking-or-salts": "there is active flaking or salt at a joint",
    "film-peeling": "the film at a joint is shrunken or peeling at the edges",
    "load-bearing-brittle": "the adhesive of a load-bearing joint is brittle or yellowed",
    "travels": "it is to travel with an old joint",
    "hung-by-restored-part": "it hangs by a restored part",
    "discoloured": "a joint is discoloured but tight",
    "disfiguring": "a fill or overpaint disfigures it",
    "on-show": "it goes on show with an old joint",
    "tight": "its joints are tight",
    "not-seen": "a joint has not been looked at yet",
}

BAND_WORDS: Mapping[str, str] = {
    "do-not-lift": "Do not lift this object before it is secured",
    "before-mount-or-travel": "Treat or secure it before it is mounted or travels",
    "before-opening": "Treat it before opening if hours allow",
    "monitor": "Leave it and look again",
    "not-seen": "Look at it first",
}


@dataclass(frozen=True)
class Reason:
    """One sentence and the code of what it says."""

    code: str
    text: str


@dataclass(frozen=True)
class JointNumbers:
    """What there is to say of the joint most likely to fail. Probabilities and shares 0 to 1, sizes in mm and kg.

    ``chance`` is this joint's own before the milestone, by the middle prior; ``opens`` the part by itself and
    ``gives`` the part in a move if it has not opened; ``stage`` as last seen, None if never; ``adhesive`` a class
    code with its probability and ``basis`` the strongest kind of evidence; ``use`` stress over strength in the
    hardest planned move ``hardest_move`` (None without moves).
    """

    part: str
    chance: float
    opens: float
    gives: float
    stage: int | None
    seen_share: float | None  # how far along the joint the sign runs
    structural: bool | None
    adhesive: str
    adhesive_probability: float
    basis: str
    years_old: float | None
    hardest_move: str | None
    use: float | None
    load_estimated: bool


@dataclass(frozen=True)
class ObjectNumbers:
    """What there is to say of one object before one milestone; its chance ``middle`` with an interval around it."""

    milestone: str
    low: float
    middle: float
    high: float
    at_least: float
    joints: int
    joints_not_seen: int
    worst: JointNumbers | None
    band: str = "monitor"
    rules: Sequence[tuple[str, Sequence[str]]] = ()  # rule codes with the parts they are about
    if_changed: Mapping[str, float] = field(default_factory=dict)  # from what_if, this object and milestone
    rank_unsure: bool = False
    softens: bool = False
    apart: float | None = None  # the chance if its joints were independent, where ``middle`` counts what they share
    years_between: float | None = None  # long-term, 1 / yearly rate


@dataclass(frozen=True)
class JointLabels:
    """What the arrays do not carry of joints [j]: names of parts, strongest basis of identification, calendar age,
    share of the length over which the sign runs, whether load-bearing (None where not known)."""

    part: Sequence[str]
    basis: Sequence[str]
    years_old: Sequence[float | None]
    seen_share: Sequence[float | None]
    structural: Sequence[bool | None]


def joint_numbers(
    inputs: JointInputs, joints: JointScores, labels: JointLabels, *, row: int, milestone: int, prior: int
) -> JointNumbers:
    """The numbers of one joint (``row``) before one milestone under one prior, for ``ObjectNumbers.worst``."""
    stage = int(inputs.last_seen[row])
    likeliest = int(inputs.class_probabilities[row].argmax())
    planned = inputs.moves[row, milestone] > 0
    use = np.where(planned, joints.worst_use[row], -1.0)
    hardest = int(use.argmax())
    return JointNumbers(
        part=labels.part[row],
        chance=float(joints.before[prior, row, milestone]),
        opens=float(joints.opens[prior, row, milestone]),
        gives=float(joints.gives[prior, row, milestone]),
        stage=stage if stage >= 0 else None,
        seen_share=labels.seen_share[row],
        structural=labels.structural[row],
        adhesive=CLASSES[likeliest],
        adhesive_probability=float(inputs.class_probabilities[row, likeliest]),
        basis=labels.basis[row],
        years_old=labels.years_old[row],
        hardest_move=MOVES[hardest] if planned.any() else None,
        use=float(use[hardest]) if planned.any() else None,
        load_estimated=bool(inputs.load.estimated[row]),
    )


def object_numbers(
    inputs: JointInputs,
    joints: JointScores,
    objects: ObjectScores,
    labels: JointLabels,
    *,
    index: int,
    milestone: int,
    milestone_name: str,
    prior: int,
    **told: Any,
) -> ObjectNumbers:
    """The numbers of one object from the arrays of a run; ``told`` fills the fields that scores do not hold."""
    mine = inputs.object_index == index
    worst = int(objects.worst_joint[index, milestone])
    per_year = float(objects.per_year[prior, index])
    return ObjectNumbers(
        milestone=milestone_name,
        low=float(objects.low[index, milestone]),
        middle=float(objects.middle[index, milestone]),
        high=float(objects.high[index, milestone]),
        at_least=float(objects.at_least[prior, index, milestone]),
        joints=int(mine.sum()),
        joints_not_seen=int((inputs.last_seen[mine] < 0).sum()),
        worst=joint_numbers(inputs, joints, labels, row=worst, milestone=milestone, prior=prior)
        if worst >= 0
        else None,
        rank_unsure=bool(objects.rank_unsure[index, milestone]),
        years_between=1.0 / per_year if per_year > 0 else None,
        **told,
    )


def in_words(probability: float) -> str:
    """A chance as a number of times in ten, or in a round larger number when small; never a certainty.

    >>> in_words(0.31), in_words(0.004), in_words(0.999)
    ('about 3 in 10', 'about 1 in 250', 'more than 19 in 20')
    """
    if not 0 <= probability <= 1:
        raise ValueError("probability must lie between 0 and 1")
    if probability < 0.001:
        return "less than 1 in 1,000"
    if probability < 0.075:
        return f"about 1 in {_round_number(1.0 / probability)}"
    if probability > 0.95:
        return "more than 19 in 20"
    return f"about {max(1, min(9, int(probability * 10 + 0.5)))} in 10"


def reasons(numbers: ObjectNumbers) -> list[Reason]:
    """Why this object stands where it does: band, chance, joint, adhesive, load, assumptions, what would change it.

    Parameters
    ----------
    numbers : ObjectNumbers

    Returns
    -------
    list of Reason
        In the order to be read, the band first.

    Raises
    ------
    ValueError
        A probability outside 0 to 1, or an unknown code, named.
    """
    said = [_band(numbers), _chance(numbers)]
    if numbers.worst is not None:
        said += [_joint(numbers.worst, numbers), _adhesive(numbers.worst), *_load(numbers.worst)]
    said += _assumptions(numbers)
    said += _changes(numbers)
    return said


def _band(numbers: ObjectNumbers) -> Reason:
    words = _of("band", numbers.band, BAND_WORDS)
    causes = []
    for code, parts in numbers.rules:
        where = f" ({', '.join(dict.fromkeys(parts))})" if parts else ""
        causes.append(_of("rules", code, RULE_WORDS) + where)
    return Reason(numbers.band, f"{words}: {'; '.join(causes)}." if causes else f"{words}.")


def _chance(numbers: ObjectNumbers) -> Reason:
    if numbers.joints == 0:
        return Reason("no-joints", "No joint of an earlier restoration is recorded, so nothing here is scored.")
    shown = percent(numbers.middle)
    spread = f"{percent(numbers.low)} to {percent(numbers.high)} in nine of ten draws of what is not known"
    if percent(numbers.low) == percent(numbers.high) == shown:
        spread = "in all draws of what is not known"
    said = in_words(numbers.middle)
    return Reason("chance", f"Chance that a joint fails before {numbers.milestone}: {said} ({shown}; {spread}).")


def _joint(joint: JointNumbers, numbers: ObjectNumbers) -> Reason:
    share = f" over {percent(joint.seen_share)} of its length" if joint.seen_share is not None else ""
    seen = "it has not been looked at yet" if joint.stage is None else f"last seen {STAGE_WORDS[joint.stage]}{share}"
    bearing = {True: "It is load-bearing. ", False: "", None: "Whether it is load-bearing is not recorded. "}
    alone = numbers.joints == 1
    which = "The joint is at" if alone else f"Of {numbers.joints} joints, the one most likely to fail is at"
    moved = f", and if it has not, {in_words(joint.gives)} that a planned move opens it" if joint.hardest_move else ""
    chances = f"The chance is {in_words(joint.opens)} that it opens by itself{moved}."
    if joint.stage == OPEN:
        chances = "What hangs on it is held by its neighbours or by gravity alone."
    return Reason("worst-joint", f"{which} the {joint.part}: {seen}. {bearing[joint.structural]}{chances}")


def _adhesive(joint: JointNumbers) -> Reason:
    name = _of("adhesive", joint.adhesive, NAMES)
    age = f" It is about {joint.years_old:.0f} years old." if joint.years_old is not None else " Its age is not known."
    text = (
        f"The adhesive is most likely {name} ({in_words(joint.adhesive_probability)}), judged by "
        f"{_of('basis', joint.basis, BASIS_WORDS)}.{age}"
    )
    return Reason("adhesive", text)


def _load(joint: JointNumbers) -> list[Reason]:
    if joint.hardest_move is None or joint.use is None:
        return []
    move = _of("hardest_move", joint.hardest_move, MOVE_WORDS)
    if joint.use == float("inf"):
        return [Reason("load", f"An open joint bears nothing: {move} needs support under both sides.")]
    share = f"{joint.use:.1f} times" if joint.use > 1 else f"{percent(joint.use)} of"
    text = f"In {move} it would be loaded to {share} what it is expected to bear."
    if joint.load_estimated:
        text += " The load is estimated from the object's size: measure the wall, the joint's length and the overhang."
    return [Reason("load", text)]


def _assumptions(numbers: ObjectNumbers) -> list[Reason]:
    said = []
    if numbers.joints > 1 and numbers.apart is not None:
        text = (
            "Joints of one restoration share adhesive, age and hand, and all are handled together: that is counted. "
            f"Taken as independent the chance would be {percent(numbers.apart)}; the worst joint alone makes "
            f"{percent(numbers.at_least)}."
        )
        said.append(Reason("shared-causes", text))
    elif numbers.joints > 1:
        text = (
            "Joints are taken as failing independently. Joints of one batch and hand share their fate, so the chance "
            f"is overstated; it is not less than {percent(numbers.at_least)}, that of the worst joint alone."
        )
        said.append(Reason("independence", text))
    if numbers.joints_not_seen:
        some = f"{numbers.joints_not_seen} of {numbers.joints} joints"
        said.append(Reason("not-seen", f"Not looked at yet: {some}, scored by age and adhesive alone."))
    if numbers.rank_unsure:
        said.append(Reason("rank-unsure", "Its rank moves by more than a quarter of the list with that belief."))
    if numbers.softens:
        said.append(Reason("softens", "The joint may soften and creep at the warmest temperature expected here."))
    if numbers.years_between is not None and numbers.years_between < 1000:
        text = f"Left where it stands, a joint opens by itself about once in {numbers.years_between:.0f} years."
        said.append(Reason("long-term", text))
    return said


_CHANGE_WORDS: Mapping[str, str] = {
    "no-moves": "Not moved at all before then, the chance would be {after}",
    "if-cellulose-nitrate": "If a test finds cellulose nitrate, it becomes {after}",
    "if-not-cellulose-nitrate": "If a test rules cellulose nitrate out, it becomes {after}",
    "if-worst-sound": "If a second look finds that joint sound, it becomes {after}",
    "rejoined": "Taken down and joined again with acrylic copolymer, it becomes {after}",
}


def _changes(numbers: ObjectNumbers) -> list[Reason]:
    """What would change the chance, greatest first; what changes it by less than a tenth of itself is left out."""
    told = []
    for code, after in numbers.if_changed.items():
        words = _of("if_changed", code, _CHANGE_WORDS)
        if abs(after - numbers.middle) > max(0.005, 0.1 * numbers.middle):
            said = f"{words.format(after=in_words(after))} ({percent(after)})."
            told.append((-abs(after - numbers.middle), Reason(code, said)))
    return [reason for _, reason in sorted(told, key=lambda item: item[0])]


def percent(share: float) -> str:
    """A share in whole per cent, with one decimal when small; never 0 or 100."""
    if not 0 <= share <= 1:
        raise ValueError("probability must lie between 0 and 1")
    if share < 0.001:
        return "under 0.1 %"
    if share > 0.99:
        return "over 99 %"
    return f"{share:.1%}".replace("%", " %") if share < 0.1 else f"{share:.0%}".replace("%", " %")


def _round_number(value: float) -> str:
    """The nearest of the round numbers that people say."""
    steps = (10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200, 250, 300, 400, 500, 600, 800, 1000)
    return f"{min(steps, key=lambda step: abs(step / value - 1.0)):,}"


def _of(name: str, code: str, table: Mapping[str, str]) -> str:
    """The words for a code, or ValueError naming the argument."""
    if code not in table:
        raise ValueError(f"{name} must be one of {', '.join(table)}, not {code!r}")
    return table[code]
