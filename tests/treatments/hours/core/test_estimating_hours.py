"""Estimates of hours: their edges, sums, simulation, and what they refuse."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treatments.hours.estimate import (
    lognormal_fit,
    lognormal_from_moments,
    lognormal_from_quantiles,
    pert,
    reference_class,
    simulate_totals,
    sum_with_shared_bias,
    total_hours,
)


def test_three_equal_points_have_no_spread():
    sure = pert(3, 3, 3)
    assert (float(sure.mean), float(sure.standard_deviation), float(sure.beta_variance)) == (3, 0, 0)
    assert sure.quantile([0.1, 0.9]) == pytest.approx([3, 3])
    assert np.all(sure.sample(np.random.default_rng(1), 5) == 3)
    assert float(lognormal_from_quantiles(3, 3).quantile(0.99)) == pytest.approx(3)


def test_arrays_of_steps_at_once():
    many = pert([1, 2], [2, 4], [8, 9])
    assert many.mean == pytest.approx([pert(1, 2, 8).mean, pert(2, 4, 9).mean])
    assert many.sample(np.random.default_rng(1), (1000, 2)).shape == (1000, 2)
    assert lognormal_from_quantiles([8, 1.5], [40, 6]).median == pytest.approx([17.889, 3], abs=1e-3)


def test_sampled_hours_have_the_moments_that_are_said():
    rng = np.random.default_rng(7)
    beta, bell = pert(2, 4, 9), lognormal_from_quantiles(8, 40)
    drawn = beta.sample(rng, 200_000)
    assert (drawn.mean(), drawn.var()) == pytest.approx((4.5, 1.607), rel=0.01)
    assert np.quantile(bell.sample(rng, 200_000), [0.1, 0.9]) == pytest.approx([8, 40], rel=0.02)


@settings(deadline=None)
@given(low=st.floats(0.01, 50), more=st.floats(0, 50), p=st.floats(0.02, 0.98))
def test_quantiles_come_back_from_the_lognormal(low, more, p):
    lower, upper = sorted((p, 1 - p)) if abs(p - 0.5) > 0.01 else (0.2, 0.8)
    fitted = lognormal_from_quantiles(low, low + more, lower, upper)
    assert fitted.quantile([lower, upper]) == pytest.approx([low, low + more], rel=1e-9)
    if fitted.sigma < 5:  # beyond, the moments leave floating point
        again = lognormal_from_moments(fitted.mean, fitted.standard_deviation)
        assert (float(again.mu), float(again.sigma)) == pytest.approx((float(fitted.mu), float(fitted.sigma)), abs=1e-6)


def test_nothing_recorded_is_not_computable():
    assert all(math.isnan(value) for value in lognormal_fit([]))
    assert math.isnan(lognormal_fit([2.0]).sigma)
    empty = reference_class([], [])
    assert (empty.jobs, empty.enough) == (0, False)
    assert math.isnan(empty.p50)
    assert math.isnan(empty.p80)


def test_own_jobs_replace_the_factor_only_when_there_are_enough():
    said, took = np.full(10, 4.0), np.linspace(4, 8, 10)
    assert reference_class(said[:9], took[:9]).enough is False
    enough = reference_class(said, took)
    assert enough.enough is True
    assert (enough.p50, enough.p80) == pytest.approx((1.5, 1.8))


def test_simulated_totals_follow_the_sum_and_repeat_under_a_seed():
    parts = lognormal_from_quantiles([1, 2, 0.5, 4], [4, 5, 3, 9])
    drawn = simulate_totals(np.random.default_rng(3), parts, 50_000, factor=1.2, shared_cv=0.2)
    matched = total_hours([1, 2, 0.5, 4], [4, 5, 3, 9], factor=1.2, shared_cv=0.2)
    assert drawn.mean() == pytest.approx(float(matched.mean), rel=0.01)
    assert np.quantile(drawn, [0.1, 0.5, 0.9]) == pytest.approx(matched.quantile([0.1, 0.5, 0.9]), rel=0.03)
    again = simulate_totals(np.random.default_rng(3), parts, 50_000, factor=1.2, shared_cv=0.2)
    assert np.array_equal(drawn, again)


@settings(deadline=None)
@given(n=st.integers(1, 200), bias=st.floats(0, 1))
def test_more_objects_never_shrink_the_error_below_the_shared_bias(n, bias):
    whole = sum_with_shared_bias(np.full(n, 10.0), np.full(n, 6.0), bias)
    assert whole.standard_deviation / whole.mean >= bias * (1 - 1e-9)


_bad: Any = "two"


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: pert(-1, 2, 3), "low must be finite"),
        (lambda: pert(1, math.nan, 3), "likely must be finite"),
        (lambda: pert(2, 1, 3), "likely must not be below low"),
        (lambda: pert(1, 4, 3), "high must not be below likely"),
        (lambda: pert(1, 2, _bad), "could not convert"),
        (lambda: lognormal_from_quantiles(0, 3), "low must be above zero"),
        (lambda: lognormal_from_quantiles(4, 3), "high must not be below low"),
        (lambda: lognormal_from_quantiles(1, 3, 0.9, 0.1), "lower and upper"),
        (lambda: lognormal_from_moments(0, 1), "mean must be above zero"),
        (lambda: lognormal_fit([1, 0]), "hours must be"),
        (lambda: sum_with_shared_bias([1], [1], -0.1), "shared_cv"),
        (lambda: total_hours([], []), "at least one part"),
        (lambda: total_hours([1], [2], factor=0), "factor must be above zero"),
        (lambda: simulate_totals(np.random.default_rng(1), lognormal_from_quantiles([1], [2]), 0), "trials"),
        (lambda: simulate_totals(np.random.default_rng(1), lognormal_from_quantiles(1, 2), 5), "one-dimensional"),
        (lambda: reference_class([1, 2], [1]), "one length"),
        (lambda: reference_class([1, 0], [1, 1]), "estimated must be above zero"),
        (lambda: reference_class([1, 1], [1, 0]), "actual must be above zero"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()
