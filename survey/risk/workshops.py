r"""Adhesives shared: joints of one restoration, and restorations of one workshop and period, tend to hold by the same.

Each workshop in one period has a habit, each restoration mostly follows it, each joint mostly follows its restoration:

.. math::
    P(W) = \pi, \quad P(R \mid W) = b\,[R = W] + (1 - b)\,\pi(R), \quad
    P(C \mid R) = a\,[C = R] + (1 - a)\,\pi_r(C)

where :math:`\pi` is how often each class is met and :math:`\pi_r` the same in the years of the restoration. So a test
on one joint moves the others, seen or not. The tree is summed exactly, up and down once (belief propagation on a
tree: J. Pearl, Probabilistic Reasoning in Intelligent Systems (1988), chapter 4, from memory), at a cost that grows
with the number of joints alone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survey.risk.identification import CLASSES, LikelihoodTable, date_likelihood, date_weight, evidence_logs

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

SAME_LOOK: tuple[str, ...] = ("guess", "look")  # judged by one eye on one day, joint after joint


@dataclass(frozen=True)
class Sharing:
    """How far adhesive, pace and handling are shared; all expert defaults, to be edited. Shares 0 to 1.

    Attributes
    ----------
    within_restoration : chance that a joint holds by its restoration's adhesive, rather than one of its own
    within_workshop : chance that a restoration follows its workshop's habit of the period
    alike_looks : how much looks at joints of one restoration repeat each other
    frailty : standard deviation of the log of a restoration's own pace (lognormal, median 1)
    handling : share of a joint's lasting scatter of strength that is how its object is handled, the same for all joints
    """

    within_restoration: float = 0.85
    within_workshop: float = 0.6
    alike_looks: float = 0.5
    frailty: float = 0.4
    handling: float = 0.3

    def __post_init__(self) -> None:
        for name in ("within_restoration", "within_workshop", "alike_looks", "handling"):
            if not 0 <= getattr(self, name) <= 1:
                raise ValueError(f"{name} must lie between 0 and 1")
        if not (np.isfinite(self.frailty) and self.frailty >= 0):
            raise ValueError("frailty must be finite and not negative")


@dataclass(frozen=True)
class Findings:
    """What was found, row by row [e]: a joint has one row for each adhesive in it.

    Attributes
    ----------
    restoration : int [e], the restoration of each row
    workshop : int [r], the workshop and period of each restoration; -1 where nobody knows
    own : [e, c], log-likelihood of what was found on the row itself
    dated : [r, c], log-likelihood of what is known of the restoration as a whole, such as its date
    prior : [c], how often each class is met
    """

    restoration: Whole
    workshop: Whole
    own: Floats
    dated: Floats
    prior: Floats

    def __post_init__(self) -> None:
        rows, restorations, classes = self.restoration.size, self.workshop.size, self.prior.size
        if self.restoration.ndim != 1 or np.any((self.restoration < 0) | (self.restoration >= restorations)):
            raise ValueError("restoration must point into workshop")
        if self.workshop.ndim != 1 or np.any(self.workshop < -1):
            raise ValueError("workshop must be a number for each restoration, or -1")
        for name, shape in (("own", (rows, classes)), ("dated", (restorations, classes))):
            values = getattr(self, name)
            if values.shape != shape or not np.all(np.isfinite(values)):
                raise ValueError(f"{name} must be finite, of shape {shape}")
        if np.any(~(self.prior > 0)) or not np.isclose(self.prior.sum(), 1.0):
            raise ValueError("prior must be more than zero and add up to 1")

    @classmethod
    def of(
        cls,
        codes: Whole,
        table: LikelihoodTable,
        *,
        restoration: Whole,
        workshop: Whole,
        years: ArrayLike,
        prior: ArrayLike,
        sharing: Sharing,
    ) -> "Findings":
        """Findings from outcomes [e, k] (``identification.coded``) and the years [r, 2] of each restoration.

        A date is one finding about a restoration, not one for each of its joints; looks and guesses at several joints
        of one restoration count as ``n / (1 + (n - 1) * alike_looks)`` of them, the size of a cluster sample.
        """
        spans = np.asarray(years, dtype=np.float64)
        if spans.shape != (workshop.size, 2):
            raise ValueError("years must have an earliest and a latest for each restoration")
        in_use = np.log(date_likelihood(spans[:, 0], spans[:, 1], years_of_use=table.years_of_use))
        weights = np.ones(codes.shape)
        for place, kind in enumerate(table.kinds):
            if kind in SAME_LOOK:
                together = np.bincount(restoration, codes[:, place] >= 0, minlength=workshop.size)
                weights[:, place] = 1.0 / (1.0 + np.maximum(together - 1.0, 0.0) * sharing.alike_looks)[restoration]
        known = ~np.isnan(in_use[:, 0])
        least = np.ones(workshop.size)
        np.minimum.at(least, restoration, date_weight(codes, table))
        own = evidence_logs(codes, table, dated=known[restoration], weights=weights)
        dated = np.where(known[:, None], least[:, None] * np.nan_to_num(in_use), 0.0)
        return cls(restoration, workshop, own, dated, np.asarray(prior, dtype=np.float64))


@dataclass(frozen=True)
class Identified:
    """Probabilities of the classes after all that was found anywhere.

    Attributes
    ----------
    rows : [e, c], of each adhesive in each joint
    restorations : [r, c]; workshops : [w, c]
    follows : [e, c], chance that a row holds by its restoration's adhesive, for each class that one may be
    otherwise : [e, c], the classes of the row if it does not
    upward : [r, c], likelihood of all that was found in a restoration, for each class it may be (any scale)
    speaks : [r, c], logarithm of what each restoration says of its workshop's habit
    """

    rows: Floats
    restorations: Floats
    workshops: Floats
    follows: Floats
    otherwise: Floats
    upward: Floats
    speaks: Floats


def identify(
    findings: Findings, sharing: Sharing, *, visits: Floats | None = None, workshops: Floats | None = None
) -> Identified:
    """Weigh all findings together: exact for the tree of workshop, restoration and joint.

    Parameters
    ----------
    findings : Findings [e] rows, [r] restorations
    sharing : Sharing
    visits : [e, c], optional, log-likelihood of the stages seen on each row (``pace.class_evidence``)
        They speak for other restorations of the workshop alone: how a joint itself has aged is counted where it is
        scored (``together``), and not twice.
    workshops : [w, c], optional
        ``Identified.workshops`` of a whole collection of which these are some whole restorations: they then come out
        as they do there, at the cost of these alone.

    Returns
    -------
    Identified
        Every distribution sums to 1. In the order of the rows given; time and memory grow with e alone.
    """
    prior, restoration, a = findings.prior, findings.restoration, sharing.within_restoration
    up = _upward(findings, sharing, visits)
    with np.errstate(divide="ignore"):
        if workshops is None:
            logs = np.log(prior) + _heard(findings, up.speaks, int(findings.workshop.max(initial=-1)) + 1)
        else:
            logs = np.log(workshops)
        down = _lent(logs, up.speaks, findings.workshop, prior, sharing.within_workshop)
        restorations = _to_one(np.log(down) + up.restorations)
        without = _to_one((np.log(down) + up.restorations)[restoration] - up.rows)
        rows = _to_one(np.log(a * without + (1.0 - a) * up.spread) + findings.own)
    follows = a * up.own / (a * up.own + (1.0 - a) * up.alone)
    return Identified(rows, restorations, _to_one(logs), follows, up.spread * up.own / up.alone, up.relative, up.speaks)


def spoken(findings: Findings, sharing: Sharing, count: int, *, visits: Floats | None = None) -> Floats:
    """What these restorations say of the habits of ``count`` workshops [w, c], in logarithms.

    Add up what all restorations of a collection say, however they are divided, then ``habits``.
    """
    return _heard(findings, _upward(findings, sharing, visits).speaks, count)


def habits(prior: Floats, said: Floats) -> Floats:
    """Habits [w, c] of workshops: ``Identified.workshops`` of a whole collection from all that was ``spoken``."""
    return _to_one(np.log(prior) + said)


@dataclass(frozen=True)
class _Upward:
    """Messages from joints towards workshops: ``rows`` [e, c] and ``restorations`` [r, c] in logarithms, ``relative``
    the latter brought below 1, ``speaks`` [r, c] what each says to its workshop; ``spread``, ``own``, ``alone`` of
    the rows themselves."""

    spread: Floats
    own: Floats
    alone: Floats
    rows: Floats
    restorations: Floats
    relative: Floats
    speaks: Floats


def _upward(findings: Findings, sharing: Sharing, visits: Floats | None) -> _Upward:
    a, b, prior = sharing.within_restoration, sharing.within_workshop, findings.prior
    restoration, count = findings.restoration, findings.workshop.size
    spread = _to_one(np.log(prior) + findings.dated)[restoration]
    own = np.exp(findings.own - findings.own.max(axis=1, keepdims=True, initial=-np.inf))
    alone = (spread * own).sum(axis=1, keepdims=True)
    with np.errstate(divide="ignore"):
        up_row = np.log(a * own + (1.0 - a) * alone)
        up = _sums(up_row, restoration, count) + findings.dated
        relative = np.exp(up - up.max(axis=1, keepdims=True, initial=-np.inf))
        told = relative
        if visits is not None:
            aged = own * np.exp(visits - visits.max(axis=1, keepdims=True, initial=-np.inf))
            seen = np.log(a * aged + (1.0 - a) * (spread * aged).sum(axis=1, keepdims=True))
            told = _to_one(_sums(seen, restoration, count) + findings.dated)
        speaks = np.log(b * told + (1.0 - b) * (told @ prior)[:, None])
    return _Upward(spread, own, alone, up_row, up, relative, speaks)


def _heard(findings: Findings, speaks: Floats, count: int) -> Floats:
    """What restorations say [r, c], added up for each of ``count`` workshops [w, c]."""
    known = findings.workshop >= 0
    return _sums(speaks[known], findings.workshop[known], count)


def _lent(logs: Floats, speaks: Floats, workshop: Whole, prior: Floats, share: float) -> Floats:
    """What its workshop lends to each restoration [r, c], without that one's own word."""
    known = workshop >= 0
    lent = np.tile(prior, (workshop.size, 1))
    lent[known] = share * _to_one(logs[workshop[known]] - speaks[known]) + (1.0 - share) * prior
    return lent


