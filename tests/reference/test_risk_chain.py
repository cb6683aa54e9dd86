"""Chains of stages and service lives against closed forms and published ranges of life."""

import math

import numpy as np
import pytest
from scipy import stats

from survey.risk.stages import (
    MEAN_STAYS,
    PRIORS,
    conditional_failure,
    fit_interval_weibull,
    intensity_transition_matrix,
    time_to_open,
    transition_matrix,
    weibull_from_quantiles,
)

DEFAULT = 1 / np.asarray(MEAN_STAYS)


def test_two_equal_steps():  # closed form: Erlang, 1 - 2/e
    assert transition_matrix([0.1, 0.1], 10.0)[0, 2] == pytest.approx(1 - 2 / math.e, rel=1e-13)


def test_two_unequal_steps():  # closed form: e^-1, (0.2/0.1)(e^-0.5 - e^-1), the rest
    first = math.exp(-1)
    second = 2 * (math.exp(-0.5) - math.exp(-1))
    got = transition_matrix([0.2, 0.1], 5.0)[0]
    assert got == pytest.approx([first, second, 1 - first - second], rel=1e-13)
    assert got == pytest.approx([0.367879, 0.477302, 0.154818], abs=5e-7)


def test_steady_drift_between_two_states():  # closed form of the two-state chain, a/(a+b) (1 - e^-(a+b)t)
    there, back, elapsed = 0.3, 0.2, 4.0
    moved = there / (there + back) * (1 - math.exp(-(there + back) * elapsed))
    got = intensity_transition_matrix([[-there, there], [back, -back]], elapsed)
    assert got[0, 1] == pytest.approx(moved, rel=1e-13)


@pytest.mark.parametrize(
    ("elapsed", "opens"),  # default chain, from stages 0 to 3; computed apart
    [(1.0, (2e-6, 1.16e-4, 0.004861, 0.117503)), (5.0, (0.000917, 0.010983, 0.092801, 0.464739))],
)
def test_default_chain_opens(elapsed, opens):
    assert transition_matrix(DEFAULT, elapsed)[:4, 4] == pytest.approx(opens, abs=6e-7)


def test_default_chain_quantiles_of_time_to_open():  # computed apart; mean 49 years
    assert time_to_open(DEFAULT, [0.1, 0.5, 0.9]) == pytest.approx([21.014, 44.705, 82.538], abs=6e-4)


@pytest.mark.parametrize(
    ("name", "years"),
    [
        ("pessimistic", (5.6, 11.9, 21.9)),  # 6 to 20 years: Heritage Science 2016, s40494-016-0116-z
        (
            "optimistic",
            (32.2, 68.4, 126.3),
        ),  # 50 to 100: Shashoua, Bradley and Daniels 1992, Studies in Conservation 37
    ],
)
def test_named_priors_fit_the_published_lives(name, years):
    assert time_to_open(PRIORS[name].rates, [0.1, 0.5, 0.9]) == pytest.approx(years, abs=0.05)


def test_rate_from_twelve_of_eighty_joints_in_two_years():  # closed form: -ln(68/80)/2
    rate = -math.log(68 / 80) / 2
    assert rate == pytest.approx(0.0812595, abs=5e-8)
    assert transition_matrix([rate], 2.0)[0, 1] == pytest.approx(12 / 80, rel=1e-12)


@pytest.mark.parametrize(
    ("early", "late", "shape", "scale"),  # published ranges of service life read as 10 % and 90 %
    [(6, 20, 2.56185, 14.44248), (50, 100, 4.44985, 82.90876)],
)
def test_service_life_curves(early, late, shape, scale):
    got_scale, got_shape = weibull_from_quantiles(early, late)
    assert (got_shape, got_scale) == (pytest.approx(shape, abs=5e-6), pytest.approx(scale, abs=5e-6))
    assert stats.weibull_min.ppf([0.1, 0.9], got_shape, scale=got_scale) == pytest.approx([early, late], rel=1e-12)


@pytest.mark.parametrize(
    ("early", "late", "age", "later", "chance"),
    [
        (6, 20, 10, 11, 0.102236),
        (6, 20, 15, 16, 0.179722),
        (50, 100, 40, 41, 0.004523),
        (50, 100, 60, 62, 0.036569),
    ],
)
def test_conditional_failure_of_service_life_curves(early, late, age, later, chance):
    scale, shape = weibull_from_quantiles(early, late)
    assert conditional_failure(scale, shape, age, later) == pytest.approx(chance, abs=5e-7)
    survival = stats.weibull_min.sf([age, later], shape, scale=scale)
    assert conditional_failure(scale, shape, age, later) == pytest.approx(1 - survival[1] / survival[0], rel=1e-9)


def test_interval_fit_agrees_with_scipy():
    """Against scipy.stats.weibull_min.fit on the same censored data: yearly to four-yearly looks over 20 years."""
    rng = np.random.default_rng(5)
    life, gap = 14.4 * rng.weibull(2.5, 400), rng.choice([1.0, 2.0, 4.0], 400)
    left = np.floor(life / gap) * gap
    right = np.where(left >= 20, np.inf, left + gap)
    left = np.minimum(left, 20.0)
    fit = fit_interval_weibull(left, right)
    open_ones = np.isfinite(right)
    censored = stats.CensoredData(interval=np.column_stack([left, right])[open_ones], right=left[~open_ones])
    shape, _, scale = stats.weibull_min.fit(censored, floc=0)
    assert (fit.shape, fit.scale) == (pytest.approx(shape, rel=2e-4), pytest.approx(scale, rel=2e-4))
    seen = np.log(
        stats.weibull_min.sf(left, fit.shape, scale=fit.scale) - stats.weibull_min.sf(right, fit.shape, scale=fit.scale)
    )
    assert fit.log_likelihood == pytest.approx(seen.sum(), rel=1e-10)


def test_exact_times_agree_with_scipy():
    life = 10 * np.random.default_rng(6).weibull(3.0, 200)
    fit = fit_interval_weibull(life, life)
    shape, _, scale = stats.weibull_min.fit(life, floc=0)
    assert (fit.shape, fit.scale) == (pytest.approx(shape, rel=2e-4), pytest.approx(scale, rel=2e-4))
    assert fit.log_likelihood == pytest.approx(
        stats.weibull_min.logpdf(life, fit.shape, scale=fit.scale).sum(), rel=1e-10
    )
