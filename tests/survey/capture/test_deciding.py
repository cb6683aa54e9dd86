"""What people decide about tablets: which side stands, what is taken in, what is set aside, and who said so."""

from __future__ import annotations

from datetime import timedelta

import pytest

from media.base.models import Event, Role
from survey.capture.db.services import Delivery, apply
from survey.models import Assessment, Conflict, Joint, Object, Operation
from tests.builders import NOW, a_person, a_place, an_object
from tests.survey.capture.tablets import Tablet, a_restoration, joint_seen, restored

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=8)


@pytest.fixture
def ana():
    return a_person(role=Role.SURVEYOR, username="ana", first_name="Ana")


@pytest.fixture
def ben():
    return a_person(role=Role.SURVEYOR, username="ben", first_name="Ben")


def deliver(*operations, by):
    return [apply(operation, Delivery(by, LATER, LATER)).status for operation in operations]


def disputed(ana, ben, *, length=(95, 60)):
    thing = an_object(joints=1)
    joint = Joint.objects.get(restoration__object=thing)
    told = [Tablet(w).changes(joint, "length_mm", v, was=80) for w, v in zip((ana, ben), length, strict=True)]
    deliver(*told, by=ana)
    return joint, Conflict.objects.get(object=thing)


def test_both_sides_are_shown_and_the_chosen_one_stands_with_its_author(conservator, ana, ben):
    joint, conflict = disputed(ana, ben)
    shown = " ".join(conservator.get("/capture/reconcile/").content.decode().replace("\xa0", " ").split())
    assert "95 mm" in shown and "60 mm" in shown and "Ana" in shown and "Ben" in shown
    edit = next(side["edit"] for side in conflict.sides if side["value"] == 95)
    answer = conservator.post(f"/capture/reconcile/{conflict.pk}/", {"edit": edit, "note": "Measured again"})
    assert answer.status_code == 302
    joint.refresh_from_db()
    conflict.refresh_from_db()
    assert joint.length_mm == 95
    assert (conflict.state, conflict.decision, conflict.note) == ("decided", {"value": 95.0}, "Measured again")
    assert Event.objects.get(verb="decided").by == conflict.decided_by
    assert "Nobody disagrees" in conservator.get("/capture/reconcile/").content.decode()


def test_deciding_twice_is_refused(conservator, ana, ben):
    _, conflict = disputed(ana, ben)
    for status in (302, 409):
        answer = conservator.post(f"/capture/reconcile/{conflict.pk}/", {"edit": conflict.sides[0]["edit"]})
        assert answer.status_code == status


def test_a_value_that_nobody_said_cannot_be_chosen(conservator, ana, ben):
    _, conflict = disputed(ana, ben)
    assert conservator.post(f"/capture/reconcile/{conflict.pk}/", {"edit": "x"}).status_code == 400


def test_an_edit_that_did_not_know_the_decision_opens_the_question_anew(conservator, ana, ben):
    joint, conflict = disputed(ana, ben)
    conservator.post(f"/capture/reconcile/{conflict.pk}/", {"edit": conflict.sides[0]["edit"]})
    late = Tablet(a_person(role=Role.SURVEYOR)).changes(joint, "length_mm", 33, was=80)
    assert deliver(late, by=ana) == ["conflict"]
    assert Conflict.objects.filter(state="open").count() == 1


def test_surveyors_may_look_and_not_decide(surveyor, ana, ben):
    _, conflict = disputed(ana, ben)
    assert surveyor.get("/capture/reconcile/").status_code == 200
    assert surveyor.post(f"/capture/reconcile/{conflict.pk}/", {"edit": ""}).status_code == 403


def test_parts_recorded_by_two_are_looked_at_and_both_stay(conservator, ana, ben):
    thing = an_object()
    for who, last in ((ana, "a"), (ben, "b")):
        campaign = a_restoration()
        part = joint_seen(f"0d3c4a5e-0000-4000-8000-00000000000{last}", 1, made={}, restoration=campaign["id"])
        deliver(Tablet(who).assesses(thing, **restored(part, restorations=[campaign])), by=ana)
    conflict = Conflict.objects.get()
    assert conservator.post(f"/capture/reconcile/{conflict.pk}/", {"note": "Two joints"}).status_code == 302
    conflict.refresh_from_db()
    assert (conflict.state, Joint.objects.count()) == ("decided", 2)


