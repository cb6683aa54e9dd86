"""Before a survey: sizes, shares of strata, and a pick that anybody can repeat."""

import math
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from survey.sampling.designs import (
    DESIGNS,
    allocate,
    design_effect,
    intraclass_correlation,
    objects_to_meet_one,
    pick,
    require_random,
    sample_size,
    whole_allocation,
    zero_find_count,
    zero_find_share,
)

SHELVES = [f"Bay {bay}, shelf {shelf}" for bay in range(1, 11) for shelf in range(1, 7)]


def test_a_pick_depends_on_the_seed_and_on_nothing_else():
    first = pick(SHELVES, 10, seed=12)
    assert len(set(first)) == 10
    assert pick(reversed(SHELVES), 10, seed=12) == first
    assert pick(SHELVES, 10, seed=13) != first


def test_a_larger_pick_keeps_the_smaller_and_a_new_shelf_moves_no_other():
    assert pick(SHELVES, 20, seed=12)[:10] == pick(SHELVES, 10, seed=12)
    with_one_more = pick([*SHELVES, "Bay 11, shelf 1"], 61, seed=12)
    assert tuple(s for s in with_one_more if s != "Bay 11, shelf 1") == pick(SHELVES, 60, seed=12)


def test_every_shelf_is_as_likely_as_any_other():
    """Chi-square of how often each of 60 shelves is picked over 3,000 fixed seeds."""
    times = Counter(shelf for seed in range(3_000) for shelf in pick(SHELVES, 6, seed))
    assert stats.chisquare([times[shelf] for shelf in SHELVES]).pvalue > 0.01


def test_pairs_of_shelves_are_picked_as_often_as_chance_has_it():
    pairs = Counter(frozenset(pick(SHELVES[:5], 2, seed)) for seed in range(4_000))
    assert stats.chisquare([pairs[pair] for pair in pairs]).pvalue > 0.01
    assert len(pairs) == 10


def test_chosen_objects_are_no_sample():
    with pytest.raises(ValueError, match="stand for themselves"):
        require_random("purposive")
    for design in DESIGNS:
        if design != "purposive":
            require_random(design)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: require_random("haphazard"), "design must be one of"),
        (lambda: sample_size(0, 100), "margin"),
        (lambda: sample_size(0.05, 0), "population"),
        (lambda: sample_size(0.05, proportion=1.2), "proportion"),
        (lambda: sample_size(0.05, confidence=1), "confidence"),
        (lambda: sample_size(0.05, design_effect=0), "design_effect"),
        (lambda: zero_find_share(-1), "n must"),
        (lambda: zero_find_count(5, 4), "population"),
        (lambda: objects_to_meet_one(0, 4), "failing"),
        (lambda: objects_to_meet_one(5, 4), "failing"),
        (lambda: design_effect(0, 0.1), "objects_per_shelf"),
        (lambda: design_effect(5, 2), "intraclass_correlation"),
        (lambda: intraclass_correlation([1, 2], ["a"]), "one length"),
        (lambda: intraclass_correlation([1, math.nan], ["a", "b"]), "values must be finite"),
        (lambda: allocate(-1, {"a": 1}), "n must"),
        (lambda: allocate(5, {"a": 0}), "population must hold"),
        (lambda: allocate(5, {"a": 1, "b": 2}, {"a": 1}), "deviations: b"),
        (lambda: allocate(5, {"a": 1}, {"a": 0}), "deviations must not all be zero"),
        (lambda: pick(["a", "a"], 1, 0), "units: a name stands twice"),
        (lambda: pick(["a"], 2, 0), "count must be at most the 1"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


@settings(deadline=None)
@given(margin=st.floats(0.01, 0.4), population=st.integers(1, 20_000), proportion=st.floats(0, 1))
def test_a_sample_never_exceeds_what_there_is_and_reaches_its_margin(margin, population, proportion):
    n = sample_size(margin, population, proportion=proportion)
    assert 1 <= n <= population
    z = 1.959964
    error = math.sqrt(proportion * (1 - proportion) / n * (population - n) / max(population - 1, 1))
    assert z * error <= margin * (1 + 1e-6)


def test_whole_shelves_need_more_objects():
    assert sample_size(0.05, 2_000, design_effect=design_effect(20, 0.1)) > sample_size(0.05, 2_000)


def test_none_looked_at_leaves_everything_possible():
    assert zero_find_share(0) == 1
    assert zero_find_count(0, 40) == 40
    assert zero_find_count(40, 40) == 0
    assert objects_to_meet_one(40, 40) == 1
    assert objects_to_meet_one(1, 40, 0.999) == 40


def test_likeness_on_shelves_is_not_computable_without_two_shelves_and_two_objects():
    assert math.isnan(intraclass_correlation([1, 0], ["a", "a"]))
    assert math.isnan(intraclass_correlation([1, 0], ["a", "b"]))
    assert math.isnan(intraclass_correlation([1, 1, 1, 1], ["a", "a", "b", "b"]))
    assert intraclass_correlation([1, 1, 0, 0], ["a", "a", "b", "b"]) == 1


@settings(deadline=None)
@given(
    sizes=st.dictionaries(st.sampled_from("abcdefgh"), st.integers(1, 300), min_size=1),
    share=st.floats(0, 1),
)
def test_whole_numbers_keep_the_sum_the_least_and_the_strata(sizes, share):
    n = round(share * sum(sizes.values()))
    shares = allocate(n, sizes)
    whole = whole_allocation(shares, sizes)
    least = {name: min(2, size) for name, size in sizes.items()}
    assert all(least[name] <= whole[name] <= sizes[name] for name in sizes)
    assert sum(whole.values()) == max(n, sum(least.values()))