def _sums(values: Floats, into: Whole, count: int) -> Floats:
    """Rows [e, c] added up into groups [count, c]."""
    return np.stack([np.bincount(into, column, minlength=count) for column in values.T], axis=1)


def _to_one(logs: Floats) -> Floats:
    """Logarithms of weights as distributions over the last axis."""
    weights = np.exp(logs - logs.max(axis=-1, keepdims=True, initial=-np.inf))
    return np.asarray(weights / weights.sum(axis=-1, keepdims=True))


@dataclass(frozen=True)
class Governs:
    """Joints [j] as scoring takes them: classes, and how they hang on their restoration's.

    ``classes`` [j, c]; ``follows`` [j, c] and ``otherwise`` [j, c] as in ``Identified``.
    """

    classes: Floats
    follows: Floats
    otherwise: Floats


def governing(identified: Identified, joint: Whole, *, secondary: ArrayLike = False, share: float = 0.25) -> Governs:
    """Which adhesive a joint lives and fails by, where it holds more than one.

    Parameters
    ----------
    identified : Identified [e]
    joint : int [e], the joint of each row, from 0, each with at least one row that is not secondary
    secondary : bool, array_like [e], rows of a further adhesive in the joint: run in later, or an older residue
    share : float, 0 to 1, chance that a secondary adhesive is the one that decides (expert default)

    Notes
    -----
    Joints with one adhesive are exact. With two, what each may be apart from the restoration is mixed beforehand.
    """
    if not 0 <= share <= 1:
        raise ValueError("share must lie between 0 and 1")
    second = np.broadcast_to(np.asarray(secondary, dtype=np.bool_), joint.shape)
    count = int(joint.max(initial=-1)) + 1
    seconds, firsts = np.bincount(joint[second], minlength=count), np.bincount(joint[~second], minlength=count)
    if np.any(firsts < 1):
        raise ValueError("joint must have a row that is not secondary for each joint")
    part = np.where(seconds > 0, share, 0.0)
    weight = np.where(second, part[joint] / np.maximum(seconds[joint], 1), (1.0 - part[joint]) / firsts[joint])[:, None]
    mixed = (identified.rows, identified.follows, identified.otherwise)
    return Governs(*(_sums(weight * values, joint, count) for values in mixed))


