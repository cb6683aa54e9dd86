"""Taking an assessment: begun, answered, interrupted, taken back, frozen, corrected."""

from datetime import timedelta

import pytest

from media.base import jobs
from media.base.errors import Clash, FettleError
from media.base.models import Event, Job
from survey.condition.db import selectors, services
from survey.condition.db.models import AdhesiveEvidence, Assessment, Joint, JointSeen, Restoration, Sign
from survey.condition.db.services import Seen
from tests.builders import NOW, a_person, a_place, a_round, an_assessment, an_object

pytestmark = pytest.mark.django_db


@pytest.fixture
def me():
    return a_person()


def begun(me, jar=None, **fields):
    return services.begin_assessment(jar or an_object(), a_round(), by=me, at=NOW, **fields)


def joints_of(an_object):
    return list(Joint.objects.filter(restoration__object=an_object).order_by("label"))


def complete(assessment, me, *, seen=True):
    """Everything answered for an object that was restored."""
    values = services.UNREMARKABLE | {"old_restoration": "present"}
    services.answer(assessment, values, by=me, at=NOW)
    if seen:
        for joint in joints_of(assessment.object):
            services.see_joint(assessment, joint, stage=1, by=me, at=NOW)
    return assessment


def test_beginning_twice_continues_where_it_was_left(me):
    jar = an_object()
    first = begun(me, jar)
    services.answer(first, {"instability": "fair"}, by=me, at=NOW)
    again = begun(me, jar)
    assert again == first
    assert again.instability == "fair"


def test_two_surveyors_each_have_their_own_assessment(me):
    jar, other = an_object(), a_person()
    assert begun(me, jar) != begun(other, jar)


def test_the_look_is_timed_from_when_the_object_was_taken_up(me):
    assert begun(me, looked_from=NOW - timedelta(minutes=3)).started_at == NOW - timedelta(minutes=3)


@pytest.mark.parametrize("wrong", [timedelta(minutes=5), timedelta(days=-2)])
def test_a_clock_gone_wrong_is_not_believed(me, wrong):
    assert begun(me, looked_from=NOW + wrong).started_at == NOW


def test_an_object_that_left_the_register_is_not_surveyed(me):
    with pytest.raises(Clash, match="left the register"):
        begun(me, an_object(withdrawn_at=NOW))


def test_a_round_that_ended_takes_no_more(me):
    ended = services.end_round(a_round(), by=me, at=NOW)
    with pytest.raises(Clash, match="has ended"):
        services.begin_assessment(an_object(), ended, by=me, at=NOW)


def test_each_answer_is_one_event_with_what_it_was_and_became(me):
    assessment = begun(me)
    services.answer(assessment, {"handling": "care"}, by=me, at=NOW)
    event = Event.objects.get(verb="answered")
    assert event.was["fields"] == {"handling": ""}
    assert event.became["fields"] == {"handling": "care"}
    assert event.thread == str(assessment.object_id)


@pytest.mark.parametrize("values", [{"handling": "maybe"}, {"finished_at": NOW}, {"instability": ""}, {"found": None}])
def test_only_answers_that_are_offered_are_taken(me, values):
    with pytest.raises(FettleError):
        services.answer(begun(me), values, by=me, at=NOW)


def test_an_unremarkable_object_needs_one_answer_and_can_be_frozen(me):
    assessment = begun(me)
    services.answer(assessment, services.UNREMARKABLE, by=me, at=NOW)
    done = services.finish_assessment(assessment, by=me, at=NOW)
    assert done.finished_at == NOW
    assert selectors.latest_assessment(done.object_id) == done


def test_what_is_missing_is_said_in_words(me):
    assessment = begun(me, an_object(joints=1))
    with pytest.raises(services.NotComplete) as refused:
        services.finish_assessment(assessment, by=me, at=NOW)
    said = " ".join(refused.value.missing)
    for words in ("old restoration", "Grade instability", "Grade damage", "Grade disfigurement", "handled"):
        assert words in said
    assert Assessment.objects.get().finished_at is None


