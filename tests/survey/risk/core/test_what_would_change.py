"""The same joints asked again under one altered fact."""

from dataclasses import replace

import numpy as np
import pytest

from survey.risk.bonds import Bonds
from survey.risk.objects import score_joints
from survey.risk.together import chances_together, score_together
from survey.risk.what_if import CHANGES, chances_if, proved, rejoined, ruled_out, seen_sound, treated
from tests.survey.risk.core.joints import certainly, some_joints
from tests.survey.risk.core.test_joints_that_share_causes import ties


def asked(inputs):
    tied = ties(inputs, [0] * inputs.object_index.size)
    objects = score_together(inputs, tied).objects
    return objects, chances_if(inputs, tied, objects.worst_joint)


def test_each_change_goes_the_way_it_should():
    objects, changed = asked(some_joints(2, visit_stages=np.array([[1], [3]])))
    assert {*changed, "no-moves"} == set(CHANGES)
    now = objects.middle[0, 0]
    for code in ("if-worst-sound", "rejoined", "if-not-cellulose-nitrate"):
        assert changed[code][0] < now
    assert changed["if-cellulose-nitrate"][0] > now
    assert changed["rejoined"][0] < 0.01


def test_ruling_out_what_it_is_known_to_be_still_gives_an_answer():
    inputs = some_joints(class_probabilities=certainly("cellulose_nitrate", 1))
    tied = Bonds.none(inputs)
    left, loose = ruled_out(inputs, tied, "cellulose_nitrate")
    assert 0 < chances_together(left, loose)[0] < 1


def test_what_is_proved_or_treated_is_scored_as_if_it_had_always_been_so():
    """Against joints that are known to hold by that class and share nothing with a restoration."""
    inputs = some_joints(2, visit_stages=np.array([[1], [2]]))
    tied = ties(inputs, [0, 0])
    known, certain = proved(inputs, tied, "epoxy")
    sure = inputs.changed(class_probabilities=certainly("epoxy", 2))
    assert score_together(known, certain).classes[0] == pytest.approx(certainly("epoxy", 2), abs=1e-12)
    loose = replace(ties(sure, [0, 0]), follows=np.zeros((2, 12)), otherwise=certainly("epoxy", 2))
    assert chances_together(known, certain)[0] == pytest.approx(chances_together(sure, loose)[0], rel=1e-9)
    made, new = treated(inputs, tied, np.array([True, True]))
    assert score_together(made, new).classes[0] == pytest.approx(certainly("acrylic", 2), abs=1e-12)
    assert made.age_now.tolist() == [0, 0]


def test_only_chosen_joints_are_rejoined():
    inputs = some_joints(2, visit_stages=np.array([[3], [3]]))
    after = score_joints(rejoined(inputs, np.array([True, False])))
    before = score_joints(inputs)
    assert np.all(after.before[:, 0] < 0.01)
    assert after.before[:, 1] == pytest.approx(before.before[:, 1])
    with pytest.raises(ValueError, match="adhesive"):
        rejoined(inputs, np.array([True, False]), adhesive="sealing wax")
    with pytest.raises(ValueError, match="joints"):
        rejoined(inputs, np.array([True]))


def test_a_second_look_replaces_what_was_seen():
    inputs = some_joints(2, visit_stages=np.array([[3], [3]]))
    assert seen_sound(inputs, np.array([1])).last_seen.tolist() == [3, 0]
    assert seen_sound(inputs, np.array([-1])).last_seen.tolist() == [3, 3]
