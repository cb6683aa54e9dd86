"""Two rankings of the same objects compared: bands, the first few, rank correlation, the largest moves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from survey.risk.comparing import Ranked, compare, rank_correlation


def ranked(loss, *, band=None, order=None, chance=None) -> Ranked:
    values = np.asarray(loss, dtype=np.float64)
    return Ranked(
        band=np.zeros(values.size, dtype=np.int64) if band is None else np.asarray(band),
        order=np.ones(values.size, dtype=np.int64) if order is None else np.asarray(order),
        loss=values,
        chance=values if chance is None else np.asarray(chance, dtype=np.float64),
    )


def test_the_printed_example_of_a_rank_correlation():
    """Ten pairs of scores and hours, rho = -29/165 (a worked example widely printed in textbooks, from memory)."""
    scores = [106, 86, 100, 101, 99, 103, 97, 113, 112, 110]
    hours = [7, 0, 27, 50, 28, 29, 20, 12, 6, 17]
    found = compare(ranked(scores), ranked(hours), first=3).correlation
    assert found == pytest.approx(-29 / 165, abs=1e-12)


@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=2, max_size=30))
def test_rank_correlation_with_equals_against_a_reference_library(pairs):  # scipy.stats.spearmanr
    one, other = (np.array(column, dtype=np.float64) for column in zip(*pairs, strict=True))
    found = rank_correlation(ranked(one).ranks, ranked(other).ranks)
    if np.ptp(one) == 0 or np.ptp(other) == 0:
        assert np.isnan(found)
    else:
        assert found == pytest.approx(stats.spearmanr(one, other).statistic, abs=1e-12)


def test_what_must_not_be_lifted_stands_first_whatever_its_loss():
    assert ranked([0.9, 0.1], order=[1, 0]).places.tolist() == [2, 1]


def test_what_comes_among_the_first_and_leaves_them():
    before, after = ranked([4, 3, 2, 1], chance=[0.4, 0.3, 0.2, 0.1]), ranked([4, 1, 2, 3], chance=[0.4, 0.1, 0.2, 0.3])
    found = compare(before, after, first=2, most=2)
    assert (found.entering, found.leaving) == ([3], [1])
    assert found.moved == [1, 3]
    assert (found.was[3], found.becomes[3]) == (4, 2)
    assert found.chance_shift == pytest.approx((0.1, 0.2))


def test_bands_that_change_are_counted_by_where_from_and_to():
    found = compare(ranked([3, 2, 1], band=[1, 1, 2]), ranked([3, 2, 1], band=[1, 2, 0]), first=1)
    assert found.bands == {(1, 2): 1, (2, 0): 1}
    assert found.changing == 2


def test_the_same_ranking_changes_nothing():
    found = compare(ranked([3, 2, 1]), ranked([3, 2, 1]), first=2)
    assert (found.correlation, found.moved, found.entering, found.leaving, found.changing) == (1.0, [], [], [], 0)


@pytest.mark.parametrize("count", [0, 1])
def test_few_objects_have_no_correlation(count):
    assert np.isnan(compare(ranked([1.0] * count), ranked([2.0] * count), first=5).correlation)


def test_rankings_of_different_objects_are_refused():
    with pytest.raises(ValueError, match="same objects"):
        compare(ranked([1]), ranked([1, 2]), first=1)
    with pytest.raises(ValueError, match="first"):
        compare(ranked([1]), ranked([1]), first=0)
