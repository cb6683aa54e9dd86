"""A department's own surveys set against the published lives: rates between the two, and how much is whose."""

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from survey.risk.maximum import Objective, maximise
from survey.risk.panel_data import (
    allowed_moves,
    crude_rates,
    hidden_model,
    intervals,
    or_worse,
    rate_model,
    refuse_impossible,
    visits,
)
from survey.risk.panel_likelihood import hidden_log_likelihood, seen_log_likelihood
from survey.risk.stages import MISCLASSIFICATION, STAGES, StagePrior


@dataclass(frozen=True)
class LearnedRates:
    """Rates of leaving stages 0 to 3.

    ``rates`` [4], per equivalent year; ``prior_share`` [4], the part of what is known of each that comes from the
    prior, 0 to 1; ``deviation`` [4], standard deviation of the log of each rate, from ``covariance`` [4, 4]; ``joints``
    that were seen twice; ``first`` [5], distribution of true stages at first looks.
    """

    rates: NDArray[np.float64]
    prior_share: NDArray[np.float64]
    deviation: NDArray[np.float64]
    covariance: NDArray[np.float64]
    first: NDArray[np.float64]
    joints: int
    converged: bool

    def life(self, confidence: float = 0.9) -> tuple[float, float, float]:
        """Mean life from sound to open in equivalent years: low end, middle, high end; normal on the log scale, by the
        delta method."""
        stays = 1.0 / self.rates
        slope = stays / stays.sum()
        reach = float(ndtri(0.5 + confidence / 2.0) * np.sqrt(slope @ self.covariance @ slope))
        middle = float(stays.sum())
        return middle * float(np.exp(-reach)), middle, middle * float(np.exp(reach))

    def as_prior(self, name: str = "learned") -> StagePrior:
        """The same rates as a belief to score by."""
        stays = 1.0 / self.rates
        grounds = f"{self.joints} joints seen more than once; the prior's share is {self.prior_share.mean():.0%}"
        return StagePrior(name, float(stays.sum()), grounds, tuple(stays.tolist()))


def learn_rates(
    subject: ArrayLike,
    time: ArrayLike,
    state: ArrayLike,
    *,
    prior: StagePrior,
    pseudo_years: float = 20.0,
    exact_open: ArrayLike = False,
    at_least: ArrayLike = False,
    misclassification: ArrayLike | None = MISCLASSIFICATION,
) -> LearnedRates:
    r"""Rates from visits to joints, held by a prior that weighs as much as ``pseudo_years`` of watching.

    A gamma prior on each rate, :math:`q \sim \Gamma(k q_0, k)`, whose density in :math:`\log q` peaks at the prior's
    rate :math:`q_0`: as if ``k`` joint-years in that stage had been watched, with as many moves on as it expects.

    Parameters
    ----------
    subject : array_like [r], the joint of each visit; a joint's rows stand together
    time : array_like [r], equivalent years from any moment of that joint, not decreasing
    state : array_like of int [r], stage as seen, 0 to 4
    prior : StagePrior
    pseudo_years : float, equivalent years, > 0 (expert default)
    exact_open : bool or array_like of bool [r]
        Whether the time of an open joint is when it opened, not when it was found.
    at_least : bool or array_like of bool [r]
        Last looks that tell no more than their stage or any worse one; needs ``misclassification``.
    misclassification : array_like [5, 5], chance [true, seen]; None takes what was seen as true

    Returns
    -------
    LearnedRates

    Raises
    ------
    ValueError
        Rows out of order, stages out of range, no joint seen twice, named.

    Notes
    -----
    Joints of different adhesives pass at different speeds: give those of one class. Visits made because a joint
    looked bad make the rates look faster than they are; fixed rounds do not.
    """
    if not (np.isfinite(pseudo_years) and pseudo_years > 0):
        raise ValueError("pseudo_years must be more than zero")
    moves = allowed_moves(np.eye(len(STAGES), k=1))
    subjects, times, seen = visits(subject, time, state, len(STAGES))
    exact = np.broadcast_to(np.asarray(exact_open, dtype=np.bool_), seen.shape) & (seen == len(STAGES) - 1)
    data, _ = intervals(subjects, times, seen, np.zeros((times.size, 0)), exact)
    vague = np.broadcast_to(np.asarray(at_least, dtype=np.bool_), seen.shape)
    data = or_worse(data, subjects, vague, len(STAGES))
    model, _ = rate_model(moves, (), None)
    start = np.log(crude_rates(data, model))
    if misclassification is None:
        if vague.any():
            raise ValueError("at_least needs misclassification")
        refuse_impossible(data, moves)
        likelihood: Objective = partial(seen_log_likelihood, data=data, model=model)
    else:
        hidden, more, _ = hidden_model(misclassification, False, None, model, data)
        start, likelihood = np.concatenate([start, more]), partial(hidden_log_likelihood, data=data, model=hidden)
    best = maximise(_held(likelihood, prior.rates, pseudo_years), start)
    if misclassification is None:
        first = np.bincount(data.first_state, minlength=len(STAGES)) / data.first_state.size
    else:
        first = hidden.initial_with_slopes(best.at)[0]
    rates = np.exp(best.at[: prior.rates.size])
    covariance = best.covariance[: rates.size, : rates.size]
    variance = np.diagonal(covariance)
    return LearnedRates(
        rates=rates,
        prior_share=np.clip(pseudo_years * rates * variance, 0.0, 1.0),
        deviation=np.sqrt(variance),
        covariance=covariance,
        first=first,
        joints=int(np.unique(data.subject).size),
        converged=best.converged,
    )


def _held(likelihood: Objective, rates: NDArray[np.float64], years: float) -> Objective:
    """The log-likelihood with the log density of the prior added, both in the log rates."""

    def together(at: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        value, gradient = likelihood(at)
        logs = at[: rates.size]
        pull = years * (rates - np.exp(logs))
        value += float(np.sum(years * (rates * logs - np.exp(logs))))
        gradient = gradient.copy()
        gradient[: rates.size] += pull
        return value, gradient

    return together
