"""A whole collection scored: first what all of it teaches, then its objects, a batch at a time, in that light.

What is shared between objects is learned once: which adhesive each workshop mostly used in each period, and how fast
cellulose nitrate joints of this department age. Given that, and one seed for the draws, every object comes out the same
in whatever batch, order or process it is scored.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from survey.risk.bonds import Bonds, Floats, Whole
from survey.risk.contributions import CAUSES, Contributions, contributions
from survey.risk.drawing import Keys
from survey.risk.draws import Interval, Worlds, draw_chances, draw_worlds, intervals
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.pace import Pace, class_evidence, pace_evidence
from survey.risk.parameters import Parameters
from survey.risk.together import Together, score_together, yearly_rates
from survey.risk.what_if import chances_if
from survey.risk.workshops import (
    Findings,
    Identified,
    bases,
    governing,
    habits,
    identify,
    spoken,
    strongest,
)

DRAWS = 200
ENDS = (0.95, 0.5, 0.05)  # of the belief in the pace: mean lives scored as favourable, middle and unfavourable


@dataclass(frozen=True)
class Told:
    """What the record says of some whole objects [n], their joints [j] and restorations [r].

    Attributes
    ----------
    inputs : JointInputs, with adhesives left open
    rounds : int [j, v], as ``inputs.visit_stages``, but only of looks made by plan; -1 elsewhere
    codes : int [j, k], what was found (``identification.coded``)
    restoration : int [j]
    workshop : int [r], workshop and period of each, in the numbering of the whole collection; -1 not known
    years : [r, 2], earliest and latest year; nan where not known
    keys : uint64 [n], what names each object for good
    loss : [j], share of the object's value lost when a joint lets go
    """

    inputs: JointInputs
    rounds: Whole
    codes: Whole
    restoration: Whole
    workshop: Whole
    years: Floats
    keys: Keys
    loss: Floats


@dataclass(frozen=True)
class Learned:
    """What a whole collection teaches.

    ``prior`` [c] how often each class is met; ``said`` [w, c] all that its work says of the habit of each workshop
    and period, in logarithms; ``keys`` uint64 [w] what names it for good; ``kinds`` int [w] the strongest kind of
    evidence on its work, -1 none; ``pace`` of cellulose nitrate joints; ``seed`` of draws.
    """

    prior: Floats
    said: Floats
    keys: Keys
    kinds: Whole
    pace: Pace
    seed: int

    @cached_property
    def workshops(self) -> Floats:
        """Habit of each workshop and period [w, c]."""
        return habits(self.prior, self.said)

    def assumptions(self, given: Assumptions) -> Assumptions:
        """The same assumptions with the beliefs about pace moved to where visits have moved them."""
        named = sorted(given.priors, key=lambda prior: -prior.mean_years)
        if len(named) != len(ENDS):
            raise ValueError(f"assumptions must hold {len(ENDS)} beliefs about pace")
        moved = (replace(prior, mean_years=self.pace.quantile(end)) for prior, end in zip(named, ENDS, strict=True))
        return replace(given, priors=tuple(moved))

    def worlds(self, parameters: Parameters, draws: int = DRAWS) -> Worlds:
        """The worlds of a run: the same for every batch."""
        return draw_worlds(
            np.random.default_rng(self.seed), parameters.assumptions, draws=draws, pace=self.pace,
            doubt=parameters.doubt, workshops=self.workshops, workshop_keys=self.keys,
        )  # fmt: skip


def learn(batches: Sequence[Told], parameters: Parameters, keys: Keys, seed: int) -> Learned:
    """What all of a collection teaches, from batches of whole objects.

    Parameters
    ----------
    batches : sequence of Told
    parameters : Parameters
    keys : uint64 [w], what names each workshop and period
    seed : int, of the draws to come
    """
    said, kinds = hear(batches, parameters, keys.size)
    shops = habits(parameters.class_prior, said)
    belief = Pace.prior(parameters.assumptions)
    seen = np.zeros(belief.years.size)
    for told in batches:
        if _seen_again(told).any():
            bonds, _, _ = tied(told, shops, parameters)
            seen += _pace_after_first_looks(told, bonds, parameters, belief)
    pace = belief.after(seen, trust=parameters.visits_trust)
    return Learned(parameters.class_prior, said, keys, kinds, pace, seed)


def hear(batches: Iterable[Told], parameters: Parameters, count: int) -> tuple[Floats, Whole]:
    """What the work of ``count`` workshops says of their habits [w, c], in logarithms, and its strongest kind [w]."""
    said, kinds = np.zeros((count, parameters.class_prior.size)), np.full(count, -1, dtype=np.int64)
    for told in batches:
        findings = _findings(told, parameters)
        said += spoken(findings, parameters.sharing, count, visits=_aged(told, parameters))
        best = strongest(told.codes, findings)
        kinds[: best.size] = np.maximum(kinds[: best.size], best)
    return said, kinds


def says(told: Told, parameters: Parameters) -> tuple[Floats, Whole]:
    """What each restoration says of its workshop's habit [r, c], in logarithms, and the strongest kind of evidence on
    it [r], -1 for none. ``Learned.said`` is the sum of all; so one restoration's word can be taken back and said anew.
    """
    findings = _findings(told, parameters)
    found = identify(findings, parameters.sharing, visits=_aged(told, parameters))
    apart = replace(findings, workshop=np.arange(told.workshop.size))
    return found.speaks, strongest(told.codes, apart)


def tied(told: Told, shops: Floats, parameters: Parameters) -> tuple[Bonds, Findings, Identified]:
    """Adhesives of some objects in the light of their workshops' habits [w, c], and the ties between their joints."""
    findings = _findings(told, parameters)
    found = identify(findings, parameters.sharing, visits=_aged(told, parameters), workshops=shops)
    governs = governing(found, np.arange(told.restoration.size))
    return Bonds.of(found, governs, told.restoration, parameters.sharing, findings=findings), findings, found


