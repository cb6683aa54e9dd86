"""Sizes of samples, finds of nothing and allocation, against published rules and statsmodels."""

import math

import numpy as np
import pytest
from statsmodels.stats.proportion import samplesize_confint_proportion

from survey.sampling.designs import (
    allocate,
    design_effect,
    intraclass_correlation,
    objects_to_meet_one,
    sample_size,
    whole_allocation,
    zero_find_count,
    zero_find_share,
)


# Cochran 1977, section 4.4, by hand with z = 1.96: 384.16 and 96.04 for a very large population.
@pytest.mark.parametrize(
    ("margin", "population", "expected"),
    [
        (0.05, 300, 169), (0.05, 400, 197), (0.05, 500, 218), (0.05, 1000, 278), (0.05, 2000, 323), (0.05, 5000, 357),
        (0.10, 300, 73), (0.10, 400, 78), (0.10, 500, 81), (0.10, 1000, 88),
        (0.05, math.inf, 385), (0.10, math.inf, 97),
    ],
)  # fmt: skip
def test_cochran_sizes(margin, population, expected):
    assert sample_size(margin, population) == expected


@pytest.mark.parametrize("share", [0.05, 0.2, 0.5])
@pytest.mark.parametrize("margin", [0.02, 0.05, 0.11])
def test_size_for_a_large_population_against_statsmodels(share, margin):
    assert sample_size(margin, proportion=share) == math.ceil(samplesize_confint_proportion(share, margin))


# Rule of three, 3/n (Hanley & Lippman-Hand 1983, JAMA 249, 1743-1745, from memory), and its exact form.
@pytest.mark.parametrize(("n", "three", "exact"), [(20, 0.15, 0.1391), (60, 0.05, 0.0487), (100, 0.03, 0.0295),
                                                   (300, 0.01, 0.0099)])  # fmt: skip
def test_none_found_of_very_many(n, three, exact):
    assert zero_find_share(n) == pytest.approx(exact, abs=5e-5)
    assert zero_find_share(n) == pytest.approx(three, rel=0.08)


def test_none_found_of_sixty():
    assert zero_find_share(60) == pytest.approx(0.04870, abs=5e-6)


# Hypergeometric, P(none met) >= 0.05 for the last time: computed apart from this code.
@pytest.mark.parametrize(("n", "store", "possible"), [(60, 400, 18), (59, 200, 8), (60, 1000, 47)])
def test_none_found_in_a_store(n, store, possible):
    assert zero_find_count(n, store) == possible

    def missed(failing):  # the product written out
        return math.prod((store - failing - i) / (store - i) for i in range(n))

    assert missed(possible) >= 0.05 > missed(possible + 1)


@pytest.mark.parametrize(("failing", "store", "n"), [(20, 400, 55), (8, 400, 124), (5, 100, 45), (50, 1000, 57)])
def test_objects_to_look_at_to_meet_one(failing, store, n):
    assert objects_to_meet_one(failing, store) == n

    def missed(size):
        return math.comb(store - failing, size) / math.comb(store, size)

    assert missed(n) <= 0.05 < missed(n - 1)


def test_design_effect_of_whole_shelves():
    # Kish 1965, Survey Sampling (from memory): 1 + (m - 1) rho.
    assert design_effect(20, 0.10) == pytest.approx(2.90, abs=1e-12)
    assert 200 / design_effect(20, 0.10) == pytest.approx(68.97, abs=5e-3)


def test_intraclass_correlation_against_a_published_table():
    """Shrout & Fleiss 1979, Psychological Bulletin 86, 420-428 (from memory): six targets, four judges, ICC(1) 0.17."""
    ratings = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float)
    assert intraclass_correlation(ratings.ravel(), np.repeat(np.arange(6), 4)) == pytest.approx(0.17, abs=5e-3)


def test_allocation_of_eighty_objects():
    # Neyman 1934; Cochran 1977, section 5.5, by hand.
    stores, spread = {"a": 200, "b": 150, "c": 50}, {"a": 0.3, "b": 0.5, "c": 0.4}
    assert allocate(80, stores) == pytest.approx({"a": 40, "b": 30, "c": 10})
    best = allocate(80, stores, spread)
    assert best == pytest.approx({"a": 30.97, "b": 38.71, "c": 10.32}, abs=5e-3)
    assert whole_allocation(best, stores) == {"a": 31, "b": 39, "c": 10}