def test_every_joint_must_be_answered_even_if_not_seen(me):
    jar = an_object(joints=2)
    assessment = complete(begun(me, jar), me, seen=False)
    first, second = joints_of(jar)
    services.see_joint(assessment, first, stage=0, by=me, at=NOW)
    with pytest.raises(services.NotComplete, match="J2"):
        services.finish_assessment(assessment, by=me, at=NOW)
    services.see_joint(assessment, second, stage=None, answer="not_seen", by=me, at=NOW)
    services.finish_assessment(assessment, by=me, at=NOW)


def test_a_stage_below_what_the_signs_mean_is_refused(me):
    jar = an_object(joints=1)
    assessment = complete(begun(me, jar), me)
    services.note_sign(assessment, joints_of(jar)[0], "gap", Seen("present", 25), by=me, at=NOW)
    with pytest.raises(services.NotComplete, match="at least “failing joint”"):
        services.finish_assessment(assessment, by=me, at=NOW)


def test_no_restoration_against_the_record_needs_a_reason(me):
    jar = an_object(joints=1)
    assessment = begun(me, jar)
    services.answer(assessment, services.UNREMARKABLE, by=me, at=NOW)
    with pytest.raises(services.NotComplete, match="on record"):
        services.finish_assessment(assessment, by=me, at=NOW)
    services.answer(assessment, {"interpretation": "The record is about the jar beside it."}, by=me, at=NOW)
    services.finish_assessment(assessment, by=me, at=NOW)


def test_an_object_not_found_needs_no_grades_and_found_elsewhere_needs_the_place(me):
    gone, stray, place = begun(me), begun(me), a_place()
    services.answer(gone, {"found": "missing"}, by=me, at=NOW)
    services.finish_assessment(gone, by=me, at=NOW)
    services.answer(stray, services.UNREMARKABLE | {"found": "elsewhere"}, by=me, at=NOW)
    with pytest.raises(services.NotComplete, match="where the object was found"):
        services.finish_assessment(stray, by=me, at=NOW)
    services.answer(stray, {"place_found": place}, by=me, at=NOW)
    services.finish_assessment(stray, by=me, at=NOW)
    stray.object.refresh_from_db()
    assert stray.object.place == place


def test_not_seen_not_known_and_none_stay_three_answers(me):
    jar = an_object(joints=3)
    assessment = begun(me, jar)
    for joint, answer in zip(joints_of(jar), ("not_seen", "not_known", "none"), strict=True):
        services.note_sign(assessment, joint, "gap", Seen(answer), by=me, at=NOW)
    kept = dict(Sign.objects.values_list("joint__label", "answer"))
    assert kept == {"J1": "not_seen", "J2": "not_known", "J3": "none"}
    assert not JointSeen.objects.exists()  # none of them says a stage
    services.see_joint(assessment, joints_of(jar)[0], stage=None, answer="not_known", by=me, at=NOW)
    assert JointSeen.objects.get().answer == "not_known"


def test_a_sign_gives_a_joint_without_a_stage_the_least_that_it_implies(me):
    jar = an_object(joints=1)
    assessment = begun(me, jar)
    [joint] = joints_of(jar)
    services.note_sign(assessment, joint, "edge_lifting", Seen("present", 50), by=me, at=NOW)
    assert JointSeen.objects.get().stage == 2
    services.see_joint(assessment, joint, stage=3, by=me, at=NOW)
    services.note_sign(assessment, joint, "yellowing", Seen("present", 100), by=me, at=NOW)
    assert JointSeen.objects.get().stage == 3  # what a person said stays theirs


@pytest.mark.parametrize(
    ("code", "seen"),
    [
        ("rust", Seen("present")),
        ("gap", Seen("perhaps")),
        ("gap", Seen("present", 0)),
        ("gap", Seen("present", 101)),
        ("gap", Seen("none", 50)),
    ],
)
def test_what_is_no_sign_no_answer_or_no_extent_is_refused(me, code, seen):
    jar = an_object(joints=1)
    with pytest.raises(FettleError):
        services.note_sign(begun(me, jar), joints_of(jar)[0], code, seen, by=me, at=NOW)


