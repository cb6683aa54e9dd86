"""The head of conservation changes what scoring assumes: a draft, its effect, a reason, a new set; and back."""

from __future__ import annotations

import re

import pytest

from media.base.models import JobState
from media.models import Event, Job
from survey.models import Joint, JointRisk, ObjectRisk, ParameterDraft, ParameterSet, RiskRun
from survey.risk.db.services import ensure_parameters, start_run
from survey.risk.db.services import parameters as services
from survey.risk.entries import entries
from survey.risk.web.parameter_forms import TABLES
from tests import builders

PAGE = "/settings/scoring/"
LOADS = f"{PAGE}tables/loads/"


@pytest.fixture(autouse=True)
def jobs_at_once(django_capture_on_commit_callbacks, db):
    """Everything asked for in a test is done when its request ends."""


def some_objects(count: int = 4) -> None:
    for stage in range(count):
        thing = builders.an_object(joints=1, height_mm=300, width_mm=200, mass_kg=2)
        joint = Joint.objects.get(restoration__object=thing)
        builders.an_assessment(thing, stages={joint: stage % 4})


def written(client, address: str, **changes: str) -> dict[str, str]:
    """The form of a table as the page holds it, with some entries changed."""
    code = address.rstrip("/").rpartition("/")[2]
    table = next(table for table in TABLES if table.code == code)
    form = client.get(address).context["form"]
    return {each.path: form[each.path].value() for each in table.entries} | changes


def a_draft(head, done, **changes: str) -> ParameterDraft:
    changes = changes or {"shocks.lift": "4"}
    answer = done(lambda: head.post(LOADS, written(head, LOADS, **changes)))
    assert answer.status_code == 302, answer.content.decode()
    return ParameterDraft.objects.get()


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.code)
def test_every_table_shows_its_values_and_takes_them_back_unchanged(head, table):
    address = f"{PAGE}tables/{table.code}/"
    page = head.get(address)
    assert page.status_code == 200 and table.question in page.content.decode().replace("&#x27;", "'")
    answer = head.post(address, written(head, address))
    assert answer.status_code == 422 and "Nothing differs" in answer.content.decode()
    assert not ParameterDraft.objects.exists()


def test_every_value_stands_in_one_table():
    shown = [each.path for table in TABLES for each in table.entries]
    assert sorted(shown) == sorted(entries()) and len(set(shown)) == len(shown)


def test_a_change_is_tried_out_and_nothing_of_the_trial_is_kept(head, done):
    some_objects()
    with_run = done(lambda: start_run(by=None, at=builders.NOW))
    before = list(ObjectRisk.objects.order_by("pk").values())
    draft = a_draft(head, done)
    assert draft.values == {"shocks.lift": 4.0}
    assert draft.effect["objects"] == draft.effect["of"] == 4
    assert list(ObjectRisk.objects.order_by("pk").values()) == before
    assert RiskRun.objects.get() == with_run[0]
    assert ParameterSet.objects.count() == 1
    page = head.get(f"{PAGE}drafts/{draft.pk}/").content.decode()
    assert "Peak acceleration: lift" in page and "Put it in force" in page


def test_the_effect_is_what_scoring_by_the_new_set_then_does(head, done):
    """The preview's numbers against the scores that a run makes once the draft is in force."""
    some_objects(6)
    builders.an_entry(exhibition := builders.an_exhibition(), joint_object := Joint.objects.first().restoration.object)
    from django.utils import timezone

    exhibition.milestones.filter(kind="opening").update(date=timezone.localdate() + timezone.timedelta(days=90))
    exhibition.milestones.exclude(kind="opening").delete()
    old, _ = done(lambda: start_run(by=None, at=timezone.now()))
    draft = a_draft(head, done, **{"strength.scatter": "1.5", "shocks.lift": "40"})
    moved = {line["object"]: line for line in draft.effect["moved"]}
    effect = draft.effect
    services.put_in_force(draft, name="Rough hands", reason="tried", by=None, at=timezone.now())
    new, _ = done(lambda: start_run(by=None, at=timezone.now()))
    was, becomes = ({str(row.object_id): row for row in ObjectRisk.objects.filter(run=run)} for run in (old, new))
    shifts = sorted(abs(becomes[pk].before_opening - was[pk].before_opening) for pk in was)
    assert max(shifts) > 0.001
    assert effect["chance_shift"][1] == pytest.approx(max(shifts), abs=1e-9)
    for pk, line in moved.items():
        assert line["chance_becomes"] == pytest.approx(becomes[pk].before_opening, abs=1e-9)
        assert (line["was"], line["becomes"]) == (was[pk].rank_by_weighted, becomes[pk].rank_by_weighted)
    assert str(joint_object.pk) in was


