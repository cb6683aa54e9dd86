"""Intervals for shares against Newcombe's test cases and against statsmodels and scipy."""

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from survey.sampling.estimate import srs_proportion
from survey.sampling.intervals import clopper_pearson, hypergeometric, share_interval, wilson

# The first four are the test cases of Newcombe 1998, Statistics in Medicine 17, 857-872 (from memory); the bounds of
# all are those of statsmodels 0.15, proportion_confint.
CASES = [
    (81, 263, (0.25529, 0.36621), (0.25274, 0.36762)),
    (15, 148, (0.06239, 0.16049), (0.05784, 0.16165)),
    (0, 20, (0.0, 0.16113), (0.0, 0.16843)),
    (1, 29, (0.00611, 0.17176), (0.00087, 0.17764)),
    (3, 60, (0.01715, 0.13701), (0.01043, 0.13924)),
    (10, 100, (0.05523, 0.17437), (0.04900, 0.17622)),
]


@pytest.mark.parametrize(("found", "n", "score", "exact"), CASES)
def test_newcombe_cases(found, n, score, exact):
    assert wilson(found, n) == pytest.approx(score, abs=5e-6)
    assert clopper_pearson(found, n) == pytest.approx(exact, abs=5e-6)


@pytest.mark.parametrize("confidence", [0.8, 0.9, 0.95, 0.99])
def test_every_count_against_statsmodels(confidence):
    found, n = np.arange(41), 40
    for ours, method in ((wilson, "wilson"), (clopper_pearson, "beta")):
        low, high = ours(found, n, confidence)
        for k in found:
            theirs = proportion_confint(int(k), n, alpha=1 - confidence, method=method)
            assert (low[k], high[k]) == pytest.approx(theirs, abs=1e-12), (method, k)


def test_three_of_sixty_in_a_store_of_four_hundred():
    # Inverting both tails of the hypergeometric (Buonaccorsi 1987, from memory), computed apart from this code.
    assert hypergeometric(3, 60, 400) == (5, 53)


@pytest.mark.parametrize(("found", "n", "store"), [(0, 5, 12), (3, 7, 20), (7, 7, 20), (2, 19, 20), (10, 60, 150)])
def test_hypergeometric_ends_are_the_last_numbers_not_refused(found, n, store):
    """The definition, tried on every possible number with scipy's distribution."""
    low, high = hypergeometric(found, n, store, 0.9)
    possible = np.arange(found, store - n + found + 1)
    kept = possible[
        (stats.hypergeom.sf(found - 1, store, possible, n) > 0.05)
        & (stats.hypergeom.cdf(found, store, possible, n) > 0.05)
    ]
    assert (low, high) == (kept[0], kept[-1])


def test_hypergeometric_nears_clopper_pearson_in_a_large_store():
    low, high = hypergeometric(10, 100, 1_000_000)
    assert (low / 1e6, high / 1e6) == pytest.approx(clopper_pearson(10, 100), abs=2e-4)


def test_exact_intervals_cover_at_least_as_often_as_they_say():
    """Coverage summed exactly over all outcomes: 30 looked at of 80, for every possible number failing."""
    found = np.arange(31)
    low, high = hypergeometric(found, 30, 80)
    for failing in range(81):
        chance = stats.hypergeom.pmf(found, 80, failing, 30)
        assert chance[(low <= failing) & (failing <= high)].sum() >= 0.95


def test_share_interval_of_a_large_simple_sample_is_wilsons():
    low, high = share_interval(srs_proportion(1_500, 14_800, math.inf))
    assert (low, high) == pytest.approx(tuple(float(end) for end in wilson(1_500, 14_800)), abs=2e-6)