def test_a_joint_of_another_object_is_refused(me):
    with pytest.raises(FettleError, match="another object"):
        services.see_joint(begun(me), joints_of(an_object(joints=1))[0], stage=1, by=me, at=NOW)


def test_restoration_joint_fill_and_paint_are_recorded_as_found(me):
    assessment = begun(me)
    shop = services.add_workshop(" Quayside  menders ", by=me, at=NOW)
    made = services.add_restoration(assessment, date_text="about 1950", workshop=shop, by=me, at=NOW)
    assert (made.year_earliest, made.year_latest) == (1945, 1955)
    joint = services.add_joint(assessment, made, {"part": "foot", "length_mm": "82.5"}, by=me, at=NOW)
    fill = services.add_fill(assessment, made, {"part": "rim", "material": "plaster"}, by=me, at=NOW)
    paint = services.add_overpaint(assessment, made, {"over_original": None}, by=me, at=NOW)
    assert [joint.label, fill.label, paint.label] == ["J1", "F1", "P1"]
    assert (joint.length_mm, joint.structural, paint.over_original) == (82.5, None, None)
    other = services.add_restoration(assessment, date_text="", by=me, at=NOW)
    assert services.add_joint(assessment, other, {"part": "handle"}, by=me, at=NOW).label == "J2"


@pytest.mark.parametrize(
    "values",
    [
        {"length_mm": 0},
        {"length_mm": "nan"},
        {"length_mm": "long"},
        {"wall_mm": 1e9},
        {"adhesive": "epoxy"},
        {"adhesive": "honey", "basis": "look"},
        {"structural": "yes"},
        {"label": "J9"},
    ],
)
def test_what_cannot_be_of_a_joint_is_refused_and_nothing_is_written(me, values):
    assessment = begun(me)
    made = services.add_restoration(assessment, by=me, at=NOW)
    with pytest.raises(FettleError):
        services.add_joint(assessment, made, values, by=me, at=NOW)
    assert not Joint.objects.exists()


def test_evidence_is_kept_apart_from_what_it_is_taken_to_mean(me):
    jar = an_object(joints=1)
    assessment = begun(me, jar)
    [joint] = joints_of(jar)
    services.add_evidence(assessment, joint, basis="uv", finding="greenish_yellow", by=me, at=NOW)
    joint.refresh_from_db()
    assert (joint.adhesive, joint.basis) == ("", "")
    assert joint.evidence.get().finding == "greenish_yellow"
    with pytest.raises(FettleError):
        services.add_evidence(assessment, joint, basis="uv", finding="acetone", by=me, at=NOW)


def test_a_joint_of_an_earlier_assessment_cannot_be_removed(me):
    jar = an_object(joints=1)
    [joint] = joints_of(jar)
    an_assessment(jar, stages={joint: 1})
    with pytest.raises(Clash, match="another assessment"):
        services.remove_thing(begun(me, jar), joint, by=me, at=NOW)
    assert Joint.objects.filter(pk=joint.pk).exists()


def whole(assessment):
    """All that an assessment says, for comparing before and after."""
    row = Assessment.objects.filter(pk=assessment.pk).values().get()
    joints = list(Joint.objects.order_by("label").values())
    seen = list(JointSeen.objects.filter(assessment=assessment).values("joint", "stage", "answer"))
    signs = list(Sign.objects.filter(assessment=assessment).order_by("code").values("joint", "code", "extent_percent"))
    evidence = list(AdhesiveEvidence.objects.values())
    return row, joints, seen, signs, evidence, Restoration.objects.count()


