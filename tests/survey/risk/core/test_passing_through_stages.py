"""Chains of stages: right to the last digits, whatever the rates."""

from decimal import Decimal, getcontext

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from survey.risk.stages import intensity_transition_matrix, neighbour_misclassification, time_to_open, transition_matrix

rates = st.lists(st.floats(0, 5), min_size=1, max_size=5)


def exact(chain, elapsed, start, end):
    """The textbook sum of exponentials for distinct rates, in 80 digits."""
    getcontext().prec = 80
    speeds, time = [Decimal(rate) for rate in chain] + [Decimal(0)], Decimal(elapsed)
    total = Decimal(0)
    for m in range(start, end + 1):
        below = Decimal(1)
        for other in range(start, end + 1):
            below *= speeds[other] - speeds[m] if other != m else 1
        total += (-speeds[m] * time).exp() / below
    for m in range(start, end):
        total *= speeds[m]
    return float(total)


@pytest.mark.parametrize(
    ("chain", "elapsed"),
    [
        ([1 / 15, 1 / 14, 1 / 12, 1 / 8], 1e-3),  # chance of open near 1e-17
        ([1 / 15, 1 / 14, 1 / 12, 1 / 8], 50.0),
        ([1e-3, 1e6, 1.000000001e-3, 3.0], 1e3),  # near-equal and fast
        ([1e-3, 1.000000000000001e-3, 1.000000000000003e-3, 2.0], 300.0),  # a few units in the last place apart
        ([1e-9, 2e-9, 1e9, 1.0], 1e3),
    ],
)
def test_small_probabilities_keep_twelve_digits(chain, elapsed):
    got = transition_matrix(chain, elapsed)
    for start in range(5):
        for end in range(start, 5):
            expected = exact(chain, elapsed, start, end)
            if expected > 1e-290:
                assert got[start, end] == pytest.approx(expected, rel=1e-12)


@given(rates, st.floats(0, 50))
@settings(deadline=None)
def test_rows_are_distributions_and_nobody_recovers(chain, elapsed):
    got = transition_matrix(chain, elapsed)
    assert got.sum(axis=1) == pytest.approx(np.ones(len(chain) + 1))
    assert np.all((got >= 0) & (got <= 1 + 1e-12))
    assert np.all(np.tril(got, -1) == 0)


@given(rates, st.floats(0, 50), st.floats(0, 50))
@settings(deadline=None)
def test_two_spans_follow_each_other_as_one(chain, first, second):
    together = transition_matrix(chain, first + second)
    assert transition_matrix(chain, first) @ transition_matrix(chain, second) == pytest.approx(together, abs=1e-12)


@given(rates, st.floats(0, 50), st.floats(0, 50))
@settings(deadline=None)
def test_waiting_longer_never_makes_a_joint_safer(chain, elapsed, more):
    sooner, later = transition_matrix(chain, [elapsed, elapsed + more])[:, :, -1]
    assert np.all(later >= sooner - 1e-13)


@given(rates, st.floats(0, 50))
@settings(deadline=None)
def test_a_worse_stage_opens_no_later(chain, elapsed):
    opens = transition_matrix(chain, elapsed)[:, -1]
    assert np.all(np.diff(opens) >= -1e-13)


def test_any_generator_agrees_with_scipy():
    """Against scipy.linalg.expm, 300 generators of five states over seven orders of rates."""
    rng = np.random.default_rng(2)
    generators = rng.random((300, 5, 5)) * 10 ** rng.uniform(-4, 3, (300, 5, 5))
    for generator in generators:
        np.fill_diagonal(generator, 0)
        np.fill_diagonal(generator, -generator.sum(axis=1))
    got = intensity_transition_matrix(generators, 0.7)
    for one, generator in zip(got, generators, strict=True):
        assert one == pytest.approx(expm(generator * 0.7), abs=1e-11)


def test_shapes_broadcast():
    assert transition_matrix(np.ones((3, 1, 4)), np.ones(7)).shape == (3, 7, 5, 5)
    assert intensity_transition_matrix(np.zeros((2, 3, 3)), 1.0).shape == (2, 3, 3)
    assert transition_matrix([1.0, 1.0], 0.0).tolist() == np.eye(3).tolist()
    assert transition_matrix(np.ones((0, 4)), 1.0).shape == (0, 5, 5)


def test_rates_beyond_counting_are_passed_at_once():
    assert transition_matrix([0.2, 1e300], 5.0)[0] == pytest.approx([np.exp(-1), 0, 1 - np.exp(-1)])


@pytest.mark.parametrize("bad", [-0.1, np.nan, np.inf])
def test_bad_rates_and_times_are_refused_by_name(bad):
    with pytest.raises(ValueError, match="rates"):
        transition_matrix([0.1, bad], 1.0)
    with pytest.raises(ValueError, match="elapsed"):
        transition_matrix([0.1, 0.1], bad)


@pytest.mark.parametrize(
    ("generator", "why"),
    [
        ([[-1.0, 1.0]], "square"),
        ([[-1.0, 2.0], [0.0, 0.0]], "sum to zero"),
        ([[1.0, -1.0], [0.0, 0.0]], "negative"),
        ([[np.nan, 1.0], [0.0, 0.0]], "finite"),
    ],
)
def test_what_is_no_generator_is_refused_by_name(generator, why):
    with pytest.raises(ValueError, match=f"Q must .*{why}"):
        intensity_transition_matrix(generator, 1.0)


def test_shapes_that_do_not_broadcast_are_refused_by_name():
    with pytest.raises(ValueError, match="elapsed"):
        transition_matrix(np.ones((3, 4)), np.ones(2))


def test_quantiles_of_a_single_stage():  # closed form: exponential
    assert time_to_open([0.1], [0.5, 0.9]) == pytest.approx(-np.log([0.5, 0.1]) / 0.1)
    assert time_to_open([0.2, 0.1], 0.5, stage=1) == pytest.approx(np.log(2) / 0.1)


@pytest.mark.parametrize(
    ("arguments", "name"),
    [(([0.1], 1.0), "quantile"), (([0.0, 0.1], 0.5), "rates")],
)
def test_quantiles_that_cannot_be_are_refused_by_name(arguments, name):
    with pytest.raises(ValueError, match=name):
        time_to_open(*arguments)


def test_neighbours_are_mistaken_for_each_other():
    assert neighbour_misclassification(3, 0.1).tolist() == [[0.9, 0.1, 0.0], [0.1, 0.8, 0.1], [0.0, 0.1, 0.9]]
    with pytest.raises(ValueError, match="share"):
        neighbour_misclassification(3, 0.5)
