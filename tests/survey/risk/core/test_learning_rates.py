"""Rates learned from surveys: right gradient, known rates found again, bad rows refused."""

from itertools import product

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.optimize import check_grad

from survey.risk.panel_data import hidden_model, intervals, rate_model
from survey.risk.panel_likelihood import hidden_log_likelihood, seen_log_likelihood
from survey.risk.stages import (
    Misclassification,
    fit_interval_weibull,
    fit_panel,
    intensity_transition_matrix,
    neighbour_misclassification,
)

ILLNESS = np.array([[0, 1, 1], [1, 0, 1], [0, 0, 0]], dtype=bool)  # ill, well again, lost
RATES = np.array([[-0.3, 0.2, 0.1], [0.15, -0.45, 0.3], [0.0, 0.0, 0.0]])


def walk(rng, generator, subjects, looks, *, exact=(), error=None, gap=1.0):
    """Rows of a process looked at every ``gap``; states of ``exact`` are recorded when entered, and end it."""
    rows = []
    for subject in range(subjects):
        state, now = 0, 0.0
        rows.append((subject, 0.0, state))
        for look in range(1, looks):
            while generator[state, state] < 0:
                later = now + rng.exponential(-1 / generator[state, state])
                if later > look * gap:
                    break
                chances = np.where(np.arange(len(generator)) == state, 0, generator[state])
                state, now = int(rng.choice(len(generator), p=chances / chances.sum())), later
                if state in exact:
                    break
            if state in exact:
                rows.append((subject, now, state))
                break
            now = look * gap
            rows.append((subject, now, state))
    table = np.array(rows)
    seen = table[:, 2].astype(int)
    if error is not None:
        seen = np.array([rng.choice(len(error), p=error[state]) for state in seen])
    return table[:, 0], table[:, 1], seen


def pieces(covariates=None):
    rng = np.random.default_rng(3)
    subject, time, state = walk(rng, RATES, 30, 6, exact=(2,))
    values = rng.normal(size=(subject.size, 2)) if covariates is None else covariates
    data, _ = intervals(subject.astype(int), time, state, values, state == 2)
    model, _ = rate_model(ILLNESS, ("a", "b"), {"a": [[(0, 1), (1, 0)], [(0, 2)]], "b": "all"})
    return data, model, rng


def test_gradient_against_differences():
    """Against scipy.optimize.check_grad, with exact times of loss and shared effects."""
    data, model, rng = pieces()
    at = rng.normal(scale=0.3, size=model.parameters) - 1
    wrong = check_grad(
        lambda p: seen_log_likelihood(p, data, model)[0], lambda p: seen_log_likelihood(p, data, model)[1], at
    )
    assert wrong < 1e-3


def test_gradient_of_the_hidden_chain_against_differences():
    data, model, rng = pieces()
    error = np.array([[0.9, 0.1, 0.0], [0.2, 0.8, 0.0], [0.0, 0.0, 1.0]])
    hidden, more, _ = hidden_model(error, True, None, model, data)
    at = np.concatenate([rng.normal(scale=0.3, size=model.parameters) - 1, more])
    wrong = check_grad(
        lambda p: hidden_log_likelihood(p, data, hidden)[0], lambda p: hidden_log_likelihood(p, data, hidden)[1], at
    )
    assert wrong < 1e-3


def test_hidden_likelihood_against_every_way_written_out():
    """One subject, three looks: the sum over all true ways, with scipy.linalg.expm."""
    data, _ = intervals(
        np.zeros(3, int), np.array([0.0, 1.5, 2.0]), np.array([0, 1, 1]), np.zeros((3, 0)), np.zeros(3, bool)
    )
    model, _ = rate_model(ILLNESS, (), None)
    error = np.array([[0.9, 0.1, 0.0], [0.2, 0.7, 0.1], [0.0, 0.1, 0.9]])
    hidden, _, _ = hidden_model(error, False, np.array([0.6, 0.3, 0.1]), model, data)
    at = np.log(RATES[np.nonzero(ILLNESS)])
    total = sum(
        [0.6, 0.3, 0.1][a] * error[a, 0] * expm(RATES * 1.5)[a, b] * error[b, 1] * expm(RATES * 0.5)[b, c] * error[c, 1]
        for a, b, c in product(range(3), repeat=3)
    )
    assert hidden_log_likelihood(at, data, hidden)[0] == pytest.approx(np.log(total), rel=1e-12)


