"""Learning from recorded hours, and scores of forecasts, against closed forms, scipy and published examples."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from treatments.hours.pooling import NormalInverseGamma, james_stein
from treatments.hours.scores import (
    crps_ensemble,
    crps_lognormal,
    crps_normal,
    crps_student_t,
    interval_score,
    pinball,
)

HOURS = np.array([1.0, 1.5, 2.25, 0.75, 3.0, 1.25, 2.0, 4.5])
PRIOR = NormalInverseGamma(m=math.log(1.5), kappa=2, alpha=3, beta=0.6)


# Closed forms of Murphy 2007, Conjugate Bayesian Analysis of the Gaussian Distribution, section 6 (from memory).
def test_posterior_of_eight_jobs():
    assert PRIOR.updated(np.log(HOURS)) == pytest.approx((0.525862, 10, 7, 1.833853), abs=5e-7)


def test_one_after_the_other_teaches_the_same_as_all_at_once():
    step_by_step = PRIOR
    for hours in np.log(HOURS):
        step_by_step = step_by_step.updated([hours])
    assert step_by_step == pytest.approx(PRIOR.updated(np.log(HOURS)), rel=1e-12)


def test_posterior_predictive():
    ahead = PRIOR.updated(np.log(HOURS)).predictive()
    assert (ahead.df, ahead.scale) == pytest.approx((14, 0.536821), abs=5e-7)
    assert ahead.quantile([0.1, 0.5, 0.9]) == pytest.approx([0.821866, 1.691917, 3.483032], abs=5e-7)
    assert ahead.cdf(3) == pytest.approx(0.847971, abs=5e-7)
    assert ahead.log_density(math.log(2)) == pytest.approx(-0.366533, abs=5e-7)


def test_prior_predictive():
    ahead = PRIOR.predictive()
    assert ahead.df == 6
    assert ahead.quantile([0.1, 0.5, 0.9]) == pytest.approx([0.681730, 1.5, 3.300427], abs=5e-7)


def test_marginal_likelihood_is_the_product_of_one_step_forecasts():
    known, total = PRIOR, 0.0
    for y in np.log(HOURS):
        total += float(known.predictive().log_density(y))
        known = known.updated([y])
    assert PRIOR.log_marginal(np.log(HOURS)) == pytest.approx(-8.047535, abs=5e-7)
    assert PRIOR.log_marginal(np.log(HOURS)) == pytest.approx(total, rel=1e-12)


# Efron & Morris 1977, Stein's Paradox in Statistics: hits of 18 players in their first 45 at-bats, and the rest of
# the season (table quoted in a public question thread, seen; later averages rounded).
HITS = np.array([18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7])
LATER = np.array([.346, .298, .276, .222, .273, .270, .263, .210, .269,
                  .230, .264, .256, .303, .264, .226, .285, .316, .200])  # fmt: skip


def test_batting_averages():
    early = HITS / 45
    assert early.mean() == pytest.approx(0.265, abs=5e-4)  # published .265
    pulled, kept = james_stein(early, early.mean() * (1 - early.mean()) / 45)
    assert kept == pytest.approx(0.212, abs=5e-4)  # published .212
    assert kept == pytest.approx(0.211653, abs=5e-7)
    published = [.294, .289, .285, .280, .275, .275, .270, .266, .261, .261,
                 .256, .256, .256, .256, .256, .252, .247, .242]  # fmt: skip
    assert pulled == pytest.approx(published, abs=6e-4)  # from memory, three places
    raw, better = ((early - LATER) ** 2).sum(), ((pulled - LATER) ** 2).sum()
    assert (raw, better) == pytest.approx((0.07532, 0.02131), abs=5e-6)
    assert raw / better == pytest.approx(3.5, abs=0.05)  # published: about 3.5


def test_batting_averages_after_the_arcsine():
    """Efron & Morris 1975, JASA 70, 311-319 (from memory): factor .209, errors 17.56 and 5.01."""

    def arcsine(share):
        return math.sqrt(45) * np.arcsin(2 * np.asarray(share) - 1)

    pulled, kept = james_stein(arcsine(HITS / 45), 1.0)
    assert kept == pytest.approx(0.208974, abs=5e-7)
    raw = ((arcsine(HITS / 45) - arcsine(LATER)) ** 2).sum()
    better = ((pulled - arcsine(LATER)) ** 2).sum()
    assert (raw, better) == pytest.approx((17.571, 4.999), abs=5e-4)


def by_integration(cdf, observed, low, high):
    """The definition: integral of (F(x) - 1{x >= y}) squared."""
    below = integrate.quad(lambda x: cdf(x) ** 2, low, observed, limit=200)[0]
    return below + integrate.quad(lambda x: (1 - cdf(x)) ** 2, observed, high, limit=200)[0]


# Values printed alike by two published packages for forecast scores (scoringrules, properscoring).
def test_crps_of_a_normal():
    assert crps_normal(0, 0, 1) == pytest.approx(0.233694977, abs=5e-10)
    assert crps_normal(0, 0, 1) == pytest.approx((math.sqrt(2) - 1) / math.sqrt(math.pi), rel=1e-12)
    assert crps_normal(2.5, 1, 2) == pytest.approx(0.896288504, abs=5e-10)


def test_crps_of_a_lognormal():
    assert crps_lognormal(3, 0.7, 0.5) == pytest.approx(0.560207472, abs=5e-10)
    law = stats.lognorm(0.5, scale=math.exp(0.7))
    assert crps_lognormal(3, 0.7, 0.5) == pytest.approx(by_integration(law.cdf, 3, 0, 200), rel=1e-6)


def test_crps_of_a_student_t():
    assert crps_student_t(1.2, 14, 0.5, 0.6) == pytest.approx(0.431540181, abs=5e-10)
    law = stats.t(3, 0.5, 0.6)
    assert crps_student_t(1.2, 3, 0.5, 0.6) == pytest.approx(by_integration(law.cdf, 1.2, -200, 200), rel=1e-5)
    assert crps_student_t(1.2, 1e7, 0.5, 0.6) == pytest.approx(crps_normal(1.2, 0.5, 0.6), rel=1e-6)


def test_crps_of_an_ensemble():
    members = [1, 2, 3, 5, 8]
    assert crps_ensemble(4, members) == pytest.approx(0.84, abs=1e-12)
    assert crps_ensemble(4, members, fair=True) == pytest.approx(0.50, abs=1e-12)


def test_pinball_and_interval_score():
    quantiles = stats.norm.ppf([0.1, 0.5, 0.9])
    assert pinball(1, quantiles, [0.1, 0.5, 0.9]) == pytest.approx([0.228155, 0.5, 0.028155], abs=5e-7)
    assert interval_score(2, quantiles[0], quantiles[2], 0.8) == pytest.approx(9.747587, abs=5e-7)


def test_mean_pinball_over_all_quantiles_is_half_the_crps():
    """Gneiting & Ranjan 2011, Journal of Business & Economic Statistics 29, 411-422 (from memory)."""
    p = (np.arange(20_000) + 0.5) / 20_000
    assert 2 * pinball(1.3, stats.norm.ppf(p), p).mean() == pytest.approx(crps_normal(1.3, 0, 1), rel=1e-4)