def test_every_kind_of_touch_can_be_taken_back_one_by_one(me):
    jar = an_object(joints=1)
    assessment = begun(me, jar)
    [joint] = joints_of(jar)
    at = NOW
    touches = [
        lambda: services.answer(assessment, services.UNREMARKABLE, by=me, at=at),
        lambda: services.answer(assessment, {"found": "elsewhere", "place_found": a_place()}, by=me, at=at),
        lambda: services.see_joint(assessment, joint, stage=2, by=me, at=at),
        lambda: services.note_sign(assessment, joint, "gap", Seen("present", 25), by=me, at=at),
        lambda: services.edit_thing(assessment, joint, {"length_mm": 12, "structural": True}, by=me, at=at),
        lambda: services.add_evidence(assessment, joint, basis="look", finding="hard_yellow", by=me, at=at),
        lambda: services.remove_thing(assessment, joint, by=me, at=at),
        lambda: services.add_restoration(assessment, date_text="1930s", by=me, at=at),
    ]
    states = [whole(assessment)]
    for touch in touches:
        touch()
        states.append(whole(assessment))
    for state in reversed(states[:-1]):
        assert whole(assessment) != state
        services.undo(assessment, by=me, at=at)
        assert whole(assessment) == state
    with pytest.raises(Clash, match="nothing left"):
        services.undo(assessment, by=me, at=at)


def test_a_touch_after_taking_back_is_taken_back_first(me):
    assessment = begun(me)
    services.answer(assessment, {"handling": "free"}, by=me, at=NOW)
    services.answer(assessment, {"handling": "care"}, by=me, at=NOW)
    services.undo(assessment, by=me, at=NOW)
    services.answer(assessment, {"handling": "do_not_lift"}, by=me, at=NOW)
    assert services.undo(assessment, by=me, at=NOW) == "handling: do not lift"
    assert services.undo(assessment, by=me, at=NOW) == "handling: may be lifted"


def test_discarding_takes_all_back_that_was_added(me):
    jar = an_object(joints=1)
    assessment = begun(me, jar)
    made = services.add_restoration(assessment, by=me, at=NOW)
    added = services.add_joint(assessment, made, {"part": "rim"}, by=me, at=NOW)
    services.see_joint(assessment, added, stage=1, by=me, at=NOW)
    services.edit_thing(assessment, joints_of(jar)[0], {"length_mm": 5}, by=me, at=NOW)
    services.discard_assessment(assessment, by=me, at=NOW)
    assert not Assessment.objects.exists()
    assert [joint.length_mm for joint in Joint.objects.all()] == [80]
    assert Restoration.objects.count() == 1
    assert Event.objects.filter(verb="discarded", thread=str(jar.pk)).exists()


def test_discarding_leaves_a_joint_that_another_surveyor_has_looked_at(me):
    jar, other = an_object(), a_person()
    mine, theirs = begun(me, jar), begun(other, jar)
    made = services.add_restoration(mine, by=me, at=NOW)
    joint = services.add_joint(mine, made, {}, by=me, at=NOW)
    services.see_joint(mine, joint, stage=1, by=me, at=NOW)
    services.see_joint(theirs, joint, stage=2, by=other, at=NOW)
    services.discard_assessment(mine, by=me, at=NOW)
    assert JointSeen.objects.get().assessment == theirs


def test_a_frozen_assessment_refuses_every_write(me):
    jar = an_object(joints=1)
    assessment = complete(begun(me, jar), me)
    services.finish_assessment(assessment, by=me, at=NOW)
    [joint] = joints_of(jar)
    before = whole(assessment)
    writes = [
        lambda: services.answer(assessment, {"handling": "care"}, by=me, at=NOW),
        lambda: services.see_joint(assessment, joint, stage=4, by=me, at=NOW),
        lambda: services.note_sign(assessment, joint, "gap", None, by=me, at=NOW),
        lambda: services.add_restoration(assessment, by=me, at=NOW),
        lambda: services.add_joint(assessment, joint.restoration, {}, by=me, at=NOW),
        lambda: services.edit_restoration(
            assessment, joint.restoration, date_text="", workshop=None, notes="", by=me, at=NOW
        ),
        lambda: services.remove_restoration(assessment, joint.restoration, by=me, at=NOW),
        lambda: services.edit_thing(assessment, joint, {"length_mm": 1}, by=me, at=NOW),
        lambda: services.remove_thing(assessment, joint, by=me, at=NOW),
        lambda: services.add_evidence(assessment, joint, basis="look", finding="hard_yellow", by=me, at=NOW),
        lambda: services.undo(assessment, by=me, at=NOW),
        lambda: services.discard_assessment(assessment, by=me, at=NOW),
        lambda: services.finish_assessment(assessment, by=me, at=NOW),
    ]
    for write in writes:
        with pytest.raises(Clash, match="frozen"):
            write()
    assert whole(assessment) == before


