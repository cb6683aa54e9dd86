"""Likelihood of states seen only now and then, with its exact gradient, for ``panel.fit_panel``.

Rates are modelled on the log scale: ``log q_a = base_a + sum(beta * (x - mean))``. Intervals that share their length
and covariates share one matrix.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

_FIRST_STEP = 0.125  # largest exit rate times step before squaring
_TERMS = 11
_TINY = 1e-300


@dataclass(frozen=True)
class Intervals:
    """Observed intervals [i] between consecutive visits and first visits [f] of subjects.

    ``group`` [i] points into the unique lengths ``elapsed`` [u] and centred covariates ``centred`` [u, x].
    ``visit`` [i] is the number of the interval within its subject and ``subject`` [i] the subject's row among first
    visits, both from 0. ``exact`` [i]: the state at the end was entered at that very time.
    """

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    exact: NDArray[np.bool_]
    group: NDArray[np.int64]
    elapsed: NDArray[np.float64]
    centred: NDArray[np.float64]
    subject: NDArray[np.int64]
    visit: NDArray[np.int64]
    first_state: NDArray[np.int64]


@dataclass(frozen=True)
class RateModel:
    """How parameters [p] make the log rates of moves [a]: ``log q = base + effects . x``.

    ``source``, ``target`` [a] are the states of each move; ``slot`` [x, a] is the parameter that carries the effect of
    covariate x on move a, -1 for none. The first ``a`` parameters are the log rates at the covariates' means.
    """

    states: int
    source: NDArray[np.int64]
    target: NDArray[np.int64]
    slot: NDArray[np.int64]
    parameters: int

    def rates(self, parameters: NDArray[np.float64], centred: NDArray[np.float64]) -> NDArray[np.float64]:
        """Rates [u, a] for centred covariates [u, x]."""
        effects = np.where(self.slot >= 0, parameters[self.slot], 0.0)
        logs = parameters[: self.source.size] + centred @ effects
        return np.exp(np.clip(logs, -700.0, 700.0))

    def generator(self, rates: NDArray[np.float64]) -> NDArray[np.float64]:
        """Generators [u, n, n] from rates [u, a]."""
        generator = np.zeros((rates.shape[0], self.states, self.states))
        generator[:, self.source, self.target] = rates
        diagonal = np.arange(self.states)
        generator[:, diagonal, diagonal] = 0.0 - generator.sum(axis=2)
        return generator

    def directions(self, rates: NDArray[np.float64]) -> NDArray[np.float64]:
        """Derivative [a, u, n, n] of the generators in each log rate."""
        moves = np.arange(self.source.size)
        directions = np.zeros((moves.size, rates.shape[0], self.states, self.states))
        directions[moves, :, self.source, self.target] = rates.T
        directions[moves, :, self.source, self.source] = -rates.T
        return directions

    def to_parameters(self, by_move: NDArray[np.float64], centred: NDArray[np.float64]) -> NDArray[np.float64]:
        """Derivatives in log rates [a, u, ...] turned into derivatives in parameters [p, u, ...]."""
        result = np.zeros((self.parameters, *by_move.shape[1:]))
        result[: self.source.size] = by_move
        for covariate, move in zip(*np.nonzero(self.slot >= 0), strict=True):
            weight = centred[:, covariate].reshape(-1, *[1] * (by_move.ndim - 2))
            result[self.slot[covariate, move]] += weight * by_move[move]
        return result


def exponential_with_slopes(
    generator: NDArray[np.float64], directions: NDArray[np.float64], elapsed: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """exp(Q t) [u, n, n] and its derivatives [a, u, n, n] along each of ``directions`` [a, u, n, n].

    The series and the squarings are differentiated term by term, so that the derivatives are those of the value.
    """
    fastest = float(np.max(-np.diagonal(generator, axis1=1, axis2=2) * elapsed[:, None], initial=0.0))
    squarings = max(0, int(np.ceil(np.log2(fastest / _FIRST_STEP)))) if fastest > 0 else 0
    step = generator * (elapsed / 2.0**squarings)[:, None, None]
    slopes = directions * (elapsed / 2.0**squarings)[:, None, None]
    value: NDArray[np.float64] = np.broadcast_to(np.eye(generator.shape[-1]), generator.shape)
    slope: NDArray[np.float64] = np.zeros_like(slopes)
    for term in range(_TERMS, 0, -1):
        slope = (slopes @ value + step @ slope) / term
        value = np.eye(generator.shape[-1]) + (step @ value) / term
    for _ in range(squarings):
        slope = slope @ value + value @ slope
        value = value @ value
    return np.maximum(value, 0.0), slope


def seen_log_likelihood(
    parameters: NDArray[np.float64], data: Intervals, model: RateModel
) -> tuple[float, NDArray[np.float64]]:
    """Log-likelihood and gradient [p] when states are seen rightly: each interval given the state it starts from."""
    rates = model.rates(parameters, data.centred)
    matrices, slopes = exponential_with_slopes(model.generator(rates), model.directions(rates), data.elapsed)
    chance = matrices[data.group, data.start, data.end]
    by_move = slopes[:, data.group, data.start, data.end]
    if data.exact.any():
        entering, entering_slopes = _entering(matrices, slopes, rates, model)
        chance = np.where(data.exact, entering[data.group, data.start, data.end], chance)
        by_move = np.where(data.exact, entering_slopes[:, data.group, data.start, data.end], by_move)
    chance = np.maximum(chance, _TINY)
    gradient = model.to_parameters(by_move / chance, data.centred[data.group]).sum(axis=1)
    return float(np.log(chance).sum()), gradient


def _entering(
    matrices: NDArray[np.float64], slopes: NDArray[np.float64], rates: NDArray[np.float64], model: RateModel
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Density [u, n, n] of entering each state at the end of the interval, and its slopes [a, u, n, n]."""
    moves = np.zeros((rates.shape[0], model.states, model.states))
    moves[:, model.source, model.target] = rates
    slope = slopes @ moves
    for move, (source, target) in enumerate(zip(model.source, model.target, strict=True)):
        slope[move, :, :, target] += matrices[:, :, source] * rates[:, move, None]
    return matrices @ moves, slope


