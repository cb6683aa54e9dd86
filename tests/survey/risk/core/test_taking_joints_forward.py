"""The fast ways forward against the plain ones: chains by digits of time, moves by table."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from survey.risk.carrying import ChainTable, carried_by_table
from survey.risk.holding import HoldTable, gives_by_table
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.load import ShockLevels, failure_chance
from survey.risk.matrices import progressive_generator, transition_matrix
from survey.risk.passing import Way, passages
from survey.risk.stages import OPEN, PRIORS, stage_now
from tests.survey.risk.core.joints import some_joints
from tests.survey.risk.core.test_scoring_objects import a_crowd

SHOCKS = ShockLevels().as_array()


@given(
    st.lists(st.one_of(st.just(0.0), st.floats(1e-6, 5)), min_size=4, max_size=4),
    st.floats(0, 3000),
    st.integers(0, 4),
)
@settings(deadline=None, max_examples=60)
def test_any_rates_and_times_agree_with_the_matrix(rates, elapsed, stage):
    start = np.eye(5)[[stage]]
    got = carried_by_table(start, ChainTable.of(rates, elapsed), [elapsed])
    assert got == pytest.approx(transition_matrix(rates, [elapsed])[0, stage][None], rel=1e-10, abs=1e-300)


def test_against_scipy_where_it_keeps_its_digits():
    rates = PRIORS["middle"].rates
    times = np.array([0.01, 1.0, 17.3, 90.0])
    got = carried_by_table(np.eye(5)[[0, 0, 1, 3]], ChainTable.of(rates, 90.0), times)
    for row, (stage, years) in enumerate(zip((0, 0, 1, 3), times, strict=True)):
        assert got[row] == pytest.approx(expm(progressive_generator(rates) * years)[stage], rel=1e-9, abs=1e-13)


def test_small_chances_keep_their_digits():
    """Four steps in a very short time: r0 r1 r2 r3 t^4 / 24 to first order."""
    rates = PRIORS["middle"].rates
    got = carried_by_table(np.eye(5)[[0]], ChainTable.of(rates, 1.0), [1e-4])
    assert got[0, OPEN] == pytest.approx(np.prod(rates) * 1e-16 / 24, rel=1e-4)


def test_a_time_in_two_parts_is_the_same_time():
    table = ChainTable.of(PRIORS["pessimistic"].rates, 1000.0)
    once = carried_by_table(np.eye(5)[[0]], table, [37.7])
    twice = carried_by_table(carried_by_table(np.eye(5)[[0]], table, [12.3]), table, [25.4])
    assert twice == pytest.approx(once, rel=1e-12)


@pytest.mark.parametrize(
    ("rates", "longest", "name"),
    [([0.1, 0.1], 1.0, "rates"), ([0.1, 0.1, -0.1, 0.1], 1.0, "rates"), ([0.1] * 4, np.inf, "longest")],
)
def test_a_chain_that_cannot_be_is_refused_by_name(rates, longest, name):
    with pytest.raises(ValueError, match=name):
        ChainTable.of(rates, longest)


@pytest.mark.parametrize(
    ("belief", "elapsed", "name"), [(np.eye(4), [1.0] * 4, "belief"), (np.eye(5), [-1.0] * 5, "elapsed")]
)
def test_times_that_cannot_be_are_refused_by_name(belief, elapsed, name):
    with pytest.raises(ValueError, match=name):
        carried_by_table(belief, ChainTable.of([0.1] * 4, 1.0), elapsed)


@given(
    st.lists(st.integers(0, 25), min_size=4, max_size=4),
    st.floats(-14, 14),
    st.floats(0.1, 1.2),
    st.sampled_from([0.0, 0.3, 0.5, 0.9, 1.0]),
)
@settings(deadline=None, max_examples=60)
def test_chances_to_give_by_table_agree_with_the_sum(counts, log_use, scatter, shared):
    moves = np.array([counts], dtype=np.float64)
    table = HoldTable.of(moves, SHOCKS, scatter=scatter, shared=shared)
    got = gives_by_table(table, np.zeros(1, dtype=np.int64), np.array([log_use]))[0]
    assert got == pytest.approx(
        failure_chance(np.exp(log_use) * SHOCKS, counts, scatter=scatter, shared=shared), abs=1e-6
    )


def test_no_strength_and_no_load_are_the_ends_of_the_table():
    table = HoldTable.of(np.array([[1.0, 0, 0, 0], [0, 0, 0, 0]]), SHOCKS, scatter=0.5, shared=0.5)
    got = gives_by_table(table, np.array([0, 0, 1, 0]), np.array([np.inf, -np.inf, np.inf, np.nan]))
    assert got[:3] == pytest.approx([1, 0, 0], abs=1e-9)
    assert np.isnan(got[3])


def test_more_use_never_gives_less_at_any_fineness():
    table = HoldTable.of(np.array([[2.0, 1, 1, 2]]), SHOCKS, scatter=0.5, shared=0.5)
    fine = np.linspace(-8, 6, 20_001)
    assert np.all(np.diff(gives_by_table(table, np.zeros(fine.size, dtype=np.int64), fine)) >= 0)


def today(inputs: JointInputs, pace: np.ndarray) -> np.ndarray:
    way, count = Way.of(inputs, Assumptions()), inputs.object_index.size
    holds = way.holds(scatter=0.5, shared=0.5)
    return passages(way, PRIORS["middle"], holds, np.arange(count), np.full(count, 2), pace, np.zeros(1)).now


def test_runs_see_what_the_plain_recursion_sees():
    """Today's belief against ``stages.stage_now``, each joint at a pace of its own."""
    inputs, pace = a_crowd(), np.linspace(0.2, 3, 60)
    inputs = inputs.changed(age_now=np.nan_to_num(inputs.age_now, nan=33.0))
    plain = stage_now(
        PRIORS["middle"].rates, inputs.age_now * pace, inputs.visit_ago * pace[:, None], inputs.visit_stages
    )
    assert today(inputs, pace) == pytest.approx(plain, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize("pace", [0.15, 1.0, 2.0])
def test_an_unknown_age_is_any_age_up_to_a_century(pace):
    ages = np.arange(5.0, 100.0, 10.0)
    none = some_joints(visit_stages=np.full((1, 1), -1))
    unknown = today(none.changed(age_now=np.array([np.nan])), np.array([pace]))
    each = [today(none.changed(age_now=np.array([age])), np.array([pace]))[0] for age in ages]
    assert unknown[0] == pytest.approx(np.mean(each, axis=0), rel=1e-3)


def test_the_likelihood_of_visits_adds_up_over_all_that_could_be_seen():
    """Chances of every stage at one visit sum to one, whatever the age; and of pairs at two visits."""
    one = a_crowd(1, 2)
    total = 0.0
    for first in range(5):
        for second in range(5):
            inputs = one.changed(visit_stages=np.array([[first, second]]))
            way = Way.of(inputs, Assumptions())
            holds = way.holds(scatter=0.5, shared=0.5)
            made = passages(way, PRIORS["middle"], holds, np.zeros(1, np.int64), np.array([2]), np.ones(1), np.zeros(1))
            total += made.likelihood[0]
    assert total == pytest.approx(1, rel=1e-12)