def test_an_object_that_no_list_holds_is_added_and_what_was_seen_of_it_taken_in(conservator, ana):
    place, tablet = a_place(), Tablet(ana)
    found = tablet.finds("Q 17", place.pk)
    seen = tablet.assesses(found["object_id"], place=place.pk, after=[found["id"]])
    assert deliver(found, seen, by=ana) == ["held", "held"]
    row = Operation.objects.get(kind="unlisted")
    assert "Found on a shelf: Q 17" in conservator.get("/capture/reconcile/").content.decode()
    conservator.post(f"/capture/waiting/{row.pk}/", {"what": "add"})
    thing = Object.objects.get(number="Q 17")
    assert thing.place == place and thing.assessments.get().surveyor == ana
    assert not Operation.objects.filter(state="held").exists()


def test_an_object_that_no_list_holds_is_one_of_the_register_after_all(conservator, ana):
    thing, place, tablet = an_object(number="1931.44"), a_place(), Tablet(ana)
    found = tablet.finds("1931.44 a", place.pk)
    deliver(found, tablet.assesses(found["object_id"], place=place.pk), by=ana)
    row = Operation.objects.get(kind="unlisted")
    conservator.post(f"/capture/waiting/{row.pk}/", {"what": "name", "number": "1931.44"})
    thing.refresh_from_db()
    assert thing.place == place and thing.assessments.count() == 1


def test_what_waits_is_taken_in_once_its_reason_is_gone(conservator, ana):
    thing = an_object(withdrawn_at=NOW)
    deliver(Tablet(ana).assesses(thing), by=ana)
    row = Operation.objects.get()
    conservator.post(f"/capture/waiting/{row.pk}/", {"what": "take_in"})
    assert Assessment.objects.count() == 0
    thing.withdrawn_at = None
    thing.save()
    conservator.post(f"/capture/waiting/{row.pk}/", {"what": "take_in"})
    row.refresh_from_db()
    assert row.state == "applied" and row.assessment.surveyor == ana and row.decided_by.role == Role.CONSERVATOR


def test_one_kept_apart_for_its_place_in_the_order_can_be_let_in(conservator, ana):
    tablet = Tablet(ana)
    deliver(tablet.assesses(an_object()), Tablet(ana, name=tablet.id).assesses(an_object()), by=ana)
    row = Operation.objects.get(clash=True)
    conservator.post(f"/capture/waiting/{row.pk}/", {"what": "take_in"})
    assert Assessment.objects.count() == 2


def test_what_is_set_aside_stays_as_it_came_with_the_reason(conservator, ana):
    told = Tablet(ana).assesses(an_object(withdrawn_at=NOW))
    deliver(told, by=ana)
    row = Operation.objects.get()
    assert conservator.post(f"/capture/waiting/{row.pk}/", {"what": "set_aside", "reason": " "}).status_code == 400
    conservator.post(f"/capture/waiting/{row.pk}/", {"what": "set_aside", "reason": "Sold"})
    row.refresh_from_db()
    assert (row.state, row.reason) == ("set_aside", "Sold") and told["id"] in row.raw
    assert deliver(told, by=ana) == ["already had"]
    assert conservator.post(f"/capture/waiting/{row.pk}/", {"what": "take_in"}).status_code == 409


def test_the_list_asks_the_same_number_of_questions_for_one_and_for_many(
    conservator, ana, ben, django_assert_num_queries, django_assert_max_num_queries
):
    disputed(ana, ben)
    deliver(Tablet(ana).finds("Q 0"), by=ana)
    with django_assert_max_num_queries(14) as counted:
        conservator.get("/capture/reconcile/")
    for i in range(12):
        disputed(ana, ben)
        deliver(Tablet(ana).finds(f"Q {i + 1}"), by=ana)
    with django_assert_num_queries(len(counted)):
        assert conservator.get("/capture/reconcile/").content.decode().count("Let this one stand") == 13


def test_an_empty_list_says_that_all_is_well(reader):
    assert "Nothing: every record" in reader.get("/capture/reconcile/").content.decode()