def _findings(told: Told, parameters: Parameters) -> Findings:
    return Findings.of(
        told.codes, parameters.table, restoration=told.restoration, workshop=told.workshop, years=told.years,
        prior=parameters.class_prior, sharing=parameters.sharing,
    )  # fmt: skip


def _looks(told: Told, rows: Whole) -> tuple[JointInputs, JointInputs]:
    """Some joints with all looks that were made by plan, and with the first of these alone.

    What is learned of a collection is what later looks say once the first is given. Looks made because something
    looked bad mislead about the rest. So does the age at the first look: joints that failed before anybody looked were
    made anew and left no trace, and those that are left speak for long lives.
    """
    planned = told.inputs.only(rows).changed(visit_stages=told.rounds[rows])
    seen = planned.visit_stages >= 0
    first = seen & (np.cumsum(seen, axis=1) == 1)
    return planned, planned.changed(visit_stages=np.where(first, planned.visit_stages, -1))


def _seen_again(told: Told) -> NDArray[np.bool_]:
    """Joints [j] that were looked at by plan more than once."""
    return np.asarray((told.rounds >= 0).sum(axis=1) > 1)


def _pace_after_first_looks(told: Told, bonds: Bonds, parameters: Parameters, belief: Pace) -> Floats:
    """Log-likelihood [g] of the later looks at these joints for each mean life of ``belief``."""
    rows = np.flatnonzero(np.isin(told.restoration, told.restoration[_seen_again(told)]))
    some = replace(
        bonds, restoration=bonds.restoration[rows], follows=bonds.follows[rows], otherwise=bonds.otherwise[rows],
        depends_on=np.full(rows.size, -1, dtype=np.int64),
    )  # fmt: skip
    both = [pace_evidence(inputs, some, parameters.assumptions, belief.years) for inputs in _looks(told, rows)]
    return both[0] - both[1]


