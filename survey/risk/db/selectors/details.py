"""One object's score in full: its joints, what holds them, its magnitude, and the words of its reasons by kind."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from media.base.errors import NotThere
from survey.condition.db.models import AdhesiveEvidence, Basis
from survey.register.db.models import MilestoneKind
from survey.register.db.selectors import milestones_of
from survey.risk.adhesives import NAMES
from survey.risk.db.models import JointRisk, ObjectRisk, RiskRun
from survey.risk.db.selectors.ranking import Line, in_run, lines, tie
from survey.risk.db.selectors.shelves import one_line
from survey.risk.magnitude import action, corner_range, independent_spread
from survey.risk.reasons import in_words, percent
from survey.risk.what_if import CHANGES

CERTAINTY: dict[str, str] = {
    "": "guessed",
    Basis.DATE: "guessed",
    Basis.LOOK: "looked",
    Basis.UV: "looked",
    Basis.SOLVENT: "tested",
    Basis.SPOT_TEST: "tested",
    Basis.RECORD: "analysed",
    Basis.FTIR: "analysed",
}
MADE_OF = "made-of"
LEVELS = ("guessed", "looked", "tested", "analysed")
ASSUMED = {"load": "load estimated from the object's size", "age": "age not known"}
CAVEATS = ("shared-causes", "independence", "not-seen", "rank-unsure", "softens", "long-term", "load")


@dataclass(frozen=True)
class ClassChance:
    """An adhesive and the chance that it is what holds the joint."""

    name: str
    chance: float


@dataclass(frozen=True)
class JointLine:
    """One joint with its score; ``classes`` the likeliest first, ``certainty`` by the strongest finding."""

    risk: JointRisk
    certainty: str
    classes: Sequence[ClassChance]
    assumed: Sequence[str]


@dataclass(frozen=True)
class Ahead:
    """A milestone and the chance that a joint fails before it."""

    name: str
    date: date | None
    chance: float


@dataclass(frozen=True)
class MagnitudePart:
    """One scale, 0 to 5, as low, probable and high."""

    letter: str
    meaning: str
    low: float
    probable: float
    high: float


@dataclass(frozen=True)
class Magnitude:
    """The three scales, their sum, and what the published table says to do with such a sum and spread."""

    parts: Sequence[MagnitudePart]
    low: float
    probable: float
    high: float
    action: str
    words: str


@dataclass(frozen=True)
class Story:
    """All that an opened row tells."""

    line: Line
    why: Sequence[str]
    stands: Sequence[str]
    made_of: Sequence[str]
    changes: Sequence[str]
    caveats: Sequence[str]
    ahead: Sequence[Ahead]
    joints: Sequence[JointLine]
    magnitude: Magnitude

    @property
    def not_lifted(self) -> str:
        """Why it must not be lifted, in one line."""
        return one_line(self.line.risk)


MEANINGS = {
    "A": "How soon: once in so many years",
    "B": "How much of the object is lost each time",
    "C": "How much of the collection's value it is",
}
ACTIONS = {
    "treat": "Treat: the magnitude is high, and sure enough.",
    "review": "Review: the magnitude is high, but too unsure to treat on this number alone. Find out more.",
    "none": "None for now: the magnitude is low, and sure enough.",
    "review-later": "Review later: the magnitude is low, but unsure.",
}
HAPPENED = "A joint is open already, so no rate is left to reckon: this magnitude says nothing, the rule above does."


def story(run: RiskRun, pk: UUID) -> Story:
    """The score of one object. Seven queries. Raises ``NotThere`` where the run does not hold it."""
    risk = in_run(run).select_related("object__place").filter(object=pk).first()
    if risk is None:
        raise NotThere("This object has no score: no old joint of it is recorded, or it has left the register.")
    said = {reason["code"]: reason["text"] for reason in risk.reasons}
    return Story(
        line=lines(run, [risk])[0],
        why=[text for code, text in said.items() if not _elsewhere(code)],
        stands=_stands(run, risk),
        made_of=[text for code, text in said.items() if code.startswith(MADE_OF)],
        changes=[text for code, text in said.items() if code in CHANGES],
        caveats=[text for code, text in said.items() if code in CAVEATS],
        ahead=_ahead(run, risk),
        joints=_joints(run, pk),
        magnitude=magnitude(risk.magnitude),
    )


def _elsewhere(code: str) -> bool:
    """Whether a reason is told under a heading of its own."""
    return code in CHANGES or code in CAVEATS or code.startswith(MADE_OF)


def _stands(run: RiskRun, risk: ObjectRisk) -> list[str]:
    """How sure its place in the order is, in sentences; nothing in runs that drew nothing."""
    said = []
    for order, words in (("weighted", "with significance"), ("loss", "without")):
        if tied := tie(risk, order):
            said.append(f"The draws cannot tell it from its neighbours: tied for ranks {tied[0]} to {tied[1]} {words}.")
    first = run.counts.get("first", 0)
    if risk.among_first is not None and 0 < first < run.counts["objects"]:
        said.append(
            f"Chance that it belongs to the first {first}, as many as can be dealt with first: "
            f"{in_words(risk.among_first)} ({percent(risk.among_first)})."
        )
    return said


def _ahead(run: RiskRun, risk: ObjectRisk) -> list[Ahead]:
    """In the order in which they follow each other: PostgreSQL gives stored keys back in an order of its own."""
    dates = milestones_of(run.exhibition) if run.exhibition else {}
    days = {**dates, "year": run.as_of + timedelta(days=365)}
    words = dict(MilestoneKind.choices) | {"year": "A year ahead"}
    chances = risk.before_milestones
    return [Ahead(word, days.get(kind), chances[kind]) for kind, word in words.items() if kind in chances]


def _joints(run: RiskRun, pk: UUID) -> list[JointLine]:
    rows = JointRisk.objects.filter(run=run, object=pk).select_related("joint__restoration__workshop")
    risks = list(rows.order_by("-before_opening", "joint_id"))
    bases = {risk.joint_id: risk.joint.basis for risk in risks}
    levels = certainties(bases, within=bases)
    return [
        JointLine(risk, levels[risk.joint_id], classes(risk.class_chances), [ASSUMED[code] for code in risk.assumed])
        for risk in risks
    ]


def classes(chances: dict[str, float]) -> list[ClassChance]:
    """Adhesives with their chances, the likeliest first; what is under one in two hundred was not kept."""
    found = sorted(chances.items(), key=lambda item: -item[1])
    return [ClassChance(NAMES[code][0].upper() + NAMES[code][1:], chance) for code, chance in found]


def certainties(bases: dict[UUID, str], *, within: Collection[UUID] | None = None) -> dict[UUID, str]:
    """How sure the adhesive of each joint is, by the strongest of what was said and found. One query."""
    found: dict[UUID, set[str]] = defaultdict(set)
    findings = AdhesiveEvidence.objects.all() if within is None else AdhesiveEvidence.objects.filter(joint__in=within)
    for joint, basis in findings.values_list("joint_id", "basis").order_by().distinct():
        found[joint].add(basis)
    return {
        joint: max((CERTAINTY[basis] for basis in {*found[joint], said}), key=LEVELS.index)
        for joint, said in bases.items()
    }


def magnitude(scores: dict[str, Any]) -> Magnitude:
    """The stored scales with their total; its ends are those of all three parts at once, as the method adds them.

    Whether it is sure enough to act on is judged by the spread of independent parts, which corners overstate.
    """
    parts = [MagnitudePart(letter, meaning, *scores[letter]) for letter, meaning in MEANINGS.items()]
    ends = [[getattr(part, end) for part in parts] for end in ("low", "probable", "high")]
    total = corner_range(*ends)
    what = str(action(total.likely, independent_spread(*ends)))
    words = ACTIONS[what] if parts[0].high > 0 else HAPPENED
    return Magnitude(parts, float(total.low), float(total.likely), float(total.high), what, words)
