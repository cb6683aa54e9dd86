"""Everything that scoring assumes, typed and checked as one whole, from the values of a parameter set.

A set holds only what differs from the shipped values (see ``entries``); one that holds nothing is Fettle as it came.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from survey.risk.adhesives import ADHESIVES, Adhesive
from survey.risk.draws import Doubt
from survey.risk.entries import COVARIATES, LOOKING_KINDS, NAMING_KINDS, Value, entries
from survey.risk.identification import CLASSES, EvidenceKind, LikelihoodTable
from survey.risk.inputs import Assumptions
from survey.risk.likelihoods import DEFAULT_TABLE, naming
from survey.risk.load import MOVES, ShockLevels
from survey.risk.stages import OPEN, PRIORS, STAGES, StagePrior, stage_mistakes
from survey.risk.workshops import Sharing


@dataclass(frozen=True)
class Range:
    """A constant with the ends between which it may lie."""

    low: float
    usual: float
    high: float


@dataclass(frozen=True)
class Thresholds:
    """Where bands and marks begin. Shares, 0 to 1.

    ``lifted_share`` of a load-bearing joint from which it must not be lifted; ``likely`` a chance that is counted in
    the answer; ``told_apart`` of the draws in which one object must come before another to be ranked before it.
    """

    lifted_share: float
    likely: float
    told_apart: float


@dataclass(frozen=True)
class Parameters:
    """What a run of the scoring assumes.

    Attributes
    ----------
    activation_energy : Range, J/mol
    humidity_exponent : Range
    default_climate : code of ``ageing.SITE_CLIMATES`` where a place has none and nothing was logged
    assumptions : Assumptions, with the named beliefs about pace, adhesives, shocks, strengths and mistakes
    class_prior : [c], how often each adhesive is met, adding up to 1
    table : LikelihoodTable, what each kind of evidence says, and the years in which each adhesive was used
    sharing : Sharing
    doubt : Doubt
    pseudo_years : weight of the prior of each rate against own visits, joint-years (``learning.learn_rates``)
    visits_trust : 0 to 1, how far own visits count (``pace.Pace.after``)
    covariates : code of ``entries.COVARIATES`` to a factor of the rate
    thresholds : Thresholds
    first : how many objects "among the first" means
    """

    activation_energy: Range
    humidity_exponent: Range
    default_climate: str
    assumptions: Assumptions
    class_prior: NDArray[np.float64]
    table: LikelihoodTable
    sharing: Sharing
    doubt: Doubt
    pseudo_years: float
    visits_trust: float
    covariates: Mapping[str, float]
    thresholds: Thresholds
    first: int


def read(values: Mapping[str, object]) -> Parameters:
    """The parameters of a set that differs from the shipped ones in ``values``.

    Parameters
    ----------
    values : mapping of paths of ``entries`` to numbers, words or None

    Raises
    ------
    ValueError
        A name that is not known, a value out of its bounds, or values that contradict each other, named.

    Examples
    --------
    >>> read({"shocks.lift": 2.5}).assumptions.shocks.lift
    2.5
    """
    held = _Held(values)
    return Parameters(
        activation_energy=held.range("activation_energy"),
        humidity_exponent=held.range("humidity_exponent"),
        default_climate=held.text("default_climate"),
        assumptions=_assumptions(held),
        class_prior=_class_prior(held),
        table=_table(held),
        sharing=Sharing(**held.under("sharing")),
        doubt=Doubt(**held.under("doubt")),
        pseudo_years=held.number("pseudo_years"),
        visits_trust=held.number("visits_trust"),
        covariates={each.code: held.number(f"covariates.{each.code}") for each in COVARIATES},
        thresholds=Thresholds(**held.under("bands")),
        first=int(held.number("first")),
    )


def differing(values: Mapping[str, object]) -> dict[str, Value]:
    """What of ``values`` differs from the shipped values, checked as a whole; this is what a set keeps."""
    read(values)
    known = entries()
    taken = {path: known[path].taken(value) for path, value in values.items()}
    return {path: taken[path] for path in known if path in taken and taken[path] != known[path].shipped}


class _Held:
    """Checked values with the shipped ones behind them."""

    def __init__(self, values: Mapping[str, object]) -> None:
        known = entries()
        if not isinstance(values, Mapping):
            raise ValueError("values must be a table of names and values")
        for path in values:
            if path not in known:
                raise ValueError(f"{str(path)[:80]} is not a value that scoring knows")
        self.values = {
            path: each.taken(values[path]) if path in values else each.shipped for path, each in known.items()
        }

    def number(self, path: str) -> float:
        value = self.values[path]
        return np.nan if value is None else float(value)

    def text(self, path: str) -> str:
        return str(self.values[path])

    def under(self, start: str) -> dict[str, float]:
        """Numbers below a path, by the last part of theirs."""
        return {path.rpartition(".")[2]: self.number(path) for path in self.values if path.startswith(f"{start}.")}

    def range(self, path: str) -> Range:
        found = Range(self.number(f"{path}_low"), self.number(path), self.number(f"{path}_high"))
        if not found.low <= found.usual <= found.high:
            raise ValueError(f"{path} must lie between its low and its high end")
        return found


def _assumptions(held: _Held) -> Assumptions:
    stays = tuple(held.number(f"stays.{_key(stage)}") for stage in STAGES[:OPEN])
    beliefs = [replace(each, mean_years=held.number(f"beliefs.{code}.mean_years"), stays=stays)
               for code, each in PRIORS.items()]  # fmt: skip
    _ordered_beliefs(beliefs)
    left = (*(held.number(f"strength.{_key(stage)}") for stage in STAGES[:OPEN]), 0.0)
    if any(after > before for before, after in pairwise(left)):
        raise ValueError("strength must not grow from one stage to the next")
    return Assumptions(
        priors=tuple(beliefs),
        adhesives=tuple(_adhesive(held, each) for each in ADHESIVES),
        shocks=ShockLevels(**{move: held.number(f"shocks.{move}") for move in MOVES}),
        share_by_stage=left,
        scatter=held.number("strength.scatter"),
        shared_scatter=held.number("strength.shared_scatter"),
        age_trust=held.number("age_trust"),
        horizon_years=held.number("horizon_years"),
        misclassification=stage_mistakes(held.number("mistaken_stage")),
    )


def _key(stage: str) -> str:
    return stage.replace(" ", "_")


def _ordered_beliefs(beliefs: list[StagePrior]) -> None:
    lives = {belief.name: belief.mean_years for belief in beliefs}
    if not lives["pessimistic"] <= lives["middle"] <= lives["optimistic"]:
        raise ValueError("beliefs.middle.mean_years must lie between that of the pessimistic and the optimistic belief")


def _adhesive(held: _Held, shipped: Adhesive) -> Adhesive:
    of = f"adhesives.{shipped.code}"
    return replace(
        shipped,
        speed=held.number(f"{of}.speed"),
        strength_mpa=held.number(f"{of}.strength_mpa"),
        softens_c=held.number(f"{of}.softens_c"),
        grounds=held.text(f"{of}.grounds"),
    )


def _class_prior(held: _Held) -> NDArray[np.float64]:
    shares = np.array([held.number(f"adhesives.{code}.met") for code in CLASSES])
    return shares / shares.sum()


def _table(held: _Held) -> LikelihoodTable:
    kinds = {}
    for code, kind in DEFAULT_TABLE.kinds.items():
        grounds = held.text(f"evidence.{code}.grounds")
        if code in NAMING_KINDS:
            kinds[code] = naming(code, held.number(f"evidence.{code}.sure"), grounds)
        elif code in LOOKING_KINDS:
            rows = [[held.number(f"evidence.{code}.{seen}.{of}") for of in CLASSES] for seen in kind.outcomes]
            chances = np.array(rows)
            kinds[code] = EvidenceKind(code, kind.outcomes, chances / chances.sum(axis=0), grounds)
    return LikelihoodTable(kinds, {code: _years(held, code) for code in CLASSES})


def _years(held: _Held, code: str) -> tuple[float, float, float, float]:
    first, begins, ends, last = (
        held.number(f"adhesives.{code}.{name}") for name in ("first", "common_from", "common_until", "last")
    )
    if not first <= begins <= ends <= last:
        raise ValueError(f"adhesives.{code}: the years of use must follow each other")
    return first, begins, ends, last
