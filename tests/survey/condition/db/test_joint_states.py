"""What the scoring and the hours are told about joints."""

from datetime import timedelta

import pytest

from survey.condition.db.models import AdhesiveEvidence, Fill, Joint, JointSeen, Sign
from survey.condition.db.selectors import drivers, joint_states
from survey.register.db.models import Object
from tests.builders import NOW, an_assessment, an_object

pytestmark = pytest.mark.django_db


def joints_of(an_object):
    return list(Joint.objects.filter(restoration__object=an_object).order_by("label"))


def test_each_joint_comes_with_its_looks_in_order_of_time():
    jar = an_object(joints=1)
    [joint] = joints_of(jar)
    an_assessment(jar, stages={joint: 2}, started_at=NOW)
    an_assessment(jar, stages={joint: 1}, started_at=NOW - timedelta(days=700))
    states = joint_states()
    assert [row.id for row in states.joints] == [joint.pk]
    assert [row.stage for row in states.visits] == [1, 2]


def test_an_unfinished_look_does_not_count():
    jar = an_object(joints=1)
    an_assessment(jar, finished=False, stages={joints_of(jar)[0]: 4})
    assert joint_states().visits == []


def test_a_corrected_look_is_replaced_by_its_correction():
    jar = an_object(joints=1)
    [joint] = joints_of(jar)
    wrong = an_assessment(jar, stages={joint: 4})
    an_assessment(jar, stages={joint: 1}, corrects=wrong)
    assert [row.stage for row in joint_states().visits] == [1]


def test_a_correction_not_yet_finished_leaves_the_old_look_standing():
    jar = an_object(joints=1)
    [joint] = joints_of(jar)
    wrong = an_assessment(jar, stages={joint: 4})
    an_assessment(jar, stages={joint: 1}, corrects=wrong, finished=False)
    assert [row.stage for row in joint_states().visits] == [4]


def test_a_joint_not_seen_has_a_look_without_a_stage():
    jar = an_object(joints=1)
    [joint] = joints_of(jar)
    JointSeen.objects.create(assessment=an_assessment(jar), joint=joint, stage=None, answer="not_seen")
    [visit] = joint_states().visits
    assert (visit.stage, visit.answer) == (None, "not_seen")


def test_only_signs_present_at_the_last_look_are_told():
    jar = an_object(joints=1)
    [joint] = joints_of(jar)
    before = an_assessment(jar, stages={joint: 1}, started_at=NOW - timedelta(days=700))
    now = an_assessment(jar, stages={joint: 3}, started_at=NOW)
    Sign.objects.create(assessment=before, joint=joint, code="yellowing", answer="present", extent_percent=100)
    Sign.objects.create(assessment=now, joint=joint, code="gap", answer="present", extent_percent=50)
    Sign.objects.create(assessment=now, joint=joint, code="movement", answer="not_seen")
    assert [row[1:] for row in joint_states().signs] == [("gap", 50)]


def test_joints_taken_down_and_objects_withdrawn_are_left_out():
    jar, gone = an_object(joints=2), an_object(joints=1, withdrawn_at=NOW)
    taken_down, stays = joints_of(jar)
    Joint.objects.filter(pk=taken_down.pk).update(ended_at=NOW)
    AdhesiveEvidence.objects.create(joint=joints_of(gone)[0], basis="look", finding="yellow_shrunk_film", at=NOW)
    states = joint_states()
    assert [row.id for row in states.joints] == [stays.pk]
    assert states.evidence == []


def test_some_objects_can_be_asked_for():
    jar, other = an_object(joints=1), an_object(joints=1)
    an_assessment(other, stages={joints_of(other)[0]: 1})
    states = joint_states([jar.pk])
    assert [row.object_id for row in states.joints] == [jar.pk]
    assert states.visits == []


@pytest.mark.parametrize("many", [1, 50])
def test_the_states_of_all_joints_take_five_queries(many, django_assert_num_queries):
    for _ in range(many):
        jar = an_object(joints=2)
        an_assessment(jar, stages=dict.fromkeys(joints_of(jar), 2))
    with django_assert_num_queries(5):
        joint_states()
    with django_assert_num_queries(5):
        drivers(Object.objects.all())


def test_drivers_count_joints_lengths_areas_and_sherds():
    jar = an_object(joints=3)
    first, *rest = joints_of(jar)
    an_assessment(jar, stages={first: 2, rest[0]: 1, rest[1]: 0}, old_restoration="present")
    Fill.objects.create(restoration=first.restoration, label="F1", area_cm2=6)
    found = drivers([jar.pk])[jar.pk]
    assert found.all.joints == 3
    assert found.all.joint_length_cm == pytest.approx(24)  # three joints of 80 mm
    assert found.all.fill_area_cm2 == pytest.approx(6)
    assert found.all.paint_area_cm2 == 0
    assert found.all.sherds == 4
    assert (found.failing.joints, found.failing.joint_length_cm, found.failing.sherds) == (1, 8, 2)
    assert found.failing.fill_area_cm2 == pytest.approx(2)


def test_an_unmeasured_length_is_not_known_rather_than_nothing():
    jar = an_object(joints=2)
    Joint.objects.filter(restoration__object=jar).update(length_mm=None)
    assert drivers([jar.pk])[jar.pk].all.joint_length_cm is None


def test_no_old_restoration_drives_nothing_but_not_known_is_not_known():
    none, unsure, never = an_object(), an_object(), an_object()
    an_assessment(none, old_restoration="none")
    an_assessment(unsure, old_restoration="not_known")
    found = drivers([none.pk, unsure.pk, never.pk])
    assert found[none.pk].all.joints == 0
    assert found[unsure.pk].all.joints is None
    assert never.pk not in found
