"""Scores of forecasts: honest forecasts win, and what the scores refuse."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treatments.hours.scores import (
    crps_ensemble,
    crps_lognormal,
    crps_normal,
    crps_student_t,
    interval_score,
    pinball,
)


@settings(deadline=None)
@given(st.lists(st.floats(-50, 50), min_size=2, max_size=30), st.floats(-50, 50))
def test_ensemble_against_the_double_sum(members, observed):
    x = np.array(members)
    pairs = np.abs(x[:, None] - x[None, :]).sum()
    m = x.size
    assert crps_ensemble(observed, x) == pytest.approx(np.abs(x - observed).mean() - pairs / (2 * m * m), abs=1e-9)
    fair = np.abs(x - observed).mean() - pairs / (2 * m * (m - 1))
    assert crps_ensemble(observed, x, fair=True) == pytest.approx(fair, abs=1e-9)


def test_a_large_ensemble_scores_as_the_law_it_was_drawn_from():
    drawn = np.random.default_rng(6).standard_normal((3, 100_000))
    observed = np.array([0.0, 1.0, -2.0])
    assert crps_ensemble(observed, drawn, fair=True) == pytest.approx(crps_normal(observed, 0, 1), abs=5e-3)


def test_one_draw_scores_its_absolute_error():
    assert crps_ensemble(4.0, [1.5]) == 2.5


def test_the_true_spread_scores_best_on_average():
    observed = np.random.default_rng(2).standard_normal(20_000)
    by_spread = {spread: crps_normal(observed, 0, spread).mean() for spread in (0.5, 0.8, 1.0, 1.25, 2.0)}
    assert min(by_spread, key=lambda spread: by_spread[spread]) == 1.0
    z = 1.2815516
    by_width = {k: interval_score(observed, -k * z, k * z, 0.8).mean() for k in (0.5, 0.8, 1.0, 1.25, 2.0)}
    assert min(by_width, key=lambda width: by_width[width]) == 1.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: crps_normal(0, 0, 0), "standard_deviation must be above zero"),
        (lambda: crps_lognormal(0, 0, 1), "observed must be above zero"),
        (lambda: crps_lognormal(1, 0, 0), "sigma must be above zero"),
        (lambda: crps_student_t(0, 1, 0, 1), "df must be above 1"),
        (lambda: crps_student_t(0, 3, 0, -1), "scale must be above zero"),
        (lambda: crps_ensemble(0, []), "members must hold"),
        (lambda: crps_ensemble(0, [1], fair=True), "members must hold"),
        (lambda: crps_ensemble([0, 1], [1, 2]), "members must be observed's shape"),
        (lambda: pinball(0, 0, 1), "probability must lie"),
        (lambda: interval_score(0, 1, 0, 0.8), "high must not be below low"),
        (lambda: interval_score(0, 0, 1, 1), "confidence must lie"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_an_unknown_outcome_has_no_score():
    assert math.isnan(crps_normal(math.nan, 0, 1))