def test_known_rates_are_found_again():
    rng = np.random.default_rng(8)
    fit = fit_panel(*walk(rng, RATES, 1500, 8), allowed=ILLNESS)
    assert fit.converged
    for move in zip(*np.nonzero(ILLNESS), strict=True):
        low, high = fit.rate_interval((int(move[0]), int(move[1])), confidence=0.999)
        assert low < RATES[move] < high
        assert high / low < 2
    assert fit.transition_matrix(2.0) == pytest.approx(intensity_transition_matrix(fit.rates, 2.0))


def test_exact_times_of_opening_tell_more():
    """Closed form: with one state to leave and exact times, the rate is openings over time at risk."""
    rng = np.random.default_rng(9)
    chain = np.array([[-0.25, 0.25], [0.0, 0.0]])
    subject, time, state = walk(rng, chain, 200, 9, exact=(1,))
    fit = fit_panel(subject, time, state, allowed=[[0, 1], [0, 0]], exact_states=[1])
    last = np.append(subject[1:] != subject[:-1], True)
    assert fit.rates[0, 1] == pytest.approx((state == 1).sum() / time[last].sum(), rel=1e-7)
    opened = (state == 1).sum()
    assert fit.covariance[0, 0] == pytest.approx(1 / opened, rel=1e-5)  # of the log rate
    assert fit.log_likelihood == pytest.approx(opened * np.log(fit.rates[0, 1]) - opened, rel=1e-9)


def test_equal_intervals_of_one_step():
    """Closed form: 12 of 80 move on in two years, -ln(68/80)/2."""
    subject, time = np.repeat(np.arange(80), 2), np.tile([0.0, 2.0], 80)
    state = np.zeros(160, int)
    state[1:24:2] = 1
    fit = fit_panel(subject, time, state, allowed=np.eye(2, k=1))
    assert fit.rates[0, 1] == pytest.approx(-np.log(68 / 80) / 2, rel=1e-8)
    assert fit.sojourn().tolist() == [pytest.approx(1 / 0.0812595, rel=1e-6), np.inf]


def test_a_rough_surface_doubles_the_rate():
    """Closed form: two groups of one step each have their own rate; the coefficient is the log of their ratio."""
    subject, time = np.repeat(np.arange(200), 2), np.tile([0.0, 1.0], 200)
    state, rough = np.zeros(400, int), np.repeat(np.arange(200) % 2, 2)
    moved = np.concatenate([np.arange(0, 40, 2), np.arange(1, 71, 2)])  # 20 smooth of 100, 35 rough of 100
    state[2 * moved + 1] = 1
    fit = fit_panel(subject, time, state, allowed=[[0, 1], [0, 0]], covariates={"rough": rough})
    smooth, other = -np.log(0.8), -np.log(0.65)
    assert np.exp(fit.coefficients["rough"][0, 1]) == pytest.approx(other / smooth, rel=1e-7)
    assert fit.rates[0, 1] == pytest.approx(np.sqrt(smooth * other), rel=1e-7)  # at the mean, half rough


def test_the_unit_of_time_does_not_matter():
    rng = np.random.default_rng(10)
    subject, time, state = walk(rng, RATES, 60, 6)
    years, months = (fit_panel(subject, time * unit, state, allowed=ILLNESS) for unit in (1.0, 12.0))
    assert years.rates == pytest.approx(months.rates * 12, rel=1e-5)
    assert years.log_likelihood == pytest.approx(months.log_likelihood, abs=1e-7)