def test_putting_in_force_makes_a_new_numbered_set_with_name_reason_and_event(head, done):
    draft = a_draft(head, done)
    answer = done(
        lambda: head.post(f"{PAGE}drafts/{draft.pk}/adopt/", {"name": "Our lifts", "reason": "Measured here"})
    )
    made = ParameterSet.objects.get(number=2)
    assert answer["Location"] == f"{PAGE}sets/2/"
    assert (made.name, made.reason, made.values, made.adopted_by.role) == (
        "Our lifts", "Measured here", {"shocks.lift": 4.0}, "head",
    )  # fmt: skip
    event = Event.objects.get(verb="put in force")
    assert (event.was, event.became) == ({"shocks.lift": 2.0}, {"shocks.lift": 4.0})
    assert not ParameterDraft.objects.exists()


def test_scoring_goes_by_the_new_set_and_says_so(head, done):
    some_objects(2)
    draft = a_draft(head, done)
    data = {"name": "Our lifts", "reason": "Measured here", "score": "1"}
    answer = done(lambda: head.post(f"{PAGE}drafts/{draft.pk}/adopt/", data))
    assert answer["Location"] == "/ranking/"
    run = RiskRun.objects.get()
    assert run.parameters.number == 2 and run.finished_at
    assert "2 Our lifts" in head.get("/ranking/").content.decode()


@pytest.mark.parametrize(("data", "said"), [({"name": "x"}, "required"), ({"name": " ", "reason": "y"}, "required")])
def test_a_name_and_a_reason_are_required(head, done, data, said):
    draft = a_draft(head, done)
    answer = head.post(f"{PAGE}drafts/{draft.pk}/adopt/", data)
    assert answer.status_code == 422 and said in answer.content.decode()
    assert ParameterSet.objects.count() == 1


def test_nothing_comes_into_force_before_its_effect_is_known(head, done):
    draft = a_draft(head, done)
    ParameterDraft.objects.update(effect=None)
    answer = head.post(f"{PAGE}drafts/{draft.pk}/adopt/", {"name": "x", "reason": "y"})
    assert answer.status_code == 409 and "not worked out yet" in answer.content.decode()


def test_a_set_that_came_between_is_not_overwritten_unseen(head, done):
    draft = a_draft(head, done)
    ParameterSet.objects.create(number=2, name="Other", values={"first": 30}, adopted_at=builders.NOW)
    answer = head.post(f"{PAGE}drafts/{draft.pk}/adopt/", {"name": "x", "reason": "y"})
    assert answer.status_code == 409 and "2 Other came into force meanwhile" in answer.content.decode()
    assert "came into force meanwhile" in head.get(f"{PAGE}drafts/{draft.pk}/").content.decode()
    done(lambda: head.post(f"{PAGE}drafts/{draft.pk}/again/"))
    page = head.get(f"{PAGE}drafts/{draft.pk}/").content.decode()
    assert "came into force meanwhile" not in page and "Size of the group" in page


def test_a_draft_changed_further_is_tried_out_again(head, done):
    draft = a_draft(head, done)
    address = f"{PAGE}tables/bands/"
    data = written(head, f"{address}", first="30")
    done(lambda: head.post(f"{address}?draft={draft.pk}", data))
    draft.refresh_from_db()
    assert draft.values == {"shocks.lift": 4.0, "first": 30} and draft.effect["first"] == 30


def test_a_trial_overtaken_by_a_change_does_not_speak_for_the_new_values(head, done):
    draft = a_draft(head, done)
    old = draft.job
    Job.objects.filter(pk=old.pk).update(state=JobState.RUNNING)
    services.change_draft(draft, {"shocks.lift": 5.0}, by=None, at=builders.NOW)
    old.refresh_from_db()
    assert old.cancel_asked
    draft.refresh_from_db()
    assert draft.effect is None and draft.job != old


def test_throwing_a_draft_away_asks_first_and_leaves_all_as_it_was(head, done):
    draft = a_draft(head, done)
    address = f"{PAGE}drafts/{draft.pk}/throw-away/"
    assert "Throw this draft away?" in head.get(address).content.decode() and ParameterDraft.objects.exists()
    head.post(address)
    assert not ParameterDraft.objects.exists() and ParameterSet.objects.count() == 1
    assert Event.objects.filter(verb="thrown away").exists()
    assert head.get(f"{PAGE}drafts/{draft.pk}/").status_code == 404


