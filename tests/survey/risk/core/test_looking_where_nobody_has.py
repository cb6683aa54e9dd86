"""Objects without any joint on record, judged by what looks in their room have found."""

import numpy as np
import pytest

from survey.risk.bonds import Bonds
from survey.risk.inputs import Assumptions
from survey.risk.joining import joined, joined_told
from survey.risk.look_next import ACT_FROM, LOOK_MINUTES_JOINT, LOOK_MINUTES_OBJECT, if_seen, only_middle
from survey.risk.stages import with_slips
from survey.risk.together import score_together
from survey.risk.unrecorded import COUNTS_AS, Peers, typical_joints, worth_of_unrecorded
from survey.risk.whole import Told
from tests.survey.risk.core.joints import a_load, certainly, some_joints

NONE = np.zeros((1, 5), dtype=np.int64)


def peers(looked=(0, 40), restored=(0, 10), joints=(0, 30)) -> Peers:
    stages = np.zeros((len(looked), 5), dtype=np.int64)
    return Peers(np.array(looked), np.array(restored), np.array(joints), stages)


def nitrate(count: int, **arrays):
    return some_joints(
        count, object_count=count, object_index=np.arange(count), load=a_load(count, mass_kg=0.012),
        class_probabilities=certainly("cellulose_nitrate", count), **arrays,
    )  # fmt: skip


def test_a_room_that_nobody_has_looked_through_is_taken_as_the_collection_is():
    """Beta prior of ten looks at the mean of all: closed form (10 + 10 x 11/42) / (40 + 10) for the room with looks."""
    share = peers().restored_share()
    overall = 11 / 42
    assert share[0] == pytest.approx(overall)
    assert share[1] == pytest.approx((10 + COUNTS_AS * overall) / (40 + COUNTS_AS))
    assert peers().joints_each()[0] == pytest.approx(31 / 11)


def test_many_looks_leave_the_collection_behind():
    found = peers(looked=(1000, 1000), restored=(900, 100), joints=(900, 400)).restored_share()
    assert found == pytest.approx([0.9, 0.1], abs=0.01)


def test_a_typical_joint_against_the_sum_over_stages_written_out():
    inputs, chosen = nitrate(2, age_now=np.array([20.0, 60.0])), only_middle(Assumptions())
    blank = inputs.changed(visit_stages=np.full((2, 1), -1), visit_ago=np.full((2, 1), np.nan))
    seen = score_together(blank, Bonds.none(blank), chosen).joints.stage_now[0] @ with_slips(chosen.misclassification)
    chance = if_seen(blank, chosen)
    gain = np.where([0, 0, 0, 1, 1], chance, np.maximum(chance - ACT_FROM, 0))  # from a failing joint on, not to lift
    got = typical_joints(inputs, np.zeros(2, int), NONE, loss=np.array([1.0, 0.5]))
    assert got.worth[0] == pytest.approx((seen * gain * np.array([[1.0], [0.5]])).sum() / 2)
    assert got.failing[0] == pytest.approx(seen[:, 3:].sum() / 2)


def test_stages_found_in_the_room_outweigh_what_age_alone_says():
    inputs = nitrate(3, age_now=np.full(3, 5.0))
    group, loss = np.zeros(3, int), np.ones(3)
    young = typical_joints(inputs, group, NONE, loss=loss)
    failing = typical_joints(inputs, group, np.array([[0, 0, 0, 200, 0]]), loss=loss)
    assert young.failing[0] < 0.1 < 0.9 < failing.failing[0]
    assert failing.worth[0] > young.worth[0] and failing.changes[0] > young.changes[0]


def test_worth_grows_with_the_joints_expected_and_with_what_the_object_matters():
    typical = typical_joints(nitrate(1), np.zeros(1, int), NONE, loss=np.ones(1))
    looks = worth_of_unrecorded(
        np.array([0.5]), np.array([2.0]), typical, np.zeros(2, int), matters=np.array([1.0, 4.0])
    )
    assert looks.worth[0] == pytest.approx(typical.worth[0])  # one joint expected
    assert looks.worth[1] == pytest.approx(4 * looks.worth[0])
    assert looks.changes[0] == pytest.approx(0.5 * (1 - (1 - typical.changes[0]) ** 2))
    assert looks.minutes[0] == LOOK_MINUTES_OBJECT + LOOK_MINUTES_JOINT


def test_batches_joined_score_as_they_do_apart():
    one = nitrate(1, visit_stages=np.array([[1, 2]]), visit_ago=np.array([[9.0, 1.0]]))
    two = nitrate(2, visit_stages=np.array([[0], [3]]), visit_ago=np.array([[2.0], [0.0]]))
    whole = joined([one, two])
    assert whole.object_count == 3 and whole.object_index.tolist() == [0, 1, 2]
    assert whole.last_seen.tolist() == [2, 0, 3]
    apart = [score_together(part, Bonds.none(part)).objects.middle for part in (one, two)]
    assert score_together(whole, Bonds.none(whole)).objects.middle == pytest.approx(np.concatenate(apart))


def test_what_the_record_says_is_joined_with_its_restorations_apart():
    def told(inputs) -> Told:
        count = inputs.object_index.size
        return Told(
            inputs=inputs, rounds=inputs.visit_stages, codes=np.full((count, 3), -1), restoration=np.zeros(count, int),
            workshop=np.array([7]), years=np.full((1, 2), np.nan), keys=np.arange(count, dtype=np.uint64),
            loss=np.ones(count),
        )  # fmt: skip

    one = nitrate(1, visit_stages=np.array([[1, 2]]), visit_ago=np.array([[9.0, 1.0]]))
    whole = joined_told([told(one), told(nitrate(2, visit_stages=np.array([[0], [3]]), visit_ago=np.ones((2, 1))))])
    assert whole.restoration.tolist() == [0, 1, 1] and whole.workshop.tolist() == [7, 7]
    assert whole.rounds.tolist() == [[1, 2], [-1, 0], [-1, 3]]


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: peers(looked=(1, 1), restored=(2, 0)), "restored"),
        (lambda: Peers(np.ones(1, int), np.ones(1, int), np.ones(1, int), np.ones((1, 4), int)), "stages"),
        (lambda: typical_joints(nitrate(1), np.ones(1, int), np.zeros((2, 5), int), loss=np.ones(1)), "group"),
        (lambda: joined([]), "parts"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, name):
    with pytest.raises(ValueError, match=name):
        call()
