"""Agreement between surveyors: its edges, its symmetries, and what it refuses."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.sampling.agreement import (
    LEVELS,
    band,
    cohen_kappa,
    cohen_kappa_error,
    contingency,
    fleiss_kappa,
    fleiss_kappa_error,
    gwet_ac1,
    gwet_ac1_counts,
    krippendorff_alpha,
    krippendorff_interval,
    raw_agreement,
)

nan = math.nan


@pytest.mark.parametrize(
    "call",
    [
        lambda: cohen_kappa([[0, 0], [0, 0]]),
        lambda: cohen_kappa([[7, 0], [0, 0]]),
        lambda: cohen_kappa([[7]]),
        lambda: cohen_kappa_error([[7, 0], [0, 0]]),
        lambda: fleiss_kappa(np.zeros((0, 3))),
        lambda: fleiss_kappa([[4, 0], [4, 0]]),
        lambda: fleiss_kappa_error(np.zeros((0, 3))),
        lambda: fleiss_kappa_error([[4, 0], [4, 0]]),
        lambda: gwet_ac1([[0, 0], [0, 0]]),
        lambda: gwet_ac1([[7]]),
        lambda: gwet_ac1_counts(np.zeros((0, 3))),
        lambda: raw_agreement([[0, 0], [0, 0]]),
        lambda: krippendorff_alpha(np.zeros((1, 0)), "nominal"),
        lambda: krippendorff_alpha([[1, 2, 3]], "ordinal"),
        lambda: krippendorff_alpha(np.array([[1, nan, 3], [nan, 2, nan]]), "ordinal"),
        lambda: krippendorff_alpha([[2, 2], [2, 2]], "interval"),
        lambda: krippendorff_alpha(np.full((2, 2), nan), "ratio"),
    ],
)
def test_nothing_to_compare_is_not_computable_never_one_or_nought(call):
    assert math.isnan(call())


def test_rarely_used_categories_still_count_for_gwet():
    assert gwet_ac1([[7, 0], [0, 0]]) == 1


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: cohen_kappa([[1, 2, 3]]), "table must be square"),
        (lambda: cohen_kappa([[1, -2], [0, 1]]), "table must hold finite"),
        (lambda: cohen_kappa([[1, 2], [0, 1]], "cubic"), "weights must be"),
        (lambda: fleiss_kappa([1, 2]), "counts must be two-dimensional"),
        (lambda: fleiss_kappa([[1, 2], [2, 2]]), "same number of surveyors"),
        (lambda: fleiss_kappa([[1, 0], [0, 1]]), "at least two surveyors"),
        (lambda: fleiss_kappa([[1.5, 0.5]]), "whole numbers"),
        (lambda: krippendorff_alpha(np.arange(2), "nominal"), "ratings must be two-dimensional"),
        (lambda: krippendorff_alpha([[1], [2]], "metric"), "level must be"),
        (lambda: krippendorff_alpha(np.array([[1], [math.inf]]), "nominal"), "infinite"),
        (lambda: krippendorff_alpha([[1], [-2]], "ratio"), "negative at ratio level"),
        (lambda: krippendorff_interval([[1], [2]], "nominal", np.random.default_rng(1), confidence=1), "confidence"),
        (lambda: krippendorff_interval([[1], [2]], "nominal", np.random.default_rng(1), resamples=0), "resamples"),
        (lambda: contingency([0, 1], [0], 2), "one length"),
        (lambda: contingency([0, 3], [0, 1], 2), "first must hold category numbers from 0 to 1"),
        (lambda: contingency([0, 1], [0, 0.5], 2), "second must hold"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_objects_that_one_of_two_did_not_rate_drop_out():
    assert contingency([0, 1, nan, 1], [0, 1, 1, nan], 3).tolist() == [[1, 0, 0], [0, 1, 0], [0, 0, 0]]


def test_an_object_rated_once_changes_nothing():
    ratings = np.array([[1, 2, 3, 3], [1, 2, 3, 2], [1, 3, 3, 2.0]])
    alone = np.array([[nan], [4], [nan]])
    for level in LEVELS:
        with_alone = krippendorff_alpha(np.hstack([ratings, alone]), level)
        assert with_alone == pytest.approx(krippendorff_alpha(ratings, level), abs=1e-12)


_ratings = st.lists(st.lists(st.integers(1, 4), min_size=4, max_size=4), min_size=2, max_size=5)


@settings(deadline=None)
@given(ratings=_ratings, level=st.sampled_from(LEVELS), order=st.permutations(range(4)))
def test_alpha_cares_for_neither_the_order_of_surveyors_nor_of_objects(ratings, level, order):
    table = np.array(ratings, float)
    alpha = krippendorff_alpha(table, level)
    assert krippendorff_alpha(table[::-1][:, list(order)], level) == pytest.approx(alpha, abs=1e-12, nan_ok=True)
    assert math.isnan(alpha) or alpha <= 1


@settings(deadline=None)
@given(ratings=_ratings)
def test_ordinal_alpha_depends_on_order_alone_and_interval_alpha_on_no_scale(ratings):
    table = np.array(ratings, float)
    stretched = krippendorff_alpha(table**3, "ordinal")
    assert stretched == pytest.approx(krippendorff_alpha(table, "ordinal"), abs=1e-12, nan_ok=True)
    shifted = krippendorff_alpha(3 * table - 50, "interval")
    assert shifted == pytest.approx(krippendorff_alpha(table, "interval"), abs=1e-9, nan_ok=True)


def test_surveyors_who_guess_agree_by_chance_alone():
    guesses = np.random.default_rng(8).integers(0, 4, (5, 4_000)).astype(float)
    for level in LEVELS:
        assert krippendorff_alpha(guesses, level) == pytest.approx(0, abs=0.02)
    assert krippendorff_alpha([[1, 2, 3], [1, 2, 3]], "ordinal") == 1


def test_the_interval_of_alpha_holds_it_is_repeatable_and_narrows_with_more_objects():
    rng = np.random.default_rng(3)
    truth = rng.integers(1, 5, 200)
    ratings = np.clip(truth + rng.integers(-1, 2, (4, 200)), 1, 4).astype(float)
    few = krippendorff_interval(ratings[:, :20], "ordinal", np.random.default_rng(1))
    many = krippendorff_interval(ratings, "ordinal", np.random.default_rng(1))
    assert few[0] < krippendorff_alpha(ratings[:, :20], "ordinal") < few[1]
    assert many[1] - many[0] < few[1] - few[0]
    assert few == krippendorff_interval(ratings[:, :20], "ordinal", np.random.default_rng(1))


def test_no_interval_from_one_object_or_from_objects_all_alike():
    for ratings in ([[1.0], [2.0]], [[2.0, 2.0, 2.0], [2.0, 2.0, 2.0]]):
        assert all(math.isnan(end) for end in krippendorff_interval(ratings, "nominal", np.random.default_rng(1)))


def test_bands_have_words_also_for_not_computable():
    assert [band(a) for a in (0.85, 0.8, 0.7, 0.372, nan)] == [
        "reliable",
        "reliable",
        "tentative",
        "not reliable",
        "not computable",
    ]