def test_a_correction_begins_with_all_the_old_one_said_and_takes_its_place(me):
    jar = an_object(joints=1)
    old = complete(begun(me, jar, looked_from=NOW - timedelta(minutes=9)), me)
    services.note_sign(old, joints_of(jar)[0], "yellowing", Seen("present", 50), by=me, at=NOW)
    old = services.finish_assessment(old, by=me, at=NOW)
    new = services.correct_assessment(old, by=me, at=NOW + timedelta(days=3))
    assert (new.corrects, new.started_at, new.instability) == (old, old.started_at, "good")
    assert new.signs.get().code == "yellowing"
    assert selectors.latest_assessment(jar.pk) == old
    services.see_joint(new, joints_of(jar)[0], stage=2, by=me, at=NOW)
    new = services.finish_assessment(new, by=me, at=NOW + timedelta(days=3))
    assert selectors.latest_assessment(jar.pk) == new
    assert old.joints_seen.get().stage == 1
    with pytest.raises(Clash, match="corrected already"):
        services.correct_assessment(old, by=me, at=NOW)


def test_a_correction_of_an_old_look_does_not_hide_a_newer_one(me):
    jar = an_object()
    old = an_assessment(jar, started_at=NOW - timedelta(days=900), surveyor=me, **services.UNREMARKABLE)
    newer = an_assessment(jar, started_at=NOW, surveyor=me, **services.UNREMARKABLE)
    correction = services.correct_assessment(old, by=me, at=NOW + timedelta(days=1))
    services.finish_assessment(correction, by=me, at=NOW + timedelta(days=1))
    assert selectors.latest_assessment(jar.pk) == newer


def test_a_correction_does_not_move_the_object_back_to_where_it_was_found_then(me):
    jar, then, since = an_object(), a_place(), a_place()
    values = services.UNREMARKABLE | {"found": "elsewhere", "place_found": then}
    old = services.answer(begun(me, jar), values, by=me, at=NOW)
    old = services.finish_assessment(old, by=me, at=NOW)
    jar.place = since
    jar.save()
    correction = services.correct_assessment(old, by=me, at=NOW)
    services.answer(correction, {"damage": "fair"}, by=me, at=NOW)
    services.finish_assessment(correction, by=me, at=NOW)
    jar.refresh_from_db()
    assert jar.place == since


def test_freezing_has_the_object_scored_again(me, monkeypatch, django_capture_on_commit_callbacks):
    asked = []
    monkeypatch.setitem(jobs._registry, "survey.risk.rescore", lambda work, *, objects: asked.extend(objects))
    assessment = begun(me)
    services.answer(assessment, services.UNREMARKABLE, by=me, at=NOW)
    with django_capture_on_commit_callbacks(execute=True):
        services.finish_assessment(assessment, by=me, at=NOW)
    assert asked == [str(assessment.object_id)]


def test_without_a_scoring_to_ask_freezing_goes_on(me, monkeypatch):
    monkeypatch.delitem(jobs._registry, "survey.risk.rescore", raising=False)
    assessment = begun(me)
    services.answer(assessment, services.UNREMARKABLE, by=me, at=NOW)
    services.finish_assessment(assessment, by=me, at=NOW)
    assert not Job.objects.exists()


@pytest.mark.parametrize("many", [1, 50])
def test_all_that_an_assessment_saw_takes_eight_queries(me, many, django_assert_num_queries):
    jar = an_object(joints=many)
    assessment = complete(begun(me, jar), me)
    with django_assert_num_queries(8):
        [restoration] = selectors.restorations_seen(assessment)
    assert len(restoration.joints) == many
