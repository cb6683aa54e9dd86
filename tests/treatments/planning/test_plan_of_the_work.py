"""Making a plan: what objects offer, the plan's validity, pins, adapting, stopping, being killed."""

from __future__ import annotations

import json
from datetime import timedelta
from io import StringIO
from uuid import UUID

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from media.base import jobs
from media.base.errors import FettleError
from media.base.models import Event, Job, JobState
from survey.models import ObjectRisk
from tests import builders
from tests.reference.plan_checker import check
from tests.treatments import checklists
from treatments.models import Leave, Plan, PlannedStep, StaffMember
from treatments.options.db import services as options
from treatments.planning import solve
from treatments.planning.db import jobs as planning_jobs
from treatments.planning.db import selectors, services
from treatments.planning.effects import DEFAULTS, Effect, efficient


@pytest.fixture
def exhibition(db):
    """A small department with an exhibition in 90 days: two people, a scored checklist of six."""
    made = checklists.an_exhibition()
    checklists.a_member()
    checklists.a_member("Bob", skills=["examine", "photograph", "fill"])
    checklists.benches()
    stages = [(2, 0), (3, 3, 1), (4, 3), (0,), (2, 2), (None,)]
    things = [checklists.listed(made, *each, entry={"importance": 2 + n % 4}) for n, each in enumerate(stages)]
    checklists.scored(*things, band="before_opening")
    return made


def asked(**said) -> tuple[Plan, Job]:
    return services.start_plan(by=None, at=timezone.now(), **{"seconds": 1.0} | said)


def where(plan: Plan, thing=None) -> set[tuple]:
    steps = plan.steps.filter(object_id=thing) if thing else plan.steps
    return set(steps.values_list("object_id", "code", "staff_id", "starts"))


def levels_offered(exhibition, **weeks) -> dict[str, list[str]]:
    work = selectors.gather_work(exhibition, timezone.localtime().replace(tzinfo=None))
    there = selectors.offer(work, **{"mandatory_weeks": 2, "other_weeks": 1} | weeks)
    return {thing["id"]: [level["name"] for level in thing["levels"]] for thing in there.instance["objects"]}


def test_a_plan_obeys_every_rule_of_the_independent_checker(exhibition):
    plan = checklists.planned()
    offer = selectors.offer_for(plan)
    core = selectors.as_core(plan, offer)
    errors, benefit, mandatory, of = check(offer.instance, core)
    assert errors == [] and benefit == plan.benefit > 0
    assert (mandatory, of) == (plan.mandatory_planned, plan.mandatory) and of > 0
    assert 0 < plan.share <= 1 and plan.finished_at and plan.hours > 0
    length = {
        (one["id"], step["id"]): step["q"]
        for one in offer.instance["objects"]
        for lv in one["levels"]
        for step in lv["steps"]
    }
    for step in plan.steps.all():
        assert step.ends - step.starts == length[str(step.object_id), step.code] * timedelta(minutes=15)
    assert all(step.ends > step.starts >= plan.made_at - timedelta(minutes=15) for step in plan.steps.all())


def test_the_same_seed_and_record_give_the_same_plan(exhibition, monkeypatch):
    monkeypatch.setattr(solve, "PATIENCE", 100.0)  # a busy machine's clock must not end the search
    at = timezone.now()
    plans = []
    for _ in range(2):
        row, job = services.start_plan(by=None, at=at, seconds=1.0, seed=3)
        jobs.run(job.pk)
        plans.append(where(row))
        Plan.objects.all().delete()
    assert plans[0] == plans[1] != set()


def test_a_chosen_level_is_the_only_one_offered(exhibition):
    thing = exhibition.entries.select_related("object").order_by("pk")[1].object
    assert len(levels_offered(exhibition)[str(thing.pk)]) > 1
    options.choose_level(exhibition, thing, "secure", by=None, at=timezone.now())
    assert levels_offered(exhibition)[str(thing.pk)] == ["secure"]
    plan = checklists.planned()
    assert set(plan.steps.filter(object=thing).values_list("level", flat=True)) == {"secure"}


def test_where_no_joint_fails_or_nobody_looked_nothing_beyond_the_suggestion_is_offered(exhibition):
    sound, unseen = (exhibition.entries.order_by("pk")[n].object_id for n in (3, 5))
    offered = levels_offered(exhibition)
    assert offered[str(sound)] == offered[str(unseen)] == ["watch"]


def test_a_restriction_without_an_agreed_level_leaves_an_object_out_in_words(exhibition):
    thing = checklists.listed(exhibition, 3, 3, restriction="Evidence to be kept")
    plan = checklists.planned()
    (left,) = [one for one in plan.left_out if one["object"] == str(thing.pk)]
    assert "nobody has agreed to a level" in left["reason"] and not plan.steps.filter(object=thing).exists()
    options.choose_level(exhibition, thing, "secure", why="The owner agreed", by=None, at=timezone.now())
    assert checklists.planned().steps.filter(object=thing).exists()


