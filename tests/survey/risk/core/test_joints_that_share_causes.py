"""Objects scored with what their joints share, against every possibility written out."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.risk import bonds as bonds_module
from survey.risk.adhesives import sound_strengths_pa, speeds
from survey.risk.bonds import Bonds, carried_by_each, loss_with_dependents
from survey.risk.identification import CLASSES
from survey.risk.inputs import Assumptions, JointInputs
from survey.risk.load import failure_chance
from survey.risk.matrices import transition_matrix
from survey.risk.objects import score_joints, score_objects
from survey.risk.stages import OPEN, PRIORS, with_slips
from survey.risk.together import score_together, yearly_rates
from survey.risk.workshops import Sharing
from tests.survey.risk.core.joints import certainly, some_joints
from tests.survey.risk.core.test_scoring_objects import a_crowd

MIDDLE = Assumptions().middle


def ties(inputs: JointInputs, restoration: list[int], *, seed: int = 0, only: int = 12, **sharing: float) -> Bonds:
    """Random ties; the first ``only`` classes are possible."""
    rng = np.random.default_rng(seed)
    joints, count = len(restoration), max(restoration) + 1
    shares = np.zeros((count + joints, len(CLASSES)))
    shares[:, :only] = rng.dirichlet(np.ones(only), count + joints)
    return Bonds(
        np.array(restoration), shares[:count], rng.uniform(0.2, 0.95, (joints, len(CLASSES))), shares[count:],
        np.full(joints, -1), Sharing(**sharing),
    )  # fmt: skip


def three_joints() -> JointInputs:
    return some_joints(
        3, age_now=np.array([40.0, 40.0, np.nan]), visit_ago=np.tile([9.0, 1.0], (3, 1)),
        visit_stages=np.array([[0, 1], [-1, 2], [-1, -1]]), rate_factor=np.array([1.0, 1.3, 0.8]),
    )  # fmt: skip


def one_way(
    inputs: JointInputs, row: int, kind: int, pace: float, way: float, left: tuple[float, float]
) -> tuple[float, float]:
    """Chance of what the visits saw, and of that and holding, for one joint, class, pace and way of handling."""
    rates = PRIORS["middle"].rates
    clock = speeds()[kind] * inputs.rate_factor[row] * pace
    error = with_slips(Assumptions().misclassification)
    looks = [(a, s) for a, s in zip(inputs.visit_ago[row], inputs.visit_stages[row], strict=True) if s >= 0]
    first = looks[0][0] if looks else 0.0
    if np.isnan(inputs.age_now[row]):
        belief = transition_matrix(rates, clock * np.arange(5.0, 100.0, 10.0))[:, 0].mean(axis=0)
    else:
        belief = transition_matrix(rates, (inputs.age_now[row] - first) * clock)[0]
    if looks:
        belief = 0.5 * belief + 0.1
    reached, chance = first, 1.0
    for ago, stage in looks:
        belief = belief @ transition_matrix(rates, (reached - ago) * clock) * error[:, stage]
        chance, belief, reached = chance * belief.sum(), belief / belief.sum(), ago
    then = belief @ transition_matrix(rates, (reached + inputs.years_ahead[row, 0]) * clock)
    stress = inputs.load.peak_stress(Assumptions().shocks.as_array())[row] * np.exp(way)
    use = stress / (sound_strengths_pa()[kind] * np.array([1, 0.7, 0.3, 0.05])[:, None])
    holds = 1 - failure_chance(use, inputs.moves[row, 0], scatter=left[0], shared=left[1])
    return chance, chance * float(then[:OPEN] @ holds)


def test_one_object_against_every_possibility():
    """Two restorations, three joints, three classes: all classes, paces and ways of handling summed one by one."""
    inputs, chosen = three_joints(), Assumptions()
    tied = ties(inputs, [0, 0, 1], seed=3, only=3)
    paces, pace_weights = tied.paces()
    ways, way_weights, scatter, shared = tied.ways(chosen.scatter, chosen.shared_scatter)
    spots = itertools.product(range(3), range(3), range(5), range(5))
    runs = {(j, c, f, h): one_way(inputs, j, c, paces[f], ways[h], (scatter, shared)) for j, c, f, h in spots}
    holds = np.zeros(5)
    all_of_it = 0.0
    for h, w in enumerate(way_weights):
        for z0, z1, f0, f1 in itertools.product(range(3), range(3), range(5), range(5)):
            weight = w * tied.restorations[0, z0] * tied.restorations[1, z1] * pace_weights[f0] * pace_weights[f1]
            for classes in itertools.product(range(3), repeat=3):
                seen, kept = weight, []
                for j, (c, z, f) in enumerate(zip(classes, (z0, z0, z1), (f0, f0, f1), strict=True)):
                    seen *= tied.follows[j, z] * (c == z) + (1 - tied.follows[j, z]) * tied.otherwise[j, c]
                    chance, held = runs[j, c, f, h]
                    seen *= chance
                    kept.append(held / chance)
                all_of_it += seen
                holds += seen * np.array([np.prod(kept), *kept, kept[1] * kept[2]])
    got = score_together(inputs, tied)
    expected = 1 - holds / all_of_it
    assert got.objects.before[MIDDLE, 0, 0] == pytest.approx(expected[0], rel=1e-5)
    assert got.joints.before[MIDDLE, :, 0] == pytest.approx(expected[1:4], rel=1e-4)
    assert got.without[MIDDLE, 0, 0] == pytest.approx(expected[4], rel=1e-5)


def test_without_ties_and_doubt_it_is_the_independent_score():
    inputs = a_crowd().changed(class_probabilities=certainly("pvac", 60))
    joints = score_joints(inputs)
    got = score_together(inputs, Bonds.none(inputs))
    assert got.joints.before == pytest.approx(joints.before, rel=1e-9)
    assert got.objects.before == pytest.approx(score_objects(inputs, joints).before, rel=1e-9, abs=1e-12)
    assert got.joints.per_year == pytest.approx(joints.per_year, rel=1e-6)


@given(
    st.integers(2, 6),
    st.integers(0, 1000),
    st.floats(0, 1.2),
    st.floats(0, 1),
    st.sampled_from(["pvac", "cellulose_nitrate"]),
)
@settings(deadline=None, max_examples=40)
def test_between_the_worst_joint_and_independent_joints(joints, seed, frailty, handling, adhesive):
    """Pace and handling move all joints the same way, whatever was seen of each and whatever it bears."""
    rng = np.random.default_rng(seed)
    inputs = some_joints(
        joints, visit_stages=rng.integers(-1, 4, (joints, 1)), age_now=rng.uniform(5, 80, joints),
        class_probabilities=certainly(adhesive, joints),
    )  # fmt: skip
    shares = certainly(adhesive, 1)
    tied = Bonds(
        np.zeros(joints, np.int64), shares, np.ones((joints, 12)), np.tile(shares, (joints, 1)), np.full(joints, -1),
        Sharing(frailty=frailty, handling=handling),
    )  # fmt: skip
    got = score_together(inputs, tied)
    assert np.all(got.objects.before >= got.objects.at_least - 1e-12)
    assert np.all(got.objects.before <= got.apart + 1e-9)


@given(st.integers(0, 1000))
@settings(deadline=None, max_examples=20)
def test_alike_joints_that_share_an_adhesive_lie_between_too(seed):
    inputs = some_joints(4, visit_stages=np.full((4, 1), -1))
    tied = replace(ties(inputs, [0, 0, 0, 0], seed=seed), follows=np.ones((4, 12)))
    got = score_together(inputs, tied)
    assert np.all(got.objects.before >= got.objects.at_least - 1e-12)
    assert np.all(got.objects.before <= got.apart + 1e-9)
    assert np.all(got.apart - got.objects.before > 1e-4)  # and sharing is felt


def test_more_nodes_change_little(monkeypatch):
    inputs, tied = three_joints(), ties(three_joints(), [0, 0, 1], seed=1)
    few = score_together(inputs, tied)
    monkeypatch.setattr(bonds_module, "FRAILTIES", 25)
    monkeypatch.setattr(bonds_module, "HANDLINGS", 25)
    many = score_together(inputs, tied)
    assert few.objects.before == pytest.approx(many.objects.before, abs=2e-4)


def test_the_classes_of_a_restoration_mix_into_the_chance():
    inputs = three_joints()
    got = score_together(inputs, ties(inputs, [0, 0, 1], seed=5))
    mixed = (got.restorations * got.given_class).sum(axis=2)
    assert mixed == pytest.approx(np.tile(got.objects.before[:, 0, -1:], (1, 2)), rel=1e-9)
    assert got.classes.sum(axis=2) == pytest.approx(np.ones((3, 3)))


def test_a_neighbour_seen_failing_early_speaks_for_a_joint_not_seen():
    sound = some_joints(2, age_now=np.full(2, 12.0), visit_stages=np.array([[0], [-1]]))
    failing = some_joints(2, age_now=np.full(2, 12.0), visit_stages=np.array([[3], [-1]]))
    tied = ties(sound, [0, 0], seed=2)
    chances = [score_together(made, tied).joints.before[MIDDLE, 1, 0] for made in (sound, failing)]
    assert chances[1] > chances[0]
    apart = [score_together(made, ties(sound, [0, 1], seed=2)).joints.before[MIDDLE, 1, 0] for made in (sound, failing)]
    assert apart[1] == pytest.approx(apart[0], rel=1e-12)


def test_what_hangs_on_a_joint_falls_with_it():
    inputs = some_joints(3, visit_stages=np.array([[3], [0], [0]]))
    free = ties(inputs, [0, 0, 1], seed=4)
    hung = replace(free, depends_on=np.array([-1, 0, 1]))
    loss = np.array([0.1, 0.2, 0.3])
    alone, carried = (score_together(inputs, tied, loss=loss) for tied in (free, hung))
    assert alone.falls == pytest.approx(alone.joints.before)
    assert carried.joints.before == pytest.approx(alone.joints.before)
    assert carried.objects.before == pytest.approx(alone.objects.before)  # that anything lets go is the same
    assert np.all(carried.falls[:, 1:] > alone.falls[:, 1:])
    assert np.all(carried.falls[:, 1:] >= carried.joints.before[:, :1] - 1e-12)
    assert np.all(carried.falls[:, 2] <= carried.objects.before[:, 0] + 1e-12)
    assert np.all(carried.loss > alone.loss)
    assert loss_with_dependents(loss, hung.depends_on) == pytest.approx([1 - 0.9 * 0.8 * 0.7, 1 - 0.8 * 0.7, 0.3])
    assert carried_by_each(hung.depends_on).tolist() == [2, 1, 0]


def test_the_loss_of_one_joint_is_its_chance_times_what_it_costs():
    inputs = some_joints()
    got = score_together(inputs, ties(inputs, [0]), loss=np.array([0.2]))
    assert got.loss[:, 0] == pytest.approx(0.2 * got.joints.before[:, 0], rel=1e-9)
    assert got.without == pytest.approx(np.zeros((3, 1, 1)), abs=1e-12)


def test_order_and_other_objects_do_not_matter():
    inputs, rng = a_crowd(), np.random.default_rng(5)
    index = np.sort(inputs.object_index)
    inputs = inputs.changed(object_index=index)
    restoration = 2 * index + (np.arange(60) % 2)
    tied = ties(inputs, [*restoration.tolist()], seed=6)
    got = score_together(inputs, tied)
    order = rng.permutation(60)
    names = [name for name in JointInputs.__dataclass_fields__ if name not in ("object_count", "load")]
    load = replace(
        inputs.load, **{name: getattr(inputs.load, name)[order] for name in inputs.load.__dataclass_fields__}
    )
    mixed = inputs.changed(load=load, **{name: getattr(inputs, name)[order] for name in names})
    others = replace(
        tied, restoration=tied.restoration[order], follows=tied.follows[order], otherwise=tied.otherwise[order]
    )
    again = score_together(mixed, others)
    assert again.objects.before == pytest.approx(got.objects.before, rel=1e-9)
    assert again.joints.before == pytest.approx(got.joints.before[:, order], rel=1e-9)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"restoration": np.array([0, 5, 1])}, "restoration"),
        ({"follows": np.full((3, 12), 2.0)}, "follows"),
        ({"otherwise": np.full((3, 12), 0.5)}, "otherwise"),
        ({"depends_on": np.array([1, 0, -1])}, "depends_on must not go in a circle"),
        ({"depends_on": np.array([7, -1, -1])}, "depends_on"),
    ],
)
def test_ties_that_cannot_be_are_refused_by_name(change, name):
    with pytest.raises(ValueError, match=name):
        replace(ties(three_joints(), [0, 0, 1]), **change)


def test_ties_across_objects_are_refused_by_name():
    apart = some_joints(2, object_count=2, object_index=np.array([0, 1]))
    with pytest.raises(ValueError, match="restoration must not join"):
        score_together(apart, ties(apart, [0, 0]))
    with pytest.raises(ValueError, match="depends_on must point to a joint of the same object"):
        score_together(apart, replace(ties(apart, [0, 1]), depends_on=np.array([-1, 0])))


def test_yearly_rates_alone_are_those_of_whole_scores():
    inputs = three_joints()
    tied = ties(inputs, [0, 0, 1])
    assert yearly_rates(inputs, tied) == pytest.approx(score_together(inputs, tied).objects.per_year, rel=1e-9)


def test_classes_that_cannot_be_change_nothing_and_are_not_taken_through():
    """Against the same ties with what cannot be made barely possible, so that it is taken through as well."""
    inputs = three_joints()
    tied = ties(inputs, [0, 0, 1], only=3)
    hair = 1e-13
    barely = replace(tied, restorations=tied.restorations + hair, otherwise=tied.otherwise + hair)
    some, all_of_them = score_together(inputs, tied), score_together(inputs, barely)
    for name in ("objects", "joints"):
        assert getattr(some, name).before == pytest.approx(getattr(all_of_them, name).before, rel=1e-9)
    assert some.classes == pytest.approx(all_of_them.classes, abs=1e-9)
    assert some.loss == pytest.approx(all_of_them.loss, rel=1e-9)
