"""Rates of a multi-state process that is looked at only now and then: panel data, by maximum likelihood."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import expm
from scipy.special import ndtri

from survey.risk.matrices import intensity_transition_matrix
from survey.risk.maximum import Maximum, maximise
from survey.risk.panel_data import (
    Move,
    Shared,
    allowed_moves,
    covariate_columns,
    crude_rates,
    exact_flags,
    hidden_model,
    intervals,
    or_worse,
    rate_model,
    rate_name,
    refuse_impossible,
    visits,
)
from survey.risk.panel_likelihood import RateModel, hidden_log_likelihood, seen_log_likelihood


@dataclass(frozen=True)
class Misclassification:
    """How recorded states differ from true ones.

    ``matrix`` [n, n] is the chance [true, recorded]. With ``estimate`` its entries off the diagonal that are more than
    zero are starting values of what is estimated; zeros stay zero. ``initial`` [n] is the distribution over the
    true state at first visits; None has it estimated.
    """

    matrix: ArrayLike
    estimate: bool = False
    initial: ArrayLike | None = None


@dataclass(frozen=True)
class PanelFit:
    """Fitted rates.

    Attributes
    ----------
    rates : [n, n], generator at the covariates' means, 1/time
    log_likelihood : float, of each interval given the state seen at its start; with misclassification, of all seen
    coefficients : by covariate [n, n], log ratio of the rate per unit of covariate for each move, nan where no effect
    covariance : [p, p] of ``estimates``; nan for a parameter that the data do not hold
    estimates : [p], log rates, then effects, then logits of misclassification and first states
    names : p names of ``estimates``
    means : by covariate, over the starts of intervals
    misclassification : [n, n] or None; initial : [n] or None
    converged : bool
    """

    rates: NDArray[np.float64]
    log_likelihood: float
    coefficients: Mapping[str, NDArray[np.float64]]
    covariance: NDArray[np.float64]
    estimates: NDArray[np.float64]
    names: tuple[str, ...]
    means: Mapping[str, float]
    misclassification: NDArray[np.float64] | None
    initial: NDArray[np.float64] | None
    converged: bool

    def sojourn(self) -> NDArray[np.float64]:
        """Mean length of one stay in each state [n], at the covariates' means; infinite for absorbing states."""
        leaving = -np.diagonal(self.rates)
        with np.errstate(divide="ignore"):
            return np.where(leaving > 0, 1.0 / np.where(leaving > 0, leaving, 1.0), np.inf)

    def transition_matrix(self, elapsed: ArrayLike) -> NDArray[np.float64]:
        """Transition probabilities [..., n, n] over ``elapsed`` [...], at the covariates' means."""
        return intensity_transition_matrix(self.rates, elapsed)

    def expected_stay(self, state: int, since: float, until: float) -> NDArray[np.float64]:
        """Expected time in each state [n] between two times, for a process in ``state`` at time 0, at the means."""
        if not 0 <= since <= until < np.inf:
            raise ValueError("since must not be negative, nor until before it")
        size = self.rates.shape[0]
        both = np.zeros((2 * size, 2 * size))
        both[:size, :size], both[:size, size:] = self.rates, np.eye(size)
        return np.asarray((expm(both * until) - expm(both * since))[state, size:], dtype=np.float64)

    def rate_interval(self, move: Move, confidence: float = 0.95) -> tuple[float, float]:
        """Interval of one rate at the covariates' means, normal on the log scale."""
        if not 0 < confidence < 1:
            raise ValueError("confidence must lie between 0 and 1")
        name = rate_name(move)
        if name not in self.names:
            raise ValueError(f"move must be one of those allowed, not {move}")
        place = self.names.index(name)
        reach = float(ndtri(0.5 + confidence / 2.0) * np.sqrt(self.covariance[place, place]))
        rate = float(self.rates[move])
        return rate * float(np.exp(-reach)), rate * float(np.exp(reach))


