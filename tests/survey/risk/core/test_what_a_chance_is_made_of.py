"""Parts of an object's chance, one thing taken away at a time."""

from dataclasses import replace

import numpy as np
import pytest

from survey.risk.bonds import Bonds
from survey.risk.contributions import CAUSES, contributions, in_sentences
from survey.risk.inputs import Assumptions
from survey.risk.together import score_together
from tests.survey.risk.core.joints import MOVES, a_load, certainly, some_joints
from tests.survey.risk.core.test_joints_that_share_causes import ties

PARTS = ["foot", "handle", "rim"]
MIDDLE = Assumptions().middle


def light(joints: int = 3, **arrays):
    return some_joints(joints, load=a_load(joints, mass_kg=0.02), **arrays)


def test_small_chances_of_independent_joints_add_up():
    """1 - prod(1 - p) is the sum of the p to first order."""
    inputs = light(visit_stages=np.zeros((3, 1), np.int64), class_probabilities=certainly("epoxy", 3))
    found = contributions(inputs, Bonds.none(inputs))
    assert found.chance[0] < 0.02
    assert found.of_joints == pytest.approx(found.chance, rel=0.02)
    assert found.adds_up.all()
    assert any("add up to" in said for said in in_sentences(found, inputs, 0, PARTS)[-1:])


def test_two_joints_of_which_either_is_enough_do_not_add_up_and_it_is_said():
    inputs = some_joints(2, visit_stages=np.full((2, 1), 4))
    found = contributions(inputs, ties(inputs, [0, 0]))
    assert found.chance[0] == pytest.approx(1)
    assert found.joints == pytest.approx([0, 0], abs=1e-9)
    assert not found.adds_up[0]
    assert "do not add up" in in_sentences(found, inputs, 0, PARTS)[-1]


def test_the_part_of_a_joint_written_out():
    """Three independent joints: without the first, 1 - (1 - q)(1 - r) is left."""
    inputs = light(visit_stages=np.array([[0], [2], [3]]), class_probabilities=certainly("pvac", 3))
    tied = Bonds.none(inputs)
    alone = score_together(inputs, tied).joints.before[MIDDLE, :, 0]
    found = contributions(inputs, tied)
    left = 1 - (1 - alone[1]) * (1 - alone[2])
    assert found.joints[0] == pytest.approx(found.chance[0] - left, rel=1e-9)


def test_causes_taken_away():
    inputs = light(visit_stages=np.array([[1], [2], [-1]]))
    tied = ties(inputs, [0, 0, 1])
    found = contributions(inputs, tied)
    moves, waiting, age = (found.causes[0, CAUSES.index(code)] for code in ("moves", "waiting", "age"))
    assert min(moves, waiting, age) > 0
    still = inputs.changed(moves=np.zeros((3, 1, MOVES)))
    assert contributions(still, tied).causes[0, CAUSES.index("moves")] == pytest.approx(0, abs=1e-12)
    sure = inputs.changed(class_probabilities=certainly("pvac", 3))
    known = replace(tied, follows=np.zeros((3, 12)), otherwise=certainly("pvac", 3))
    assert contributions(sure, known).causes[0, CAUSES.index("adhesive")] == pytest.approx(0, abs=1e-12)


def test_sentences_name_the_greatest_part_first():
    inputs = light(visit_stages=np.array([[0], [3], [0]]))
    said = in_sentences(contributions(inputs, ties(inputs, [0, 0, 1])), inputs, 0, PARTS)
    assert said[0].startswith("Without the")
    assert any("the joint at the handle" in text for text in said[:2])


def test_an_object_without_joints_is_made_of_nothing():
    inputs = light(object_count=2)
    found = contributions(inputs, ties(inputs, [0, 0, 1]))
    assert in_sentences(found, inputs, 1, PARTS) == []
    assert found.chance[1] == 0
