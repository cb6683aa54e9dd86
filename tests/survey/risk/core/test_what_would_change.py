"""The same joints asked again under one altered fact."""

import numpy as np
import pytest

from survey.risk.objects import score_joints, score_objects
from survey.risk.what_if import CHANGES, chances_if, rejoined, seen_sound
from tests.survey.risk.core.joints import certainly, some_joints


def asked(inputs):
    objects = score_objects(inputs, score_joints(inputs))
    return objects, chances_if(inputs, objects.worst_joint)


def test_each_change_goes_the_way_it_should():
    objects, changed = asked(some_joints(2, visit_stages=np.array([[1], [3]])))
    assert set(changed) == set(CHANGES)
    now = objects.middle[0, 0]
    for code in ("no-moves", "if-worst-sound", "rejoined", "if-not-cellulose-nitrate"):
        assert changed[code][0, 0] < now
    assert changed["if-cellulose-nitrate"][0, 0] > now
    assert changed["rejoined"][0, 0] < 0.01


def test_ruling_out_what_it_is_known_to_be_still_gives_an_answer():
    _, changed = asked(some_joints(class_probabilities=certainly("cellulose_nitrate", 1)))
    assert 0 < changed["if-not-cellulose-nitrate"][0, 0] < 1


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