def contains(identified: Identified, joint: Whole, code: str) -> Floats:
    """Chance [j] that a joint holds a class in any of its adhesives, taking two adhesives of a joint as apart."""
    if code not in CLASSES:
        raise ValueError(f"code must be one of {', '.join(CLASSES)}")
    none = np.log1p(-np.minimum(identified.rows[:, CLASSES.index(code)], 1.0 - 1e-15))
    return np.asarray(-np.expm1(np.bincount(joint, none, minlength=int(joint.max(initial=-1)) + 1)))


def strongest(codes: Whole, findings: Findings) -> Whole:
    """Number of the strongest kind of evidence found on any work of each workshop [w]; -1 for none."""
    known = findings.workshop[findings.restoration] >= 0
    found = np.full(int(findings.workshop.max(initial=-1)) + 1, -1, dtype=np.int64)
    np.maximum.at(found, findings.workshop[findings.restoration[known]], _own_kind(codes[known]))
    return found


def _own_kind(codes: Whole) -> Whole:
    """Number of the strongest kind of evidence on each row itself [e]; -1 for none."""
    return np.asarray(np.where(codes >= 0, np.arange(codes.shape[1]), -1).max(axis=1, initial=-1), dtype=np.int64)


def bases(
    codes: Whole, table: LikelihoodTable, findings: Findings, *, of_workshop: Whole | None = None
) -> NDArray[np.str_]:
    """What each row's class rests on: its own strongest finding, or ``restoration`` or ``workshop`` if theirs is
    stronger, or ``date``, or ``none``. Words for all of them stand in ``reasons.BASIS_WORDS``.

    ``of_workshop`` [w] is ``strongest`` of the whole collection, where these are some of its restorations.
    """
    kinds = np.array([*table.kinds, "date", "none"])
    own = _own_kind(codes)
    of_restoration = np.full(findings.workshop.size, -1)
    np.maximum.at(of_restoration, findings.restoration, own)
    known = findings.workshop >= 0
    best = strongest(codes, findings) if of_workshop is None else of_workshop
    lent = np.full(findings.workshop.size, -1)
    lent[known] = best[findings.workshop[known]]
    near, far = of_restoration[findings.restoration], lent[findings.restoration]
    dated = np.any(findings.dated != 0, axis=1)[findings.restoration]
    mine = np.where(own >= 0, kinds[own], np.where(dated, "date", "none"))
    return np.where(near > own, "restoration", np.where(far > own, "workshop", mine))
