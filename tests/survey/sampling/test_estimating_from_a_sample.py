"""What an estimate says, and when it says that it cannot."""

import math
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.sampling.estimate import (
    Estimate,
    cluster_mean,
    cluster_total,
    ratio,
    srs_mean,
    srs_proportion,
    stratified_mean,
)
from survey.sampling.intervals import clopper_pearson, hypergeometric, share_interval, wilson

TWO_AND_A_HALF: Any = 2.5


def not_computable(estimate):
    return math.isnan(estimate.value) and math.isnan(estimate.standard_error)


def test_nothing_looked_at_is_not_computable_never_nought():
    assert not_computable(srs_proportion(0, 0, 100))
    assert not_computable(srs_mean([], 100))
    assert not_computable(stratified_mean([1, 0], ["a", "a"], {"a": 10, "b": 10}))
    assert not_computable(stratified_mean([], [], {}))
    assert not_computable(cluster_mean([], [], 10))
    assert not_computable(cluster_total([], [], 10))
    assert not_computable(ratio([0, 0], [0, 0], 10))


def test_one_observation_gives_a_value_but_no_error():
    assert math.isnan(srs_proportion(1, 1, 100).standard_error)
    assert math.isnan(srs_mean([3], 100).standard_error)
    assert math.isnan(stratified_mean([1, 0, 1], ["a", "a", "b"], {"a": 10, "b": 10}).standard_error)
    assert math.isnan(cluster_mean([1, 0], ["a", "a"], 10).standard_error)
    assert math.isnan(cluster_total([1, 0], ["a", "a"], 10).standard_error)
    one_for_a_shelf = cluster_mean([1, 0, 1], ["a", "a", "b"], 10, cluster_sizes={"a": 5, "b": 5})
    assert one_for_a_shelf.value == pytest.approx(0.75)
    assert math.isnan(one_for_a_shelf.standard_error)


def test_a_census_has_no_sampling_error():
    assert srs_proportion(3, 10, 10) == Estimate(0.3, 0.0, 10, 10.0, 9)
    assert srs_proportion(3, 10, 10).census
    assert srs_mean([5], 1).standard_error == 0
    whole = stratified_mean([1, 0, 1], ["a", "a", "b"], {"a": 2, "b": 1})
    assert (whole.standard_error, whole.census) == (0, True)
    shelves = cluster_mean([1, 0, 1, 1], ["a", "a", "b", "b"], 2)
    assert (shelves.value, shelves.standard_error, shelves.census) == (0.75, 0, True)
    assert cluster_mean([1, 0], ["a", "a"], 1).standard_error == 0
    assert share_interval(srs_proportion(3, 10, 10)) == (0.3, 0.3)


def test_an_empty_stratum_takes_no_part():
    full = stratified_mean([1, 0, 1, 1], ["a", "a", "b", "b"], {"a": 10, "b": 30})
    assert stratified_mean([1, 0, 1, 1], ["a", "a", "b", "b"], {"a": 10, "b": 30, "empty": 0}) == full


def test_shelves_of_one_object_looked_at_whole_add_no_error_within():
    sizes = {"a": 1, "b": 2, "c": 1}
    values, shelves = [1, 0, 1, 0], ["a", "b", "b", "c"]
    assert cluster_mean(values, shelves, 9, cluster_sizes=sizes) == cluster_mean(values, shelves, 9)


