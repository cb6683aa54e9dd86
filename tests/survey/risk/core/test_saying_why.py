"""Scores said in plain words, with their numbers."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.risk.adhesives import NAMES
from survey.risk.bonds import Bonds
from survey.risk.likelihoods import DEFAULT_TABLE
from survey.risk.load import MOVES
from survey.risk.objects import score_joints, score_objects
from survey.risk.reasons import (
    BASIS_WORDS,
    MOVE_WORDS,
    STAGE_WORDS,
    JointLabels,
    JointNumbers,
    ObjectNumbers,
    in_words,
    object_numbers,
    reasons,
)
from survey.risk.stages import STAGES
from survey.risk.what_if import CHANGES, chances_if
from tests.survey.risk.core.joints import some_joints

FOOT = JointNumbers(
    part="foot", chance=0.31, opens=0.2, gives=0.14, stage=2, seen_share=0.6, structural=True,
    adhesive="cellulose_nitrate", adhesive_probability=0.94, basis="uv", years_old=64.0,
    hardest_move="mount", use=1.4, load_estimated=True,
)  # fmt: skip
JAR = ObjectNumbers(
    milestone="case closing", low=0.2, middle=0.42, high=0.7, at_least=0.31, joints=5, joints_not_seen=2, worst=FOOT,
    band="before-mount-or-travel", rules=[("film-peeling", ["foot", "foot"]), ("travels", [])],
    if_changed={"no-moves": 0.35, "rejoined": 0.004, "if-worst-sound": 0.41}, rank_unsure=True, softens=True,
    years_between=23.0,
)  # fmt: skip


def said(numbers: ObjectNumbers) -> dict[str, str]:
    return {reason.code: reason.text for reason in reasons(numbers)}


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0, "less than 1 in 1,000"),
        (0.0009, "less than 1 in 1,000"),
        (0.001, "about 1 in 1,000"),
        (0.01, "about 1 in 100"),
        (0.05, "about 1 in 20"),
        (0.1, "about 1 in 10"),
        (0.31, "about 3 in 10"),
        (0.94, "about 9 in 10"),
        (0.951, "more than 19 in 20"),
        (1, "more than 19 in 20"),
    ],
)
def test_chances_as_people_say_them(probability, words):
    assert in_words(probability) == words


@given(st.floats(0, 1))
def test_no_chance_is_called_certain(probability):
    assert not {"certain", "never", "10 in 10", "0 in 10"} & {in_words(probability), in_words(probability)[6:]}


def test_the_band_comes_first_with_its_cause():
    first = reasons(JAR)[0]
    assert first.code == "before-mount-or-travel"
    assert "shrunken or peeling at the edges (foot)" in first.text
    assert "travel with an old joint" in first.text


def test_the_chance_carries_its_spread_and_its_milestone():
    text = said(JAR)["chance"]
    assert "before case closing" in text
    assert "about 4 in 10 (42 %; 20 % to 70 %" in text


def test_the_worst_joint_says_where_what_and_how_far():
    text = said(JAR)["worst-joint"]
    assert "Of 5 joints" in text
    assert "at the foot: last seen with failing adhesive over 60 % of its length" in text
    assert "load-bearing" in text


def test_the_adhesive_says_how_sure_and_on_what_ground():
    text = said(JAR)["adhesive"]
    assert "cellulose nitrate (about 9 in 10), judged by its colour under ultraviolet light" in text
    assert "about 64 years old" in text


def test_a_load_that_is_too_much_and_only_estimated():
    text = said(JAR)["load"]
    assert "In mounting it would be loaded to 1.4 times what it is expected to bear" in text
    assert "measure the wall" in text
    measured = said(replace(JAR, worst=replace(FOOT, use=0.3, load_estimated=False)))["load"]
    assert "30 % of what" in measured
    assert "measure" not in measured


def test_independence_is_said_with_the_least_it_can_be():
    assert "overstated; it is not less than 31 %" in said(JAR)["independence"]
    assert "independence" not in said(replace(JAR, joints=1))


def test_what_would_change_it_most_comes_first_and_trifles_are_left_out():
    codes = [reason.code for reason in reasons(JAR)]
    assert codes.index("rejoined") < codes.index("no-moves")
    assert "if-worst-sound" not in codes
    assert "less than" not in said(JAR)["rejoined"]
    assert "about 1 in 250 (0.4 %)" in said(JAR)["rejoined"]


def test_what_is_not_known_is_said():
    unknown = replace(FOOT, stage=None, seen_share=None, structural=None, years_old=None, basis="none")
    text = " ".join(said(replace(JAR, worst=unknown)).values())
    assert "has not been looked at yet" in text
    assert "not recorded" in text
    assert "age is not known" in text
    assert "nothing was tested" in text
    assert "2 of 5 joints" in text


def test_an_object_without_joints_says_so():
    assert "no-joints" in said(replace(JAR, joints=0, worst=None))


def test_an_open_joint_bears_nothing():
    text = said(replace(JAR, worst=replace(FOOT, stage=4, use=float("inf"))))["load"]
    assert "bears nothing" in text
    assert "inf" not in text


def test_every_code_has_words():
    assert set(MOVE_WORDS) == set(MOVES)
    assert set(DEFAULT_TABLE.kinds) < set(BASIS_WORDS)
    assert len(STAGE_WORDS) == len(STAGES)
    for adhesive in NAMES:
        assert NAMES[adhesive] in said(replace(JAR, worst=replace(FOOT, adhesive=adhesive)))["adhesive"]
    for code in CHANGES:
        assert code in said(replace(JAR, if_changed={code: 0.9}))


@pytest.mark.parametrize(
    ("change", "name"),
    [({"band": "soon"}, "band"), ({"rules": [("x", [])]}, "rules"), ({"middle": 1.2}, "probability")],
)
def test_what_cannot_be_is_refused_by_name(change, name):
    with pytest.raises(ValueError, match=name):
        reasons(replace(JAR, **change))


def test_from_the_arrays_of_a_run():
    inputs = some_joints(3, milestones=2, visit_stages=np.array([[0], [3], [-1]]))
    joints = score_joints(inputs)
    objects = score_objects(inputs, joints)
    labels = JointLabels(["rim", "neck", "foot"], ["look"] * 3, [50.0] * 3, [None, 0.4, None], [None, True, None])
    found = chances_if(inputs, Bonds.none(inputs), objects.worst_joint)
    changed = {code: float(values[0]) for code, values in found.items()}
    numbers = object_numbers(
        inputs, joints, objects, labels, index=0, milestone=1, milestone_name="opening day", prior=1, if_changed=changed
    )
    assert (numbers.joints, numbers.joints_not_seen) == (3, 1)
    assert numbers.worst is not None
    assert (numbers.worst.part, numbers.worst.stage, numbers.worst.hardest_move) == ("neck", 3, "lift")
    assert numbers.worst.use == pytest.approx(joints.worst_use[1, 0])
    assert numbers.middle == objects.middle[0, 1]
    text = " ".join(reason.text for reason in reasons(numbers))
    assert "neck" in text
    assert "nan" not in text