def _aged(told: Told, parameters: Parameters) -> Floats:
    """What later looks say of each joint's adhesive, cellulose nitrate taken to last as the middle belief says."""
    chosen = parameters.assumptions
    years = chosen.priors[chosen.middle].mean_years
    rows = np.flatnonzero(_seen_again(told))
    found = np.zeros((told.restoration.size, parameters.class_prior.size))
    if not rows.size:
        return found
    both = [class_evidence(inputs, parameters.sharing, chosen, years=years) for inputs in _looks(told, rows)]
    found[rows] = both[0] - both[1]
    return found


@dataclass(frozen=True)
class Scores:
    """Some objects [n] and their joints [j] scored.

    ``inputs`` and ``bonds`` with adhesives weighed; ``basis`` [j] what each adhesive rests on; ``speaks`` [r, c] what
    each restoration says of its workshop's habit, in logarithms; ``together`` under the middle pace alone; ``yearly``
    [3, n] long-term rates under the favourable, middle and unfavourable one; ``draws`` [n, d] chances before the last
    milestone; ``parts`` of the chance and ``if_changed`` [n] what it would be.
    """

    inputs: JointInputs
    bonds: Bonds
    basis: NDArray[np.str_]
    speaks: Floats
    together: Together
    yearly: Floats
    draws: NDArray[np.float32]
    parts: Contributions
    if_changed: dict[str, Floats]

    @cached_property
    def interval(self) -> Interval:
        """5 to 95 % of the draws, widened to hold the chance itself where a few rare worlds make most of it."""
        found, chance = intervals(self.draws), self.together.objects.middle[:, -1]
        return replace(found, low=np.minimum(found.low, chance), high=np.maximum(found.high, chance))


@dataclass(frozen=True)
class Outcome:
    """Of objects [n] before the last milestone: the chance, the ends of its interval, and the expected share lost."""

    chance: Floats
    low: Floats
    high: Floats
    loss: Floats


def outcome(
    inputs: JointInputs, bonds: Bonds, told: Told, learned: Learned, worlds: Worlds, parameters: Parameters
) -> Outcome:
    """What ``score`` comes to for joints as they are or as asked (``what_if``), without all the rest."""
    chosen = learned.assumptions(parameters.assumptions)
    middle = replace(chosen, priors=(chosen.priors[chosen.middle],))
    last = inputs.changed(years_ahead=inputs.years_ahead[:, -1:], moves=inputs.moves[:, -1:])
    made = score_together(last, bonds, middle, loss=told.loss)
    chance = made.objects.middle[:, -1]
    found = intervals(draw_chances(last, bonds, worlds, told.keys, parameters.assumptions))
    return Outcome(chance, np.minimum(found.low, chance), np.maximum(found.high, chance), made.loss[0, :, -1])


def score(told: Told, learned: Learned, worlds: Worlds, parameters: Parameters) -> Scores:
    """Score some whole objects in the light of what was learned of all; ``worlds`` are those of the same learning."""
    bonds, findings, found = tied(told, learned.workshops, parameters)
    inputs = told.inputs.changed(class_probabilities=found.rows)
    three = learned.assumptions(parameters.assumptions)
    chosen = replace(three, priors=(three.priors[three.middle],))
    together = score_together(inputs, bonds, chosen, loss=told.loss)
    parts = contributions(inputs, bonds, chosen, scores=together)
    unmoved = np.clip(parts.chance - parts.causes[:, CAUSES.index("moves")], 0.0, 1.0)
    return Scores(
        inputs=inputs,
        bonds=bonds,
        basis=bases(told.codes, parameters.table, findings, of_workshop=learned.kinds),
        speaks=found.speaks,
        together=together,
        yearly=yearly_rates(inputs, bonds, three),
        draws=draw_chances(inputs, bonds, worlds, told.keys, parameters.assumptions),
        parts=parts,
        if_changed={"no-moves": unmoved, **chances_if(inputs, bonds, together.objects.worst_joint, chosen)},
    )