def test_what_must_be_ready_is_what_is_important_or_must_not_be_lifted(exhibition):
    ObjectRisk.objects.filter(object__entries__importance=2).update(band="do_not_lift")
    plan = checklists.planned()
    must = selectors.offer_for(plan).instance["objects"]
    entries = {str(entry.object_id): entry for entry in exhibition.entries.all()}
    for thing in must:
        assert thing["mandatory"] == (entries[thing["id"]].importance != 3)


def test_weeks_in_hand_bring_dates_forward_but_never_to_less_than_a_week(exhibition):
    thing = checklists.listed(exhibition, 3, entry={"importance": 5, "need_by": checklists.in_days(20)})
    work = selectors.gather_work(exhibition, timezone.localtime().replace(tzinfo=None))
    own = {one["id"]: one["close_by"] for one in work.instance["objects"]}
    two = selectors.offer(work, mandatory_weeks=2, other_weeks=1).instance["objects"]
    brought = {one["id"]: own[one["id"]] - one["close_by"] for one in two}
    assert set(brought.values()) == {672, 2 * 672} or brought[str(thing.pk)] == 0
    assert all(own[one["id"]] == one["close_by"] or one["close_by"] >= one["release"] + 672 for one in two)
    four = selectors.offer(work, mandatory_weeks=4, other_weeks=0).instance["objects"]
    assert next(one["close_by"] for one in four if one["id"] == str(thing.pk)) == own[str(thing.pk)]


def test_efficient_levels_are_those_that_no_other_beats():
    hours = {"a": 1.0, "b": 2.0, "c": 2.5, "d": 2.5}
    assert efficient(hours, {"a": 0.5, "b": 0.4, "c": 0.9, "d": 0.9}) == ["a", "c"]
    with pytest.raises(ValueError, match="shares"):
        efficient(hours, {"a": 1.0})
    shares = [DEFAULTS[code].share for code in ("leave", "watch", "secure", "rejoin_failing", "take_down_rejoin")]
    assert shares == sorted(shares) and all(0 <= share <= 1 for share in shares)


def test_the_departments_own_shares_count_from_the_next_plan_on(exhibition):
    thing = exhibition.entries.order_by("pk")[0].object
    options.choose_level(exhibition, thing, "secure", by=None, at=timezone.now())
    before = worth(exhibition, thing)
    services.set_effects({"secure": Effect(0.25, "ours")}, by=None, at=timezone.now())
    assert worth(exhibition, thing) == pytest.approx(before / 2, rel=0.01)
    with pytest.raises(FettleError, match="between 0 and 100"):
        services.set_effects({"secure": Effect(1.5, "too much")}, by=None, at=timezone.now())


def worth(exhibition, thing) -> int:
    work = selectors.gather_work(exhibition, timezone.localtime().replace(tzinfo=None))
    objects = selectors.offer(work, mandatory_weeks=0, other_weeks=0).instance["objects"]
    return next(one["levels"][0]["benefit"] for one in objects if one["id"] == str(thing.pk))


def test_pinned_objects_stay_where_they_are_in_a_new_search_and_when_adapted(exhibition):
    first = checklists.planned()
    thing = first.steps.order_by("-starts").first().object_id
    week = timedelta(weeks=2)  # moved by hand to where no search would put it
    for step in first.steps.filter(object=thing):
        step.starts, step.ends = step.starts + week, step.ends + week
        step.save()
    services.pin(first, thing, to=True, by=builders.a_person(), at=timezone.now())
    for said in ({"seed": 9}, {"adapt": True}):
        again = checklists.planned(**said)
        assert again != first and where(again, thing) == where(first, thing)
        assert set(again.steps.filter(object=thing).values_list("pinned_by", flat=True)) != {None}
    services.pin(again, thing, to=False, by=builders.a_person(), at=timezone.now())
    assert not selectors.pins_of(again)


def test_adapting_to_nothing_moves_nothing_and_to_leave_says_what_moved(exhibition):
    first = checklists.planned()
    same = checklists.planned(adapt=True)
    assert same.moved == [] and where(same) == where(first)
    busy = first.steps.order_by("starts").first()
    day = timezone.localtime(busy.starts).date()
    Leave.objects.create(staff=busy.staff, first=day, last=day)
    changed = checklists.planned(adapt=True)
    gone = set(PlannedStep.objects.filter(plan=same).values_list("object__number", flat=True))
    assert changed.moved and set(changed.moved) <= gone
    assert not changed.steps.filter(staff=busy.staff, starts__date=day).exists()
    unmoved = [step for step in where(same) if numbers()[step[0]] not in changed.moved]
    assert set(unmoved) <= where(changed)


def numbers() -> dict[UUID, str]:
    return dict(PlannedStep.objects.values_list("object_id", "object__number"))