def fit_panel(
    subject: ArrayLike,
    time: ArrayLike,
    state: ArrayLike,
    *,
    allowed: ArrayLike,
    covariates: Mapping[str, ArrayLike] | ArrayLike | None = None,
    shared: Shared | None = None,
    exact_states: Sequence[int] = (),
    exact: ArrayLike = False,
    at_least: ArrayLike = False,
    misclassification: ArrayLike | Misclassification | None = None,
) -> PanelFit:
    """Fit a continuous-time Markov model to states seen at visits.

    Parameters
    ----------
    subject : array_like [r], whose visit each row is; a subject's rows stand together
    time : array_like [r], any unit, not decreasing within a subject
    state : array_like of int [r], from 0
    allowed : array_like of bool [n, n], which moves happen directly; its diagonal does not matter
    covariates : mapping of name -> array_like [r], or array_like [r, x] (named "0", "1", ...), optional
        Held from each visit to the next, centred on their mean over the starts of intervals.
    shared : mapping of covariate -> "all" or groups of moves that share one effect, or "all" for every covariate
        A covariate that is not named has an effect of its own on each move. Moves left out of a covariate's groups
        are not changed by it. Example: ``{"rough": [[(0, 1), (1, 2)], [(2, 3)]], "light": "all"}``.
    exact_states : absorbing states whose recorded time is always the time of entry
    exact : bool or array_like of bool [r], rows whose absorbing state was entered at that very time
    at_least : bool or array_like of bool [r]
        Last visits that tell no more than their state or any of a higher number; needs ``misclassification``.
    misclassification : array_like [n, n], known chance [true, recorded]; or ``Misclassification``
        Makes it a hidden Markov model. With a plain array, the distribution of first states is estimated.

    Returns
    -------
    PanelFit

    Raises
    ------
    ValueError
        Rows out of order, states that no allowed way connects, shapes that do not fit, named.

    Notes
    -----
    Misclassification that is estimated may have several peaks: try more than one starting matrix.
    Visits made because a joint looked bad carry information and bias the fit; fixed rounds do not.
    Source: J. D. Kalbfleisch and J. F. Lawless, JASA 80 (1985) 863-871; exact times and hidden states as in
    C. H. Jackson, Journal of Statistical Software 38(8) (2011) (both from memory).
    """
    moves = allowed_moves(allowed)
    subjects, times, states = visits(subject, time, state, moves.shape[0])
    names, values = covariate_columns(covariates, times.size)
    entered = exact_flags(exact_states, moves)[states] | np.asarray(exact, dtype=np.bool_)
    if np.any(entered & moves[states].any(axis=1)):
        raise ValueError("exact must mark absorbing states alone")
    data, means = intervals(subjects, times, states, values, entered)
    vague = np.broadcast_to(np.asarray(at_least, dtype=np.bool_), states.shape)
    data = or_worse(data, subjects, vague, moves.shape[0])
    model, labels = rate_model(moves, names, shared)
    start = np.zeros(model.parameters)
    start[: model.source.size] = np.log(crude_rates(data, model))
    if misclassification is None:
        if vague.any():
            raise ValueError("at_least needs misclassification")
        refuse_impossible(data, moves)
        best = maximise(lambda at: seen_log_likelihood(at, data, model), start)
        return _result(best, model, names, labels, means)
    if not isinstance(misclassification, Misclassification):
        misclassification = Misclassification(misclassification)
    given = misclassification
    hidden, more, more_labels = hidden_model(given.matrix, given.estimate, given.initial, model, data)
    best = maximise(lambda at: hidden_log_likelihood(at, data, hidden), np.concatenate([start, more]))
    fit = _result(best, model, names, labels + more_labels, means)
    return replace(
        fit,
        misclassification=hidden.error_with_slopes(best.at)[0],
        initial=hidden.initial_with_slopes(best.at)[0],
    )


def _result(
    best: Maximum, model: RateModel, names: Sequence[str], labels: tuple[str, ...], means: NDArray[np.float64]
) -> PanelFit:
    """The fit without a hidden part."""
    effects = np.where(model.slot >= 0, best.at[model.slot], np.nan)
    coefficients = {name: np.full((model.states, model.states), np.nan) for name in names}
    for row, table in enumerate(coefficients.values()):
        table[model.source, model.target] = effects[row]
    return PanelFit(
        rates=model.generator(np.exp(best.at[None, : model.source.size]))[0],
        log_likelihood=best.value,
        coefficients=coefficients,
        covariance=best.covariance,
        estimates=best.at,
        names=labels,
        means=dict(zip(names, means.tolist(), strict=True)),
        misclassification=None,
        initial=None,
        converged=best.converged,
    )
