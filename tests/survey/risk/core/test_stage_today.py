"""What is believed of a joint's stage today, from what surveys saw."""

from itertools import product

import numpy as np
import pytest
from scipy.linalg import expm

from survey.risk.matrices import progressive_generator
from survey.risk.stages import OPEN, PRIORS, stage_now

RATES = PRIORS["middle"].rates
NAN = np.nan


def today(age, ago, stages, **more):
    return stage_now(RATES, [age], [ago], [stages], **more)[0]


def test_every_way_the_true_stages_may_have_gone():
    """Against the sum over all ways written out, with scipy.linalg.expm: two looks, 12 and 3 years ago, age 40."""
    generator = progressive_generator(RATES)
    two, three, four = 0.05**2, 0.05**3, 0.05**4  # each further stage off is as much rarer
    error = np.array([
        [0.95, 0.05, two, three, 0], [0.05, 0.9, 0.05, two, 0], [two, 0.05, 0.9, 0.05, 0], [three, two, 0.05, 0.95, 0],
        [four, three, two, 0.05, 0.95],
    ])  # fmt: skip
    error /= error.sum(axis=1, keepdims=True)
    begin = 0.5 * expm(generator * 28)[0] + 0.5 / 5
    to_second, to_now = expm(generator * 9), expm(generator * 3)
    expected = np.zeros(5)
    for first, second, last in product(range(5), repeat=3):
        way = begin[first] * error[first, 1] * to_second[first, second] * error[second, 2] * to_now[second, last]
        expected[last] += way
    assert today(40.0, [12.0, 3.0], [1, 2]) == pytest.approx(expected / expected.sum(), rel=1e-10)


def test_by_age_alone_it_is_the_chain():
    assert today(40.0, [NAN], [-1]) == pytest.approx(expm(progressive_generator(RATES) * 40)[0])
    assert stage_now(RATES, [40.0], np.empty((1, 0)), np.empty((1, 0), int))[0] == pytest.approx(
        today(40.0, [NAN], [-1])
    )


def test_a_detached_sherd_is_believed():
    assert today(1.0, [0.0], [OPEN])[OPEN] == pytest.approx(1)
    assert today(NAN, [5.0, 0.0], [OPEN, 2])[OPEN] == pytest.approx(1)  # nothing closes by itself


@pytest.mark.parametrize("age", [2.0, 15.0, 80.0, NAN])
@pytest.mark.parametrize("stage", range(5))
def test_what_was_seen_today_weighs_more_than_age(age, stage):
    assert today(age, [0.0], [stage]).argmax() == stage


@pytest.mark.parametrize("age", [2.0, 15.0, 40.0, 80.0, 150.0, NAN])
def test_a_worse_stage_seen_is_never_better_news(age):
    """The chance to be at least as far as any stage never falls with the stage seen (likelihood ratio order)."""
    at_least = np.array([today(age, [0.0], [stage])[::-1].cumsum()[::-1] for stage in range(5)])
    assert np.all(np.diff(at_least, axis=0) >= -1e-12)


def test_looks_that_contradict_each_other_do_not_break_a_run():
    belief = today(50.0, [10.0, 0.0], [3, 0])
    assert belief.sum() == pytest.approx(1)
    assert np.all(np.isfinite(belief))


def test_an_order_of_joints_does_not_matter():
    ages, ago = np.array([10.0, NAN, 60.0]), np.array([[5.0, 1.0], [NAN, 2.0], [NAN, NAN]])
    stages = np.array([[0, 1], [-1, 3], [-1, -1]])
    forward = stage_now(RATES, ages, ago, stages)
    assert stage_now(RATES, ages[::-1], ago[::-1], stages[::-1])[::-1] == pytest.approx(forward, rel=1e-13)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"visit_ago": [[1.0, 2.0]]}, "visit_ago"),
        ({"visit_ago": [[2.0, -1.0]]}, "visit_ago"),
        ({"visit_stages": [[0, 5]]}, "visit_stages"),
        ({"visit_stages": [[0.0, 1.0]]}, "visit_stages"),
        ({"visit_stages": [[0]]}, "visit_ago and visit_stages"),
        ({"age_now": [-1.0]}, "age_now"),
        ({"rates": [[0.1]]}, "rates"),
        ({"misclassification": np.ones((5, 5))}, "misclassification"),
        ({"age_trust": 2.0}, "age_trust"),
    ],
)
def test_what_cannot_be_is_refused_by_name(change, name):
    given = {"rates": RATES, "age_now": [9.0], "visit_ago": [[2.0, 1.0]], "visit_stages": [[0, 1]]} | change
    with pytest.raises(ValueError, match=name):
        stage_now(**given)
