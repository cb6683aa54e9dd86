"""Which adhesive holds a joint: evidence weighed into a probability for each class.

Evidence that was not sought is no factor at all. The default likelihoods are expert defaults built from published
observations where there are any; each kind of evidence carries its grounds, and a department may replace the table.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.condition.plausible import MADE_SINCE

CLASSES: tuple[str, ...] = (
    "animal_glue",
    "natural_resin",
    "cellulose_nitrate",
    "rubber_cement",
    "pvac",
    "epoxy",
    "cyanoacrylate",
    "polyester",
    "acrylic",
    "plaster_cement",
    "mechanical",
    "other",  # bitumen, oil putty, and what nobody thought of
)
CLASS_INDEX: Mapping[str, int] = {code: index for index, code in enumerate(CLASSES)}
UNKNOWN = "unknown"  # an answer, not a class: it weighs nothing
NITRATE = CLASS_INDEX["cellulose_nitrate"]

# Share of repairs by class before anything is seen. Cellulose nitrate was the main adhesive in about two thirds of
# the repairs of one pottery collection and a tenth of another (Heritage Science 2016, s40494-016-0116-z): the middle
# of that range; the rest is an expert default.
DEFAULT_PRIOR: NDArray[np.float64] = np.array(
    [0.12, 0.10, 0.35, 0.02, 0.10, 0.08, 0.02, 0.03, 0.08, 0.04, 0.03, 0.03], dtype=np.float64
)
DEFAULT_PRIOR.setflags(write=False)


def posterior(prior: ArrayLike, likelihoods: ArrayLike) -> NDArray[np.float64]:
    r"""Probability of each class after independent pieces of evidence.

    .. math:: p(c \mid e_1 \dots e_n) \propto p(c) \prod_i p(e_i \mid c)

    Parameters
    ----------
    prior : array_like [..., c], >= 0, brought to a sum of 1
    likelihoods : array_like [..., e, c], >= 0
        Chance of each piece of evidence in each class; a row of nan is evidence not sought, and no factor.

    Returns
    -------
    ndarray [..., c]
        Sums to 1.

    Raises
    ------
    ValueError
        A shape that does not fit, a negative number, or evidence that no class allows, named.

    Notes
    -----
    Independence given the class is an assumption: two tests that mistake the same thing count twice.

    Examples
    --------
    >>> posterior([0.5, 0.5], [[0.8, 0.2], [np.nan, np.nan]]).round(6)
    array([0.8, 0.2])
    """
    weights = np.asarray(prior, dtype=np.float64)
    chances = np.asarray(likelihoods, dtype=np.float64)
    if weights.ndim == 0 or not np.all(np.isfinite(weights)) or np.any(weights < 0):
        raise ValueError("prior must be finite and not negative, one number for each class")
    if np.any(weights.sum(axis=-1) <= 0):
        raise ValueError("prior must leave at least one class possible")
    if chances.size == 0:
        chances = np.ones((1, weights.shape[-1]))
    if chances.ndim < 2 or chances.shape[-1] != weights.shape[-1]:
        raise ValueError("likelihoods must be rows of evidence with one number for each class of prior")
    not_sought = np.isnan(chances).all(axis=-1, keepdims=True)
    if np.any(np.isnan(chances) & ~not_sought) or np.any(chances < 0) or np.any(np.isinf(chances)):
        raise ValueError("likelihoods must be finite and not negative; a missing row is nan throughout")
    with np.errstate(divide="ignore"):
        logs = np.log(weights) + np.log(np.where(not_sought, 1.0, chances)).sum(axis=-2)
    best = logs.max(axis=-1, keepdims=True)
    if np.any(np.isneginf(best)):
        raise ValueError("likelihoods leave no class possible: two pieces of evidence exclude each other")
    unscaled = np.exp(logs - best)
    return unscaled / unscaled.sum(axis=-1, keepdims=True)


@dataclass(frozen=True)
class EvidenceKind:
    """One way of looking: its outcomes, the chance of each in each class [outcome, class], and the grounds for it."""

    code: str
    outcomes: tuple[str, ...]
    chances: NDArray[np.float64]
    grounds: str

    def __post_init__(self) -> None:
        if self.chances.shape != (len(self.outcomes), len(CLASSES)):
            raise ValueError(f"chances of {self.code} must have a row for each outcome and a column for each class")
        if np.any(self.chances <= 0) or not np.allclose(self.chances.sum(axis=0), 1.0):
            raise ValueError(f"chances of {self.code} must be more than zero and add up to 1 in each class")

    def likelihood(self, outcome: str) -> NDArray[np.float64]:
        """Chance of this outcome in each class [c]; nan throughout for ``unknown``."""
        if outcome == UNKNOWN:
            return np.full(len(CLASSES), np.nan)
        if outcome not in self.outcomes:
            raise ValueError(f"outcome of {self.code} must be one of {', '.join(self.outcomes)}, not {outcome!r}")
        return self.chances[self.outcomes.index(outcome)]


@dataclass(frozen=True)
class LikelihoodTable:
    """Kinds of evidence by code, in the order from weakest to strongest, and when each class was used."""

    kinds: Mapping[str, EvidenceKind]
    years_of_use: Mapping[str, tuple[float, float, float, float]] = field(default_factory=lambda: YEARS_OF_USE)

    def likelihoods(self, evidence: Mapping[str, str]) -> NDArray[np.float64]:
        """Rows [e, c] for the outcomes of one joint, one of each kind: repeats of a kind are not independent."""
        rows = []
        for kind, outcome in evidence.items():
            if kind not in self.kinds:
                raise ValueError(f"evidence must be of a kind among {', '.join(self.kinds)}, not {kind!r}")
            rows.append(self.kinds[kind].likelihood(outcome))
        return np.array(rows).reshape(-1, len(CLASSES))


# Kinds that answer one question, weakest first: the guess is made from date and hand, and what is seen of a joint
# is read in the light of its period. Two of them agreeing is less than two findings.
RELATED_KINDS: tuple[str, ...] = ("guess", "date", "look")
RELATED_SHARE = 0.5  # of what a kind says that a stronger related kind has said already (expert default)


def coded(evidence: Sequence[Mapping[str, str]], table: LikelihoodTable) -> NDArray[np.int64]:
    """Outcomes as numbers [j, k] in the table's order of kinds; -1 where a kind was not sought or gave no answer.

    ValueError for a kind or an outcome that the table does not know.
    """
    places = {
        (code, outcome): (place, number)
        for place, (code, kind) in enumerate(table.kinds.items())
        for number, outcome in enumerate(kind.outcomes)
    }
    codes = np.full((len(evidence), len(table.kinds)), -1, dtype=np.int64)
    for row, seen in enumerate(evidence):
        for item in seen.items():
            if item[1] == UNKNOWN and item[0] in table.kinds:
                continue
            if item not in places:
                table.likelihoods(dict([item]))  # says what is wrong
            place, codes_number = places[item]
            codes[row, place] = codes_number
    return codes


def evidence_logs(
    codes: NDArray[np.int64],
    table: LikelihoodTable,
    *,
    dated: ArrayLike = False,
    related: float = RELATED_SHARE,
    weights: ArrayLike = 1.0,
) -> NDArray[np.float64]:
    """Log-likelihood [j, c] of each class from all that was found on each joint, related kinds not counted twice.

    Parameters
    ----------
    codes : int [j, k], from ``coded``
    dated : bool, array_like [j], whether a date counts as well; it is weighed apart (``date_weight``)
    related : float, 0 to 1
        Each of ``RELATED_KINDS`` is raised to the power ``(1 - related)`` once for every stronger one that was sought.
    weights : array_like [j, k], powers of the likelihoods beside that

    Notes
    -----
    Raising a likelihood to a power below one is the usual way to let dependent evidence count in part (a power
    likelihood); the share is a judgement, not measured.
    """
    if not 0 <= related <= 1:
        raise ValueError("related must lie between 0 and 1")
    powers = np.broadcast_to(np.asarray(weights, dtype=np.float64), codes.shape) * _powers(codes, table, dated, related)
    logs = np.zeros((codes.shape[0], len(CLASSES)))
    for place, kind in enumerate(table.kinds.values()):
        sought = codes[:, place] >= 0
        logs[sought] += powers[sought, place, None] * np.log(kind.chances)[codes[sought, place]]
    return logs


def _powers(codes: NDArray[np.int64], table: LikelihoodTable, dated: ArrayLike, related: float) -> NDArray[np.float64]:
    """Power [j, k] of each kind: less for each stronger related kind that was sought."""
    powers, order = np.ones(codes.shape), list(table.kinds)
    stronger = np.zeros(codes.shape[0])
    for code in reversed(RELATED_KINDS):
        if code == "date":
            stronger += np.broadcast_to(np.asarray(dated), codes.shape[:1])
        elif code in order:
            powers[:, order.index(code)] = (1.0 - related) ** stronger
            stronger += codes[:, order.index(code)] >= 0
    return powers


def date_weight(
    codes: NDArray[np.int64], table: LikelihoodTable, *, related: float = RELATED_SHARE
) -> NDArray[np.float64]:
    """Power [j] of what a date says, beside the findings on each joint."""
    stronger = RELATED_KINDS[RELATED_KINDS.index("date") + 1 :]
    places = [place for place, code in enumerate(table.kinds) if code in stronger]
    return np.asarray((1.0 - related) ** (codes[:, places] >= 0).sum(axis=1))


def joint_posteriors(
    priors: ArrayLike,
    evidence: Sequence[Mapping[str, str]],
    *,
    table: LikelihoodTable,
    dates: ArrayLike | None = None,
    related: float = RELATED_SHARE,
) -> NDArray[np.float64]:
    """Class probabilities [j, c] of many joints, each for itself; for joints that share, see ``workshops``.

    Parameters
    ----------
    priors : array_like [j, c] or [c]
    evidence : sequence of j mappings, kind of evidence -> outcome
    table : LikelihoodTable
    dates : array_like [j, 2], optional
        Earliest and latest year of each joint; nan where not known.
    related : float, 0 to 1, see ``evidence_logs``
    """
    joints = len(evidence)
    starts = np.broadcast_to(np.asarray(priors, dtype=np.float64), (joints, len(CLASSES)))
    years = np.full((joints, 2), np.nan) if dates is None else np.asarray(dates, dtype=np.float64)
    if years.shape != (joints, 2):
        raise ValueError("dates must have an earliest and a latest year for each joint")
    kinds, which = np.unique(coded(evidence, table), axis=0, return_inverse=True)
    spans, whose = np.unique(np.nan_to_num(years, nan=-np.inf), axis=0, return_inverse=True)
    dated_from, dated_to = np.where(np.isinf(spans), np.nan, spans).T
    in_use = np.log(date_likelihood(dated_from, dated_to, years_of_use=table.years_of_use))[whose]
    dated = ~np.isnan(in_use[:, 0])
    cases, case = np.unique(np.stack([which.ravel(), dated], axis=1), axis=0, return_inverse=True)
    found = evidence_logs(kinds[cases[:, 0]], table, dated=cases[:, 1] == 1, related=related)[case.ravel()]
    said = date_weight(kinds, table, related=related)[which.ravel()]
    logs = found + np.where(dated[:, None], said[:, None] * np.nan_to_num(in_use), 0.0)
    with np.errstate(over="ignore"):
        return posterior(starts, np.exp(logs - logs.max(axis=1, keepdims=True, initial=-np.inf))[:, None, :])


# First, common from, common until, last year of use on ceramics. Cellulose nitrate: made from the 1870s; the choice
# of archaeologists from the 1930s to the late 1970s (Neiro 2003, JAIC 42:237-244). Acrylic: in use about 1970,
# published 1986 (Koob, Studies in Conservation 31:7-14). The others from memory.
YEARS_OF_USE: Mapping[str, tuple[float, float, float, float]] = {
    "animal_glue": (1600, 1700, 1950, 2000),
    "natural_resin": (1700, 1750, 1950, 1985),
    "cellulose_nitrate": (MADE_SINCE["cellulose_nitrate"], 1930, 1979, 2015),
    "rubber_cement": (MADE_SINCE["rubber_cement"], 1930, 1985, 2005),
    "pvac": (MADE_SINCE["pvac"], 1945, 2005, 2030),
    "epoxy": (MADE_SINCE["epoxy"], 1955, 2030, 2040),
    "cyanoacrylate": (MADE_SINCE["cyanoacrylate"], 1965, 2030, 2040),
    "polyester": (MADE_SINCE["polyester"], 1950, 1985, 2005),
    "acrylic": (MADE_SINCE["acrylic"], 1980, 2030, 2040),
    "plaster_cement": (1600, 1800, 1980, 2030),
    "mechanical": (1600, 1650, 1950, 1990),
    "other": (1600, 1600, 2030, 2040),
}
_RARE = 0.05  # a class out of its years is unlikely, not impossible: dates are often wrong


def date_likelihood(
    earliest: ArrayLike,
    latest: ArrayLike,
    *,
    years_of_use: Mapping[str, tuple[float, float, float, float]] = YEARS_OF_USE,
) -> NDArray[np.float64]:
    """How well a date of repair agrees with the years in which each class was used.

    Parameters
    ----------
    earliest, latest : array_like [...], calendar years; nan where not known
    years_of_use : first, common from, common until, last year of each class

    Returns
    -------
    ndarray [..., c]
        In (0, 1], averaged over the span; nan throughout where no date is known.

    Raises
    ------
    ValueError
        A span that ends before it starts.
    """
    first, last = np.broadcast_arrays(np.asarray(earliest, dtype=np.float64), np.asarray(latest, dtype=np.float64))
    first, last = np.where(np.isnan(first), last, first), np.where(np.isnan(last), first, last)
    if np.any(last < first):
        raise ValueError("latest must not be before earliest")
    years = first[..., None] + (last - first)[..., None] * np.linspace(0.0, 1.0, 21)
    rows = []
    for code in CLASSES:
        in_use = np.interp(years, years_of_use[code], (_RARE, 1.0, 1.0, _RARE))
        rows.append(np.where(np.isnan(first), np.nan, in_use.mean(axis=-1)))
    return np.stack(rows, axis=-1)