def test_stopped_midway_the_best_plan_so_far_is_kept_and_counts(exhibition, monkeypatch):
    row, job = asked(seconds=1_000.0, seed=1)
    real = jobs.Work.step
    said = []

    def stop(work, **fields):
        said.append(fields.get("saying", ""))
        if any("of what is possible" in words for words in said):
            jobs.cancel(job.pk)
        return real(work, **fields)

    monkeypatch.setattr(jobs.Work, "step", stop)
    jobs.run(job.pk)
    row.refresh_from_db()
    job.refresh_from_db()
    assert job.state == JobState.CANCELLED
    assert row.finished_at and row.steps.exists() and row.cut_short and row.share > 0
    assert selectors.latest_plan(exhibition) == row
    offer = selectors.offer_for(row)
    assert check(offer.instance, selectors.as_core(row, offer))[0] == []


def test_killed_after_its_first_plan_that_is_kept_and_the_job_taken_up_again(exhibition, monkeypatch):
    row, job = asked()

    def killed(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patched, pytest.raises(KeyboardInterrupt):
        patched.setattr(planning_jobs, "solve_instance", killed)
        jobs.run(job.pk)
    row.refresh_from_db()
    assert row.kept_at and row.steps.exists() and not row.finished_at and row.share is None
    kept = row.benefit
    Job.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    jobs.sweep()
    row.refresh_from_db()
    assert row.finished_at and row.benefit >= kept and row.share
    assert Job.objects.get().state == JobState.DONE


def test_delivered_twice_it_is_made_once(exhibition):
    row = checklists.planned()
    steps = set(row.steps.values_list("pk", flat=True))
    Job.objects.update(state=JobState.QUEUED)
    jobs.run(row.job_id)
    assert set(row.steps.values_list("pk", flat=True)) == steps
    assert Event.objects.filter(subject_id=str(row.pk), verb="plan").count() == 1


def test_a_button_pressed_twice_asks_once(exhibition):
    assert asked() == asked() and Job.objects.count() == 1


@pytest.mark.parametrize(
    ("lacking", "words"),
    [
        ("exhibition", "no exhibition"),
        ("opened", "nothing to"),
        ("staff", "Nobody is recorded"),
        ("plan", "no plan yet"),
    ],
)
def test_what_is_lacking_is_said(exhibition, lacking, words):
    if lacking == "exhibition":
        exhibition.closed_at = timezone.now()
        exhibition.save()
    elif lacking == "opened":
        checklists.move_date(exhibition, "opening", checklists.in_days(-2))
    elif lacking == "staff":
        StaffMember.objects.all().delete()
    with pytest.raises(FettleError, match=words):
        asked(adapt=lacking == "plan")


@pytest.mark.parametrize("said", [{"seconds": 0}, {"seconds": float("nan")}, {"seed": -1}, {"mandatory_weeks": -1}])
def test_numbers_out_of_range_are_refused(exhibition, said):
    with pytest.raises(FettleError):
        asked(**said)


@pytest.mark.parametrize(
    ("lacking", "words"),
    [("skill", "nobody has a skill"), ("shifts", "no hours at the bench"), ("hours", "does not fit")],
)
def test_what_did_not_fit_is_said_with_what_it_would_take(exhibition, lacking, words):
    if lacking == "skill":
        StaffMember.objects.update(skills=["photograph"])
    elif lacking == "shifts":
        StaffMember.objects.update(works_to=checklists.in_days(-1))
    else:
        # Whole days of one week, so that neither the hour nor the weekday of the test matters.
        monday = checklists.in_days(20) - timedelta(days=checklists.in_days(20).weekday())
        StaffMember.objects.update(works_from=monday, works_to=monday + timedelta(days=2))
    plan = checklists.planned(mandatory_weeks=0, other_weeks=0)
    assert plan.finished_at and plan.left_out
    assert any(words in left["reason"] for left in plan.left_out)
    assert all(left["hours"] >= left["most"] > 0 and left["skill"] and left["by"] for left in plan.left_out)


def test_an_empty_checklist_gives_an_empty_plan(exhibition):
    exhibition.entries.all().delete()
    plan = checklists.planned()
    assert plan.finished_at and plan.planned == 0 and plan.left_out == [] and plan.share == 1.0


def test_the_command_tells_the_plan_in_lines_and_as_json(exhibition):
    out = StringIO()
    call_command("plan", "--seconds", "1", "--seed", "4", stdout=out, stderr=StringIO())
    assert "of what is possible" in out.getvalue() and "must be ready are planned" in out.getvalue()
    out = StringIO()
    call_command("plan", "--seconds", "1", "--seed", "4", "--json", stdout=out, stderr=StringIO())
    said = json.loads(out.getvalue())
    assert said["seed"] == 4 and 0 < said["share"] <= 1 and said["objects"] == Plan.objects.latest("made_at").planned


def test_the_command_says_what_is_wrong_in_one_line(exhibition):
    with pytest.raises(CommandError, match="Seconds must be"):
        call_command("plan", "--seconds", "0")
    StaffMember.objects.all().delete()
    with pytest.raises(CommandError, match="Nobody is recorded"):
        call_command("plan")
