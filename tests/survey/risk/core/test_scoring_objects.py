"""Joints and objects scored: what must hold whatever the numbers."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm
from scipy.stats import norm

from survey.risk.adhesives import ADHESIVES
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.load import LoadInputs, joint_stress
from survey.risk.matrices import progressive_generator
from survey.risk.objects import score_joints, score_objects, unsure_ranks
from survey.risk.stages import OPEN, PRIORS
from tests.survey.risk.core.joints import MOVES, a_load, certainly, some_joints

MIDDLE = Assumptions().middle
NONE_SEEN: dict[str, Any] = {"visit_stages": np.full((1, 1), -1)}


def chance(inputs: JointInputs) -> float:
    return float(score_joints(inputs).before[MIDDLE, 0, -1])


def test_one_joint_of_known_adhesive_written_out():
    """Against scipy.linalg.expm and the normal distribution function: age 40, not seen, one lift at 2 g."""
    inputs = some_joints(class_probabilities=certainly("cellulose_nitrate", 1), **NONE_SEEN)
    scores = score_joints(inputs)
    generator = progressive_generator(PRIORS["middle"].rates)
    then = expm(generator * 40.5)[0]
    pull, bending = joint_stress(0.08, 60, 6, 25, 2.0)
    fails = norm.cdf(np.log((pull + bending) / (2e6 * np.array([1, 0.7, 0.3, 0.05]))) / 0.5)
    assert scores.opens[MIDDLE, 0, 0] == pytest.approx(then[OPEN], rel=1e-10)
    assert scores.before[MIDDLE, 0, 0] == pytest.approx(then[OPEN] + then[:OPEN] @ fails, rel=1e-6)
    left = 1 - (1 - scores.opens) * (1 - scores.gives)
    assert scores.before == pytest.approx(left, rel=1e-12)


def test_doubt_about_the_adhesive_mixes_chances_not_speeds():
    both = (certainly("rubber_cement", 1) + certainly("epoxy", 1)) / 2
    apart = [chance(some_joints(class_probabilities=certainly(code, 1))) for code in ("rubber_cement", "epoxy")]
    assert chance(some_joints(class_probabilities=both)) == pytest.approx(np.mean(apart), rel=1e-12)


def test_the_horizon_turns_into_a_yearly_rate():
    """Closed form: a constant rate that opens as many of the closed joints in 30 years as the chain does."""
    inputs = some_joints(class_probabilities=certainly("cellulose_nitrate", 1), **NONE_SEEN)
    opens = expm(progressive_generator(PRIORS["middle"].rates) * 40)[0, OPEN]
    later = expm(progressive_generator(PRIORS["middle"].rates) * 70)[0, OPEN]
    expected = -np.log((1 - later) / (1 - opens)) / 30
    assert score_joints(inputs).per_year[MIDDLE, 0] == pytest.approx(expected, rel=1e-9)


def test_a_place_that_ages_twice_as_fast_is_twice_the_time_at_half_the_pace():
    fast = some_joints(rate_per_year=np.array([2.0]))
    slow = some_joints(years_ahead=np.array([[1.0]]))
    quick, patient = score_joints(fast), score_joints(slow, Assumptions(horizon_years=60.0))
    assert quick.before == pytest.approx(patient.before, rel=1e-12)
    assert quick.per_year == pytest.approx(2 * patient.per_year, rel=1e-12)
    assert chance(fast) > chance(some_joints())


def test_a_joint_in_strong_light_is_one_of_a_faster_adhesive():
    faster = tuple(replace(adhesive, speed=1.5 * adhesive.speed) for adhesive in ADHESIVES)
    expected = score_joints(some_joints(), Assumptions(adhesives=faster))
    got = score_joints(some_joints(rate_factor=np.array([1.5])))
    assert got.before == pytest.approx(expected.before, rel=1e-12)
    assert got.stage_now == pytest.approx(expected.stage_now, rel=1e-12)


@given(st.floats(0, 90), st.floats(0, 30), st.sampled_from(["cellulose_nitrate", "acrylic", "rubber_cement"]))
@settings(deadline=None, max_examples=30)
def test_an_older_joint_is_no_safer(age, more, adhesive):
    shares = certainly(adhesive, 1)
    young, old = (
        chance(some_joints(class_probabilities=shares, age_now=np.array([years]), **NONE_SEEN))
        for years in (age, age + more)
    )
    assert old >= young - 1e-12


@pytest.mark.parametrize("age", [1.0, 40.0, 90.0, np.nan])
def test_a_worse_stage_is_no_safer(age):
    stages = [some_joints(age_now=np.array([age]), visit_stages=np.array([[stage]])) for stage in range(5)]
    chances = [chance(inputs) for inputs in stages]
    assert np.all(np.diff(chances) > 0)
    assert chances[-1] == pytest.approx(1)


@given(st.floats(0.01, 20), st.floats(1, 10), st.sampled_from(["mass_kg", "lever_mm"]))
@settings(deadline=None, max_examples=30)
def test_more_load_is_no_safer(size, times, name):
    scale = 5.0 if name == "lever_mm" else 0.05
    light, heavy = (chance(some_joints(load=a_load(1, **{name: scale * s}))) for s in (size, size * times))
    assert heavy >= light - 1e-12


@given(st.integers(0, 3), st.integers(0, 20), st.integers(0, 20))
@settings(deadline=None, max_examples=30)
def test_more_moves_are_no_safer(kind, count, more):
    few, many = (np.zeros((1, 1, MOVES)) for _ in range(2))
    few[0, 0, kind], many[0, 0, kind] = count, count + more
    assert chance(some_joints(moves=many)) >= chance(some_joints(moves=few)) - 1e-12


def test_a_later_milestone_is_no_safer():
    before = score_joints(some_joints(milestones=4)).before
    assert np.all(np.diff(before, axis=2) > 0)


def test_no_moves_leave_opening_alone():
    scores = score_joints(some_joints(moves=np.zeros((1, 1, MOVES))))
    assert scores.before == pytest.approx(scores.opens)
    assert scores.gives == pytest.approx(0, abs=1e-12)


def a_crowd(joints: int = 60, objects: int = 12, seed: int = 1) -> JointInputs:
    rng = np.random.default_rng(seed)
    ends = ((0.02, 2.0), (20.0, 300.0), (3.0, 20.0), (0.0, 60.0))
    mass, length, thickness, lever = (rng.uniform(low, high, joints) for low, high in ends)
    return some_joints(
        joints,
        milestones=3,
        object_count=objects,
        object_index=rng.integers(0, objects - 1, joints),
        class_probabilities=rng.dirichlet(np.ones(len(ADHESIVES)), joints),
        age_now=np.where(rng.random(joints) < 0.2, np.nan, rng.uniform(0, 90, joints)),
        visit_ago=np.tile([6.0, 0.5], (joints, 1)),
        visit_stages=rng.integers(-1, 5, (joints, 2)),
        load=LoadInputs(mass, length, thickness, lever, estimated=np.zeros(joints, bool)),
    )


def shuffled(inputs: JointInputs, order: np.ndarray) -> JointInputs:
    load = LoadInputs(**{name: getattr(inputs.load, name)[order] for name in LoadInputs.__dataclass_fields__})
    rows = {
        name: getattr(inputs, name)[order]
        for name in JointInputs.__dataclass_fields__
        if name not in ("object_count", "load")
    }
    return replace(inputs, **rows, load=load)


def test_every_score_is_a_chance_and_comes_out_the_same_again():
    inputs = a_crowd()
    joints = score_joints(inputs)
    objects = score_objects(inputs, joints)
    for values in (joints.before, joints.opens, joints.gives, joints.stage_now, objects.before, objects.at_least):
        assert np.all((values >= 0) & (values <= 1))
    assert joints.stage_now.sum(axis=2) == pytest.approx(np.ones((3, 60)))
    assert np.array_equal(score_joints(inputs).before, joints.before)
    assert np.all(objects.low <= objects.middle)
    assert np.all(objects.middle <= objects.high)


def test_the_order_of_joints_does_not_matter():
    inputs, order = a_crowd(), np.random.default_rng(3).permutation(60)
    mixed = shuffled(inputs, order)
    joints, others = score_joints(inputs), score_joints(mixed)
    assert others.before == pytest.approx(joints.before[:, order], rel=1e-12)
    objects, other_objects = score_objects(inputs, joints), score_objects(mixed, others)
    assert other_objects.before == pytest.approx(objects.before, rel=1e-12)
    for object_index, milestone in zip(*np.nonzero(objects.worst_joint >= 0), strict=True):
        worst, other = objects.worst_joint[object_index, milestone], other_objects.worst_joint[object_index, milestone]
        of_worst, of_other = joints.before[MIDDLE, [worst, order[other]], milestone]  # equals may change places
        assert of_other == pytest.approx(of_worst, rel=1e-12)
        assert inputs.object_index[worst] == mixed.object_index[other] == object_index


def test_joints_together_written_out():
    """Three joints of one object: 1 - (1-p)(1-q)(1-r), never less than the worst of them."""
    inputs = some_joints(3, visit_stages=np.array([[0], [2], [3]]))
    joints = score_joints(inputs)
    objects = score_objects(inputs, joints)
    alone = joints.before[MIDDLE, :, 0]
    assert objects.middle[0, 0] == pytest.approx(1 - np.prod(1 - alone), rel=1e-12)
    assert objects.at_least[MIDDLE, 0, 0] == alone.max()
    assert objects.worst_joint[0, 0] == 2
    assert objects.per_year[MIDDLE, 0] == pytest.approx(joints.per_year[MIDDLE].sum())


def test_an_object_without_joints_has_nothing_to_score():
    inputs = a_crowd()
    objects = score_objects(inputs, score_joints(inputs))
    assert objects.middle[-1].tolist() == [0, 0, 0]
    assert objects.worst_joint[-1].tolist() == [-1, -1, -1]


def test_no_joints_at_all():
    nothing = shuffled(a_crowd(), np.array([], dtype=int))
    objects = score_objects(nothing, score_joints(nothing))
    assert objects.middle.shape == (12, 3)
    assert not objects.middle.any()


def test_a_rank_that_moves_by_more_than_a_quarter_is_flagged():
    first = np.array([0.1, 0.2, 0.3, 0.4])
    second = np.array([0.35, 0.2, 0.3, 0.4])  # the first object climbs by two of four places
    assert unsure_ranks(np.stack([first, second])[:, :, None])[:, 0].tolist() == [True, False, False, False]
    assert not unsure_ranks(np.stack([first, first])[:, :, None]).any()
    assert not unsure_ranks(np.full((3, 5, 1), 0.5)).any()  # ties stay ties


def test_the_prior_of_middle_life_ranks():
    assert Assumptions().priors[Assumptions().middle].name == "middle"
    assert Assumptions(priors=(PRIORS["pessimistic"],)).middle == 0


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"object_index": np.array([1])}, "object_index"),
        ({"class_probabilities": np.full((1, 12), 0.1)}, "class_probabilities"),
        ({"class_probabilities": np.ones((1, 3)) / 3}, "class_probabilities"),
        ({"moves": -np.ones((1, 1, MOVES))}, "moves"),
        ({"moves": np.ones((1, 2, MOVES))}, "moves"),
        ({"years_ahead": np.array([[np.nan]])}, "years_ahead"),
        ({"years_ahead": np.array([[2.0, 1.0]]), "moves": np.ones((1, 2, MOVES))}, "years_ahead"),
        ({"rate_factor": np.array([np.inf])}, "rate_factor"),
        ({"age_now": np.zeros(2)}, "age_now"),
        ({"load": a_load(2)}, "load"),
    ],
)
def test_input_that_cannot_be_is_refused_by_name(change, name):
    with pytest.raises(ValueError, match=name):
        some_joints(**change)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"share_by_stage": (1.0, 0.5, 0.7, 0.1, 0.0)}, "share_by_stage"),
        ({"share_by_stage": (1.0, 0.5, 0.3, 0.1, 0.1)}, "share_by_stage"),
        ({"adhesives": ADHESIVES[1:]}, "adhesives"),
        ({"priors": ()}, "priors"),
        ({"horizon_years": 0.0}, "horizon_years"),
    ],
)
def test_assumptions_that_cannot_be_are_refused_by_name(change, name):
    with pytest.raises(ValueError, match=name):
        Assumptions(**change)