def test_going_back_makes_a_new_set_that_equals_an_older(head, done):
    draft = a_draft(head, done)
    done(lambda: head.post(f"{PAGE}drafts/{draft.pk}/adopt/", {"name": "Our lifts", "reason": "Measured"}))
    answer = done(lambda: head.post(f"{PAGE}sets/1/again/"))
    back = ParameterDraft.objects.get()
    assert answer["Location"] == f"{PAGE}drafts/{back.pk}/" and back.values == {}
    assert "As set 1" in head.get(f"{PAGE}drafts/{back.pk}/").content.decode()
    done(lambda: head.post(f"{PAGE}drafts/{back.pk}/adopt/", {"name": "As set 1", "reason": "The lifts were wrong"}))
    sets = {made.number: made.values for made in ParameterSet.objects.all()}
    assert sets[3] == {} and sets[2] == {"shocks.lift": 4.0}
    history = head.get(f"{PAGE}sets/").content.decode()
    assert history.index("3 As set 1") < history.index("2 Our lifts") < history.index("1 Shipped defaults")
    assert "The lifts were wrong" in history


def test_a_table_goes_back_to_what_was_shipped(head, done):
    ensure_parameters(at=builders.NOW)
    ParameterSet.objects.create(number=2, name="x", values={"shocks.lift": 4.0, "first": 30}, adopted_at=builders.NOW)
    done(lambda: head.post(LOADS, {"shipped": "1"}))
    assert ParameterDraft.objects.get().values == {"first": 30}


@pytest.mark.parametrize(
    ("entry", "text", "said"),
    [
        ("shocks.lift", "0.5", "Must lie between 1 and 200"),
        ("shocks.lift", "fast", "Must be a number"),
        ("shocks.lift", "nan", "Must be a number"),
        ("shocks.lift", "", "required"),
        ("strength.ageing", "20", "must not grow from one stage to the next"),
    ],
)
def test_nonsense_is_refused_beside_its_value(head, entry, text, said):
    answer = head.post(LOADS, written(head, LOADS, **{entry: text}))
    assert answer.status_code == 422 and said.lower() in answer.content.decode().lower()
    assert not ParameterDraft.objects.exists()


def test_a_comma_and_per_cent_are_read_as_people_write_them(head, done):
    draft = a_draft(head, done, **{"shocks.lift": "2,5", "strength.ageing": "65 %"})
    assert draft.values == {"shocks.lift": 2.5, "strength.ageing": 0.65}


@pytest.mark.parametrize("who", ["reader", "surveyor", "conservator"])
def test_others_read_the_values_and_change_nothing(request, who):
    client = request.getfixturevalue(who)
    ensure_parameters(at=builders.NOW)
    page = client.get(LOADS).content.decode()
    assert "Peak acceleration" in page and "<input" not in re.sub(r"<input[^>]*(hidden|search)[^>]*>", "", page)
    assert client.post(LOADS, {"shocks.lift": "9"}).status_code in {400, 403}
    assert client.post(f"{PAGE}sets/1/again/").status_code == 403
    assert not ParameterDraft.objects.exists()


def test_the_page_of_an_unknown_table_or_set_says_so(head):
    assert head.get(f"{PAGE}tables/magic/").status_code == 404
    assert head.get(f"{PAGE}sets/99/").status_code == 404
    assert head.get(f"{LOADS}?draft=x").status_code == 404


def test_the_history_costs_the_same_for_one_set_and_for_fifty(head, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            assert head.get(f"{PAGE}sets/").status_code == 200
        return len(seen)

    ParameterSet.objects.create(number=1, name="x", values={}, adopted_at=builders.NOW)
    one = queries()
    ParameterSet.objects.bulk_create(
        ParameterSet(number=n, name=f"x{n}", values={"first": n}, adopted_at=builders.NOW) for n in range(2, 52)
    )
    assert queries() == one


def test_of_a_large_collection_a_sample_is_taken_and_said(head, done, monkeypatch):
    from survey.risk.db.services import trying

    monkeypatch.setattr(trying, "MOST", 3)
    some_objects(6)
    draft = a_draft(head, done)
    assert (draft.effect["objects"], draft.effect["of"]) == (3, 6)
    assert "drawn at random" in head.get(f"{PAGE}drafts/{draft.pk}/").content.decode()
    assert JointRisk.objects.count() == 0