def test_labels_may_be_numbers():
    by_number = stratified_mean([1, 0, 1, 1], [1, 1, 2, 2], {1: 10, 2: 30})  # type: ignore[dict-item]
    assert by_number == stratified_mean([1, 0, 1, 1], ["1", "1", "2", "2"], {"1": 10, "2": 30})


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: srs_proportion(3, 2, 10), "successes must not exceed n"),
        (lambda: srs_proportion(-1, 2, 10), "successes must be a whole number"),
        (lambda: srs_proportion(1, TWO_AND_A_HALF, 10), "n must be a whole number"),
        (lambda: srs_proportion(1, 20, 10), "population must be"),
        (lambda: srs_proportion(1, 20, math.nan), "population must be"),
        (lambda: srs_mean([1, math.nan], 10), "values must be finite"),
        (lambda: srs_mean([[1, 2]], 10), "values must be one-dimensional"),
        (lambda: stratified_mean([1, 2], ["a"], {"a": 5}), "strata must be as many"),
        (lambda: stratified_mean([1], ["z"], {"a": 5}), "strata: z is not in population"),
        (lambda: stratified_mean([1, 2], ["a", "a"], {"a": 1}), "population of a"),
        (lambda: cluster_mean([1], ["a", "b"], 5), "clusters must be as many"),
        (lambda: cluster_mean([1, 1], ["a", "b"], 1), "cluster_count must be at least the 2"),
        (lambda: cluster_mean([1, 1], ["a", "b"], 5, cluster_sizes={"a": 3}), "size of b is missing"),
        (lambda: cluster_mean([1, 1], ["a", "a"], 5, cluster_sizes={"a": 1}), "a holds fewer"),
        (lambda: ratio([1, 2], [1], 5), "numerator and denominator"),
        (lambda: Estimate(0.5, 0.1, 5, 10, 4).interval(1.0), "confidence"),
        (lambda: wilson(5, 4), "successes"),
        (lambda: wilson(math.nan, 4), "successes"),
        (lambda: wilson(1, math.inf), "n must be finite"),
        (lambda: wilson(1, 4, 0), "confidence"),
        (lambda: clopper_pearson(1, 4, 1), "confidence"),
        (lambda: hypergeometric(1, 4, 3), "population must be at least n"),
        (lambda: hypergeometric(1, 4.5, 30), "n must be whole"),
        (lambda: share_interval(Estimate(2.0, 0.1, 5, 10, 4)), "estimate must be a share"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_intervals_at_the_ends():
    assert np.isnan(wilson(0, 0)).all()
    assert np.isnan(clopper_pearson(0, 0)).all()
    assert hypergeometric(0, 0, 12) == (0, 12)
    assert hypergeometric(4, 12, 12) == (4, 4)
    assert wilson(7, 7)[1] == 1
    assert clopper_pearson(7, 7)[1] == 1


def test_intervals_take_arrays():
    low, high = hypergeometric([[0], [2]], [10, 20], 100)
    assert low.shape == high.shape == (2, 2)
    assert (low[1, 1], high[1, 1]) == hypergeometric(2, 20, 100)


def test_no_failing_joint_on_two_shelves_leaves_much_open():
    """Forty objects on two shelves are two pieces of evidence, not forty."""
    shelves = cluster_mean([0] * 40, ["a"] * 20 + ["b"] * 20, 30)
    assert share_interval(shelves)[0] == 0
    assert share_interval(shelves)[1] > share_interval(srs_proportion(0, 40, 600))[1]
    assert all(math.isnan(end) for end in share_interval(cluster_mean([0, 1], ["a", "a"], 30)))


def test_student_interval_widens_for_few_shelves():
    few = Estimate(10, 1, 50, 500, 4).interval()
    many = Estimate(10, 1, 50, 500, 400).interval()
    assert few == pytest.approx((10 - 2.776445, 10 + 2.776445), abs=1e-6)  # t table, 4 degrees of freedom, 97.5 %
    assert few[1] > many[1]
    assert all(math.isnan(end) for end in Estimate(10, math.nan, 1, 500, 0).interval())


def test_estimates_are_right_on_average_over_every_possible_sample():
    """Unbiased, and variances too: all samples of 3 of 7, and all pairs of 4 shelves, enumerated."""
    objects = np.array([0, 1, 1, 0, 5, 2, 7.0])
    drawn = [srs_mean(objects[list(chosen)], 7) for chosen in combinations(range(7), 3)]
    assert np.mean([e.value for e in drawn]) == pytest.approx(objects.mean())
    assert np.mean([e.standard_error**2 for e in drawn]) == pytest.approx(np.var([e.value for e in drawn]))
    shelves = [[1, 0], [1, 1, 1], [0, 0, 0, 1], [2, 5]]
    pairs = [
        cluster_total(np.concatenate([shelves[i] for i in two]), np.repeat(two, [len(shelves[i]) for i in two]), 4)
        for two in combinations(range(4), 2)
    ]
    assert np.mean([e.value for e in pairs]) == pytest.approx(sum(map(sum, shelves)))
    assert np.mean([e.standard_error**2 for e in pairs]) == pytest.approx(np.var([e.value for e in pairs]))


@settings(deadline=None)
@given(found=st.integers(0, 60), more=st.integers(0, 60), confidence=st.floats(0.5, 0.999))
def test_intervals_hold_the_share_and_nest(found, more, confidence):
    n = found + more + 1
    for interval in (wilson, clopper_pearson):
        low, high = interval(found, n, confidence)
        assert 0 <= low <= found / n <= high <= 1
        wider = interval(found, n, (1 + confidence) / 2)
        assert wider[0] <= low
        assert wider[1] >= high