@dataclass(frozen=True)
class HiddenModel:
    """Rates, and how the true state shows itself: which entries of the misclassification matrix and of the
    distribution over first states are estimated, as logits after the parameters of the rates.

    What a visit records may be more than one state: records 0 to n - 1 are those states, record ``n - 1 + s`` is
    "state s or any of a higher number".
    """

    rates: RateModel
    error: NDArray[np.float64]  # [n, n] fixed, or the pattern of what is estimated
    error_slots: NDArray[np.int64]  # [n, n] parameter of each estimated entry off the diagonal, -1 for none
    initial: NDArray[np.float64]  # [n] fixed, or unused
    initial_slots: NDArray[np.int64]  # [n] parameter of each estimated state but the first, -1 for none
    parameters: int

    def error_with_slopes(self, parameters: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Misclassification [n, n] and derivatives [p, n, n]; a row without estimated entries is as given."""
        slopes = np.zeros((self.parameters, *self.error.shape))
        error = self.error.copy()
        for row in np.flatnonzero((self.error_slots >= 0).any(axis=1)):
            error[row], slopes[:, row] = _softmax(parameters, self.error_slots[row], int(row))
        return error, slopes

    def shows_with_slopes(self, parameters: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Chance [n, 2n - 1] of each record for each true state, and derivatives [p, n, 2n - 1]."""
        error, slopes = self.error_with_slopes(parameters)
        states = error.shape[0]
        records = np.concatenate([np.eye(states), np.tri(states)[:, 1:]], axis=1)
        return error @ records, slopes @ records

    def initial_with_slopes(self, parameters: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Distribution over the true first state [n] and derivatives [p, n]."""
        if not (self.initial_slots >= 0).any():
            return self.initial, np.zeros((self.parameters, self.initial.size))
        return _softmax(parameters, self.initial_slots, 0)


def _softmax(
    parameters: NDArray[np.float64], slots: NDArray[np.int64], reference: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Shares [n] from logits in ``slots`` against the reference state, with derivatives [p, n]; -1 gets no share."""
    takes_part = slots >= 0
    takes_part[reference] = True
    logits = np.where(slots >= 0, parameters[slots], 0.0)
    weights = np.where(takes_part, np.exp(logits - logits[takes_part].max()), 0.0)
    shares = weights / weights.sum()
    slopes = np.zeros((parameters.size, slots.size))
    for state in np.flatnonzero(slots >= 0):
        slopes[slots[state]] = shares[state] * ((np.arange(slots.size) == state) - shares)
    return shares, slopes


def hidden_log_likelihood(
    parameters: NDArray[np.float64], data: Intervals, model: HiddenModel
) -> tuple[float, NDArray[np.float64]]:
    """Log-likelihood and gradient [p] of all that was seen, summed over what the true states may have been."""
    rates = model.rates.rates(parameters, data.centred)
    matrices, by_move = exponential_with_slopes(
        model.rates.generator(rates), model.rates.directions(rates), data.elapsed
    )
    entering, entering_by_move = _entering(matrices, by_move, rates, model.rates)
    slopes = _padded(model.rates.to_parameters(by_move, data.centred), model.parameters)
    entering_slopes = _padded(model.rates.to_parameters(entering_by_move, data.centred), model.parameters)
    error, error_slopes = model.shows_with_slopes(parameters)
    start, start_slopes = model.initial_with_slopes(parameters)

    belief = start * error[:, data.first_state].T
    change = start_slopes[:, None, :] * error[:, data.first_state].T
    change = change + start * np.moveaxis(error_slopes[:, :, data.first_state], 2, 1)
    belief, change, total, gradient = _scaled(belief, change)
    for visit in range(int(data.visit.max(initial=-1)) + 1):
        here = np.flatnonzero(data.visit == visit)
        who, group, seen = data.subject[here], data.group[here], data.end[here]
        exact = data.exact[here]
        step = np.where(exact[:, None, None], entering[group], matrices[group])
        step_slopes = np.where(exact[:, None, None], entering_slopes[:, group], slopes[:, group])
        shows = np.where(exact[:, None], np.eye(error.shape[0])[np.minimum(seen, error.shape[0] - 1)], error[:, seen].T)
        shows_slopes = np.where(exact[:, None], 0.0, np.moveaxis(error_slopes[:, :, seen], 2, 1))
        moved = np.einsum("sn,snm->sm", belief[who], step)
        moved_change = np.einsum("psn,snm->psm", change[:, who], step) + np.einsum(
            "sn,psnm->psm", belief[who], step_slopes
        )
        after, after_change, gain, slope = _scaled(moved * shows, moved_change * shows + moved * shows_slopes)
        belief[who], change[:, who] = after, after_change
        total, gradient = total + gain, gradient + slope
    return total, gradient


def _scaled(belief: NDArray[np.float64], change: NDArray[np.float64]) -> Any:
    """Belief and its derivatives brought to a sum of 1 per subject, with the log of what was divided by."""
    mass = np.maximum(belief.sum(axis=1), _TINY)
    slope = change.sum(axis=2) / mass
    scaled = belief / mass[:, None]
    return scaled, change / mass[:, None] - scaled * slope[..., None], float(np.log(mass).sum()), slope.sum(axis=1)


def _padded(slopes: NDArray[np.float64], parameters: int) -> NDArray[np.float64]:
    """Derivatives in the rate parameters, with zeros for the parameters that follow."""
    return np.concatenate([slopes, np.zeros((parameters - slopes.shape[0], *slopes.shape[1:]))])
