"""Each operation once, with its effect and its event, and kept whatever becomes of it."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from media.base.models import Event, Role
from survey.capture.db.services import Delivery, apply
from survey.capture.operations import canonical
from survey.models import Assessment, Conflict, Field, Joint, Operation
from tests.builders import NOW, a_person, a_place, an_assessment, an_object
from tests.survey.capture.tablets import Tablet, a_restoration, joint_seen, restored

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=8)


@pytest.fixture
def ana():
    return a_person(role=Role.SURVEYOR, username="ana")


@pytest.fixture
def ben():
    return a_person(role=Role.SURVEYOR, username="ben")


def deliver(*operations, by, at=LATER, sent_at=LATER):
    return [apply(operation, Delivery(by, at, sent_at)).status for operation in operations]


def test_an_assessment_is_added_with_all_that_it_says(ana):
    thing = an_object(joints=2, place=a_place())
    first, second = Joint.objects.order_by("label")
    campaign = a_restoration(workshop="Quay Street bench")
    new = joint_seen(
        "0d3c4a5e-0000-4000-8000-000000000001", 3, made={"part": "rim", "length_mm": 42, "structural": True},
        restoration=campaign["id"], signs={"gap": 25},
    )  # fmt: skip
    new["evidence"] = [{"basis": "look", "finding": "yellow", "note": ""}]
    told = restored(
        joint_seen(first, 1, signs={"yellowing": None}), joint_seen(second, None), new,
        restorations=[campaign], observation="A gap at the rim", handling="do_not_lift", seconds=90,
    )  # fmt: skip
    from survey.condition.db.selectors.book import newest

    new["evidence"][0]["finding"] = newest().findings["look"][0].code
    assert deliver(Tablet(ana).assesses(thing, **told), by=ana) == ["applied"]

    made = Assessment.objects.get()
    assert (made.surveyor, made.handling, made.observation) == (ana, "do_not_lift", "A gap at the rim")
    assert made.finished_at - made.started_at == timedelta(seconds=90)
    stages = {seen.joint.label: (seen.stage, seen.answer) for seen in made.joints_seen.select_related("joint")}
    assert stages == {"J1": (1, "seen"), "J2": (None, "not_seen"), "J3": (3, "seen")}
    added = Joint.objects.get(label="J3")
    assert (added.length_mm, added.part, added.structural) == (42, "rim", True)
    assert added.restoration.workshop.name == "Quay Street bench"
    assert added.evidence.count() == 1
    assert made.operation.state == "applied"
    assert Event.objects.filter(thread=str(thing.pk), verb="finished", by=ana).count() == 1


def test_the_same_operation_however_often_acts_once(ana, ben):
    thing = an_object()
    told = Tablet(ana).assesses(thing)
    again = json.loads(json.dumps(told))
    assert deliver(told, again, by=ana) == ["applied", "already had"]
    assert deliver(dict(reversed(told.items())), by=ben) == ["already had"]
    assert Assessment.objects.count() == Operation.objects.count() == 1


def test_what_came_is_kept_as_it_came(ana):
    told = Tablet(ana).assesses(an_object(), observation="Čaj, 茶, \u2028")
    deliver(told, by=ana)
    assert json.loads(Operation.objects.get().raw) == told


def test_the_same_id_with_another_body_is_kept_apart_for_a_person(ana):
    thing = an_object()
    told = Tablet(ana).assesses(thing)
    other = told | {"body": told["body"] | {"handling": "do_not_lift"}}
    assert deliver(told, other, other, by=ana) == ["applied", "held", "held"]
    assert Assessment.objects.get().handling == "free"
    kept = Operation.objects.get(clash=True)
    assert kept.raw == canonical(other) and "same id" in kept.reason
    assert Event.objects.filter(verb="held", subject_id=str(kept.pk)).count() == 1


def test_a_tablet_put_back_from_a_copy_uses_a_place_again_and_both_are_kept(ana):
    tablet = Tablet(ana)
    first = tablet.assesses(an_object())
    second = Tablet(ana, name=tablet.id).assesses(an_object())
    assert first["sequence"] == second["sequence"]
    assert deliver(first, second, by=ana) == ["applied", "held"]
    assert "put back from a copy" in Operation.objects.get(clash=True).reason


def test_two_surveyors_on_one_object_make_two_assessments(ana, ben):
    thing = an_object()
    one, two = Tablet(ana).assesses(thing), Tablet(ben).assesses(thing, handling="do_not_lift")
    assert deliver(one, two, by=ana) == ["applied", "applied"]
    assert set(thing.assessments.values_list("surveyor__username", "handling")) == {
        ("ana", "free"), ("ben", "do_not_lift")
    }  # fmt: skip


def test_whoever_delivers_the_work_stays_with_whoever_did_it(ana, ben):
    ana.is_active = False
    ana.save()
    deliver(Tablet(ana).assesses(an_object()), by=ben)
    row = Operation.objects.get()
    assert (row.made_by, row.delivered_by, row.assessment.surveyor) == (ana, ben, ana)
    assert set(Event.objects.filter(subject_kind="survey.assessment").values_list("by__username", flat=True)) == {"ana"}


@pytest.mark.parametrize("person", ["nobody", "reader"])
def test_work_of_somebody_who_cannot_have_done_it_waits_for_a_person(ana, person):
    who = a_person(role=Role.READER)
    told = Tablet(who).assesses(an_object()) | ({"made_by": 999_999} if person == "nobody" else {})
    assert deliver(told, by=ana) == ["held"]
    assert Assessment.objects.count() == 0


def test_an_assessment_open_at_a_desk_is_left_alone(ana):
    thing = an_object()
    at_desk = an_assessment(thing, finished=False, surveyor=ana, observation="half said")
    assert deliver(Tablet(ana).assesses(thing), by=ana) == ["applied"]
    at_desk.refresh_from_db()
    assert at_desk.finished_at is None and at_desk.observation == "half said"
    assert thing.assessments.count() == 2


def test_a_withdrawn_object_keeps_what_was_seen_of_it_for_a_person(ana):
    thing = an_object(withdrawn_at=NOW)
    assert deliver(Tablet(ana).assesses(thing), by=ana) == ["held"]
    assert "has left the register" in Operation.objects.get().reason


def test_an_incomplete_assessment_waits_and_says_what_is_missing(ana):
    assert deliver(Tablet(ana).assesses(an_object(), handling=""), by=ana) == ["held"]
    assert Operation.objects.get().reason == "Say how the object may be handled."
    assert Assessment.objects.count() == 0


def test_a_part_that_another_tablet_added_meanwhile_keeps_nobody_from_finishing(ana, ben):
    thing = an_object()
    campaigns = [a_restoration(), a_restoration()]
    ids = ["0d3c4a5e-0000-4000-8000-00000000000a", "0d3c4a5e-0000-4000-8000-00000000000b"]
    told = [
        Tablet(who).assesses(
            thing, **restored(joint_seen(name, 2, made={}, restoration=each["id"]), restorations=[each])
        )
        for who, name, each in zip((ana, ben), ids, campaigns, strict=True)
    ]
    assert deliver(*told, by=ana) == ["applied", "conflict"]
    assert Joint.objects.count() == 2
    flagged = Conflict.objects.get()
    assert flagged.kind == "parts" and {side["who"] for side in flagged.sides} == {"ana", "ben"}


def test_a_fact_changed_by_one_person_is_written_with_its_event(ana):
    an_object(joints=1)
    joint = Joint.objects.get()
    assert deliver(Tablet(ana).changes(joint, "length_mm", 95, was=80), by=ana) == ["applied"]
    joint.refresh_from_db()
    assert joint.length_mm == 95
    event = Event.objects.get(verb="changed")
    assert (event.by, event.was, event.became) == (ana, {"length_mm": 80.0}, {"length_mm": 95.0})


def test_two_people_unaware_of_each_other_leave_both_values_and_a_flag(ana, ben):
    an_object(joints=1)
    joint = Joint.objects.get()
    one = Tablet(ana).changes(joint, "length_mm", 95, was=80)
    two = Tablet(ben).changes(joint, "length_mm", 60, was=80)
    assert deliver(one, two, by=ana) == ["applied", "conflict"]
    assert {(side["who"], side["value"]) for side in Conflict.objects.get().sides} == {("ana", 95.0), ("ben", 60.0)}


def test_the_same_value_from_two_people_is_no_disagreement(ana, ben):
    an_object(joints=1)
    joint = Joint.objects.get()
    told = [Tablet(who).changes(joint, "structural", True, was=None) for who in (ana, ben)]
    assert deliver(*told, by=ana) == ["applied", "applied"]
    assert not Conflict.objects.exists()


def test_an_edit_that_knows_the_other_simply_follows_it(ana, ben):
    an_object(joints=1)
    joint = Joint.objects.get()
    one = Tablet(ana).changes(joint, "length_mm", 95, was=80)
    two = Tablet(ben).changes(joint, "length_mm", 60, was=95, after=[one["id"]])
    assert deliver(one, two, by=ana) == ["applied", "applied"]
    joint.refresh_from_db()
    assert joint.length_mm == 60 and not Conflict.objects.exists()


def test_edits_of_one_tablet_count_in_its_own_order_whichever_comes_first(ana):
    an_object(joints=1)
    joint, tablet = Joint.objects.get(), Tablet(ana)
    one = tablet.changes(joint, "length_mm", 95, was=80)
    two = tablet.changes(joint, "length_mm", 60, was=80, after=[one["id"]])
    assert deliver(two, one, by=ana) == ["applied", "applied"]
    joint.refresh_from_db()
    assert joint.length_mm == 60 and not Conflict.objects.exists()


def test_what_was_written_at_a_desk_meanwhile_is_not_written_over(ana):
    an_object(joints=1)
    joint = Joint.objects.get()
    Joint.objects.update(length_mm=70)
    assert deliver(Tablet(ana).changes(joint, "length_mm", 95, was=80), by=ana) == ["conflict"]
    joint.refresh_from_db()
    assert joint.length_mm == 70
    assert {(side["who"], side["value"]) for side in Conflict.objects.get().sides} == {
        ("ana", 95.0),
        ("at a desk", 70.0),
    }


def test_an_object_moved_in_the_register_meanwhile_stays_there_until_a_person_decides(ana):
    here, there = a_place(), a_place()
    thing = an_object(place=here)
    told = Tablet(ana).assesses(thing)
    thing.place = there
    thing.save()
    assert deliver(told, by=ana) == ["conflict"]
    thing.refresh_from_db()
    assert thing.place == there and thing.assessments.count() == 1


def test_two_people_finding_an_object_in_two_places_are_both_kept(ana, ben):
    thing, one, two = an_object(place=a_place()), a_place(), a_place()
    told = [
        Tablet(who).assesses(thing, found="elsewhere", place_found=str(place.pk))
        for who, place in ((ana, one), (ben, two))
    ]
    assert deliver(*told, by=ana) == ["applied", "conflict"]
    thing.refresh_from_db()
    assert thing.place == two and thing.moves.count() == 2
    assert len(Conflict.objects.get().sides) == 2


def test_a_fact_of_a_part_that_is_not_here_yet_waits_for_it(ana):
    thing, tablet, campaign = an_object(), Tablet(ana), a_restoration()
    name = "0d3c4a5e-0000-4000-8000-00000000000c"
    part = joint_seen(name, 0, made={"length_mm": 30}, restoration=campaign["id"])
    first = tablet.assesses(thing, **restored(part, restorations=[campaign]))
    second = tablet.changes(name, "length_mm", 33, was=30, thing=thing)
    assert deliver(second, first, second, by=ana) == ["held", "applied", "already had"]
    assert Joint.objects.get().length_mm == 33


def test_an_older_version_is_brought_up_to_date_and_a_newer_one_waits(ana, monkeypatch):
    from survey.capture import operations

    told = Tablet(ana).assesses(an_object())
    newer = Tablet(ana).assesses(an_object()) | {"schema_version": 2, "kind": "of a later day"}
    assert deliver(newer, by=ana) == ["held"]
    assert "brought up to date" in Operation.objects.get().reason

    def rename(data):
        body = dict(data["body"])
        body["observation"] = body.pop("seen")
        return data | {"body": body}

    older = told | {"body": {("seen" if k == "observation" else k): v for k, v in told["body"].items()}}
    older["body"]["seen"] = "Craquelure"
    monkeypatch.setattr(operations, "SCHEMA_VERSION", 2)
    monkeypatch.setattr(operations, "UPGRADES", {1: rename})
    assert deliver(older, by=ana) == ["applied"]
    assert Assessment.objects.get().observation == "Craquelure"


def test_looks_follow_each_other_as_the_server_took_them_in_whatever_the_clocks_say(ana, ben):
    thing = an_object()
    wrong = Tablet(ana, ahead=timedelta(days=3650))
    one, two = wrong.assesses(thing), Tablet(ben).assesses(thing, handling="care")
    deliver(one, by=ana, sent_at=LATER)  # its clock was set right in between: the age makes no sense
    deliver(two, by=ben)
    in_order = thing.assessments.order_by("started_at").values_list("handling", flat=True)
    assert list(in_order) == ["free", "care"]
    assert Assessment.objects.order_by("-started_at")[0].finished_at <= LATER + timedelta(seconds=1)


def test_of_one_tablet_a_late_arrival_goes_before_what_was_made_later(ana):
    thing, tablet = an_object(), Tablet(ana)
    one, two = tablet.assesses(thing), tablet.assesses(thing, handling="care")
    deliver(two, one, by=ana)
    assert list(thing.assessments.order_by("started_at").values_list("handling", flat=True)) == ["free", "care"]


def test_a_wrong_clock_that_keeps_going_wrong_gives_the_right_time(ana):
    thing = an_object()
    told = Tablet(ana, ahead=timedelta(days=-3650)).assesses(thing)
    deliver(told, by=ana, sent_at=LATER - timedelta(days=3650))
    assert Operation.objects.get().happened_at == NOW + timedelta(minutes=1)


def test_fields_are_spoken_of_apart(ana, ben):
    an_object(joints=1)
    joint = Joint.objects.get()
    one = Tablet(ana).changes(joint, "length_mm", 95, was=80)
    two = Tablet(ben).changes(joint, "part", "rim", was="foot")
    assert deliver(one, two, by=ana) == ["applied", "applied"]
    assert Field.objects.count() == 2 and not Conflict.objects.exists()


def test_an_object_found_elsewhere_and_then_there_counts_as_one_person_going_on(ana):
    """Of one tablet the later look may arrive first, and says where "here" is by then."""
    shelf, found = a_place(), a_place()
    thing, tablet = an_object(place=shelf), Tablet(ana)
    one = tablet.assesses(thing, found="elsewhere", place_found=str(found.pk))
    two = tablet.assesses(thing, after=[one["id"]])
    two["based_on"]["here"] = str(found.pk)
    assert deliver(two, one, by=ana) == ["applied", "applied"]
    thing.refresh_from_db()
    assert thing.place == found and not Conflict.objects.exists()


def test_who_knew_a_value_from_a_desk_goes_on_from_it_and_disagrees_only_with_the_other(ana, ben):
    """A pack holds what a desk wrote before that has a name of its own."""
    an_object(joints=1)
    joint = Joint.objects.get()
    unaware = Tablet(ana).changes(joint, "length_mm", 95, was=80)
    Joint.objects.update(length_mm=70)
    aware = Tablet(ben).changes(joint, "length_mm", 71, was=70)
    assert deliver(unaware, aware, by=ana) == ["conflict", "conflict"]
    assert {side["value"] for side in Conflict.objects.get().sides} == {95.0, 71.0}


def test_what_a_desk_wrote_stands_also_where_a_tablet_says_the_same(ana, ben):
    an_object(joints=1)
    joint = Joint.objects.get()
    Joint.objects.update(length_mm=70)
    same, other = (
        Tablet(ana).changes(joint, "length_mm", 70, was=80),
        Tablet(ben).changes(joint, "length_mm", 95, was=80),
    )
    assert deliver(same, other, by=ana) == ["applied", "conflict"]
    joint.refresh_from_db()
    assert joint.length_mm == 70
    assert {side["value"] for side in Conflict.objects.get().sides} == {70.0, 95.0}
