"""A few made-up collections whose truth is known; ``tests/bench/bench_truth.py`` does the same at length."""

import numpy as np
import pytest

from survey.risk.together import score_together
from tests.bench.bench_truth import TRAINING, brier, coverage, failed, features, looks_needed, taught
from tests.bench.known_truth import CHOSEN, make

FEW = range(6)


def test_intervals_hold_the_true_chances():
    """Nine in ten, but for the noise of six collections and objects that sit at certainty."""
    whole, _, _ = zip(*[coverage(seed) for seed in FEW], strict=True)
    assert 0.85 <= np.mean(whole) <= 0.99


def test_scores_beat_what_departments_go_by_without_a_model():
    """Even where those are taught on other collections how often objects fail at each value."""
    rivals = taught(6)
    scores = [brier(seed, rivals) for seed in FEW]
    of = {name: np.mean([score[name] for score in scores]) for name in scores[0]}
    assert of["one who knows the truth"] < of["scores with draws"]
    for name in rivals:
        assert of["scores with draws"] < of[name]


def test_looking_where_it_matters_finds_failing_joints_sooner():
    rows = [looks_needed(seed, again=3) for seed in range(3)]
    spared = np.mean([row["by worth, objects"] / row["shelf, objects"] for row in rows])
    assert np.mean([row["best, objects"] / row["shelf, objects"] for row in rows]) < spared < 0.85


def test_the_same_seed_makes_the_same_collection():
    one, again = (make(np.random.default_rng(3), objects=20) for _ in range(2))
    assert np.array_equal(one.stage, again.stage)
    assert one.evidence == again.evidence
    assert np.array_equal(failed(one), failed(again))
    assert set(features(one)) == {"age alone", "worst sign alone", "additive checklist"}


def test_scores_say_on_average_what_happens():
    """Over collections, the mean chance and the share that failed; both taken over the same objects."""
    said, happened = [], []
    for seed in range(TRAINING, TRAINING + 25):
        made = make(np.random.default_rng(seed), objects=40)
        inputs, bonds = made.identified()
        said.append(score_together(inputs, bonds, CHOSEN).objects.middle[:, -1].mean())
        happened.append(failed(made).mean())
    assert np.mean(said) == pytest.approx(np.mean(happened), abs=0.06)