def test_surveyors_mistakes_are_seen_through():
    rng = np.random.default_rng(11)
    chain = np.diag([-0.3, -0.3, 0.0]) + np.diag([0.3, 0.3], 1)
    error = neighbour_misclassification(3, 0.1)
    subject, time, state = walk(rng, chain, 250, 7, error=error)
    fit = fit_panel(subject, time, state, allowed=np.eye(3, k=1), misclassification=error)
    assert np.diagonal(fit.rates, 1) == pytest.approx([0.3, 0.3], rel=0.12)
    assert fit.initial is not None
    assert fit.initial[0] > 0.95
    learned = fit_panel(
        subject, time, state, allowed=np.eye(3, k=1), misclassification=Misclassification(error, estimate=True)
    )
    assert learned.log_likelihood >= fit.log_likelihood - 1e-6
    assert learned.misclassification == pytest.approx(error, abs=0.05)


def test_a_move_never_seen_has_no_interval():
    subject, time = np.repeat(np.arange(50), 2), np.tile([0.0, 1.0], 50)
    state = np.zeros(100, int)
    state[1:40:2] = 1
    fit = fit_panel(subject, time, state, allowed=[[0, 1, 1], [0, 0, 0], [0, 0, 0]])
    assert fit.rates[0, 2] < 1e-4
    assert np.isnan(fit.rate_interval((0, 2))).all()
    assert fit.rates[0, 1] == pytest.approx(-np.log(0.6), rel=1e-4)


GOOD = {"subject": [1, 1, 2, 2], "time": [0, 1, 0, 1], "state": [0, 1, 0, 0], "allowed": np.eye(2, k=1)}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"time": [1, 0, 0, 1]}, "time must not decrease"),
        ({"time": [0, np.nan, 0, 1]}, "time must be finite"),
        ({"time": [0, 0, 0, 1]}, "time must pass"),
        ({"subject": [1, 2, 1, 2]}, "subject must keep"),
        ({"subject": [1, 2, 3, 4]}, "seen twice"),
        ({"state": [0, 2, 0, 0]}, "state must be whole numbers from 0 to 1"),
        ({"state": [1, 0, 0, 0]}, "state goes from 1 to 0"),
        ({"state": [0, 0.5, 0, 0]}, "state must be whole"),
        ({"allowed": np.zeros((2, 2))}, "allowed must allow"),
        ({"allowed": [[0, 2], [0, 0]]}, "allowed must hold True or False"),
        ({"covariates": {"a": [1, 2]}}, "covariates must have one value"),
        ({"covariates": [[1], [2], [np.nan], [0]]}, "covariates must be finite"),
        ({"covariates": {"a": [1, 2, 3, 4]}, "shared": {"b": "all"}}, "shared names covariates"),
        ({"covariates": {"a": [1, 2, 3, 4]}, "shared": {"a": [[(1, 0)]]}}, "shared must name each allowed move once"),
        ({"exact_states": [0]}, "exact_states must be absorbing"),
        ({"misclassification": [[0.5, 0.2], [0, 1]]}, "misclassification must be"),
    ],
)
def test_rows_that_cannot_be_are_refused_by_name(change, message):
    with pytest.raises(ValueError, match=message):
        fit_panel(**(GOOD | change))


@pytest.mark.parametrize(
    ("left", "right", "name"),
    [
        ([2.0], [1.0], "right"),
        ([-1.0], [1.0], "left"),
        ([1.0], [np.inf], "right"),
        ([5.0, 5.0], [6.0, 6.0], "fix a curve"),
    ],
)
def test_lives_that_fix_no_curve_are_refused_by_name(left, right, name):
    with pytest.raises(ValueError, match=name):
        fit_interval_weibull(left, right)
