"""A scoring run over the register: what was surveyed becomes chances, bands and reasons."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from media.base import jobs
from media.base.errors import FettleError
from media.base.models import Job, JobState
from survey.models import Joint, JointRisk, ObjectRisk, ParameterSet, RiskRun, Sign
from survey.risk.db import services
from survey.risk.db.services import running
from tests import builders

NOW = builders.NOW


class Killed(BaseException):
    """What no job catches."""


def restored(stage: int | None = None, **fields):
    """An object with one joint at the foot, seen at a stage."""
    thing = builders.an_object(joints=1, height_mm=300, width_mm=200, **fields)
    joint = Joint.objects.get(restoration__object=thing)
    restoration = joint.restoration
    restoration.year_earliest, restoration.year_latest = 1950, 1955
    restoration.save()
    if stage is not None:
        builders.an_assessment(thing, stages={joint: stage})
    return thing, joint


def test_a_worse_stage_is_a_greater_chance(score):
    things = [restored(stage)[0] for stage in range(5)]
    run = score(builders.an_exhibition())
    found = {row.object_id: row.before_opening for row in ObjectRisk.objects.filter(run=run)}
    chances = [found[thing.pk] for thing in things]
    assert chances == sorted(chances) and chances[-1] > 0.99 and chances[0] < 0.05


def test_every_joint_and_object_is_scored_once_also_when_delivered_twice(score):
    builders.an_object()
    for _ in range(3):
        restored(1)
    run = score()
    job = Job.objects.get(name="survey.risk.run")
    Job.objects.filter(pk=job.pk).update(state=JobState.QUEUED, cursor="")
    jobs.run(job.pk)
    assert ObjectRisk.objects.filter(run=run).count() == JointRisk.objects.filter(run=run).count() == 3


def test_a_run_killed_midway_goes_on_where_it_was(score, monkeypatch, django_capture_on_commit_callbacks):
    for _ in range(5):
        restored(1)
    monkeypatch.setattr(services.scoring, "BATCH", 2)
    real, calls = running.write, []

    def dies_at_the_second(run, objects, batch):
        calls.append(list(objects))
        real(run, objects, batch)
        if len(calls) == 2:
            raise Killed

    monkeypatch.setattr(running, "write", dies_at_the_second)
    with pytest.raises(Killed), django_capture_on_commit_callbacks(execute=True):
        services.start_run(by=None, at=NOW)
    run = RiskRun.objects.get()
    assert ObjectRisk.objects.filter(run=run).count() == 2
    Job.objects.filter(state=JobState.RUNNING).update(lease_until=NOW)
    jobs.run(run.job_id)
    run.job.refresh_from_db()
    assert (run.job.state, run.job.done, run.job.attempts) == (JobState.DONE, 5, 2)
    assert ObjectRisk.objects.filter(run=run).count() == 5
    assert calls[2] == calls[1] and [len(call) for call in calls] == [2, 2, 2, 1]


def test_what_must_not_be_lifted_stands_first_whatever_its_score(score):
    precious, _ = restored(2, significance=5)
    humble, joint = restored(0, significance=1)
    exhibition = builders.an_exhibition()
    builders.an_entry(exhibition, precious, importance=5, use="travels")
    seen = humble.assessments.get()
    Sign.objects.create(assessment=seen, joint=joint, code="movement", answer="present")
    run = score(exhibition)
    first = ObjectRisk.objects.filter(run=run).order_by("rank_by_weighted").first()
    assert first.object == humble and first.band == "do_not_lift"
    assert "moves or gapes" in first.reasons[0]["text"]


def test_a_surveyors_word_not_to_lift_is_a_rule(score):
    thing = restored()[0]
    builders.an_assessment(thing, handling="do_not_lift")
    row = ObjectRisk.objects.get(run=score())
    assert row.band == "do_not_lift" and "2 March 2026" in row.reasons[0]["text"]


def test_planned_moves_raise_the_chance_milestone_by_milestone(score):
    shown, stored = restored(2)[0], restored(2)[0]
    exhibition = builders.an_exhibition()
    builders.an_entry(exhibition, shown, use="travels")
    run = score(exhibition)
    at = ObjectRisk.objects.get(run=run, object=shown).before_milestones
    still = ObjectRisk.objects.get(run=run, object=stored).before_milestones
    kinds = ["photography", "mount_making", "case_closing", "opening"]
    chances = [at[kind] for kind in kinds]
    assert len(at) == 4 and chances == sorted(chances)
    assert all(at[kind] > still[kind] for kind in kinds)


def test_significance_and_importance_weigh_after_the_chance(score):
    plain, dear = restored(2, significance=2)[0], restored(2, significance=5)[0]
    run = score()
    rows = {row.object_id: row for row in ObjectRisk.objects.filter(run=run)}
    assert rows[plain.pk].loss == pytest.approx(rows[dear.pk].loss)
    assert rows[dear.pk].weighted_loss == pytest.approx(8 * rows[plain.pk].weighted_loss)
    assert (rows[dear.pk].rank_by_weighted, rows[plain.pk].rank_by_weighted) == (1, 2)


def test_the_warmer_store_ages_a_joint_faster(score):
    attic = builders.a_place(climate="warm")
    shelf = builders.a_place(parent=builders.a_place(climate="cellar", kind="room"))
    hot, cool = restored(2, place=attic)[0], restored(2, place=shelf)[0]
    run = score(builders.an_exhibition())
    rows = {row.object_id: row for row in ObjectRisk.objects.filter(run=run)}
    assert rows[hot.pk].yearly > rows[cool.pk].yearly


def test_what_looks_wrong_in_the_record_is_scored_and_said(score):
    thing, joint = restored(1)
    joint.restoration.year_earliest = joint.restoration.year_latest = 2120
    joint.restoration.save()
    assert "dated 2120, in the future" in ObjectRisk.objects.get(run=score(), object=thing).warnings[0]


def test_without_an_exhibition_the_chance_is_for_a_year(score):
    restored(1)
    row = ObjectRisk.objects.get(run=score())
    assert list(row.before_milestones) == ["year"] and "a year from now" in str(row.reasons)


def test_an_empty_register_is_scored_without_fuss(score):
    assert score().counts == {"objects": 0, "joints": 0, "do_not_lift": 0, "first": 20}


def test_surveyed_again_only_what_was_touched_is_scored_again(score, django_capture_on_commit_callbacks):
    seen, other = restored(0), restored(0)
    run = score()
    before = ObjectRisk.objects.get(run=run, object=other[0])
    builders.an_assessment(seen[0], stages={seen[1]: 3}, started_at=datetime(2026, 3, 3, tzinfo=UTC))
    with django_capture_on_commit_callbacks(execute=True):
        jobs.enqueue("survey.risk.rescore", objects=[str(seen[0].pk)])
    after = ObjectRisk.objects.get(run=run, object=seen[0])
    assert after.band == "do_not_lift" and after.rank_by_weighted == 1
    assert ObjectRisk.objects.get(run=run, object=other[0]).pk == before.pk


def test_a_run_in_many_parts_scores_each_object_once(score, monkeypatch):
    monkeypatch.setattr(running, "LEAST_OBJECTS", 2)
    things = {restored(1)[0].pk for _ in range(7)}
    run = score()
    parts = Job.objects.filter(name="survey.risk.part")
    assert parts.count() == 4 and {part.state for part in parts} == {JobState.DONE}
    assert sorted(part.done for part in parts) == [1, 2, 2, 2]
    rows = ObjectRisk.objects.filter(run=run).values_list("object_id", flat=True)
    assert set(rows) == things and len(rows) == 7


def test_a_part_that_fails_ends_the_run_with_its_words(monkeypatch, django_capture_on_commit_callbacks, db):
    restored(1)

    def breaks(*_):
        raise FettleError("No such climate.")

    monkeypatch.setattr(running, "compute", breaks)
    with django_capture_on_commit_callbacks(execute=True):
        run, job = services.start_run(by=None, at=NOW)
    job.refresh_from_db()
    assert (job.state, job.error) == (JobState.FAILED, "No such climate.")
    run.refresh_from_db()
    assert run.finished_at is None


def test_parts_of_a_run_that_was_stopped_score_nothing(monkeypatch, django_capture_on_commit_callbacks, db):
    monkeypatch.setattr(running, "LEAST_OBJECTS", 1)
    for _ in range(3):
        restored(1)
    real = running.write

    def stopped_meanwhile(run, objects, batch):
        real(run, objects, batch)
        services.stop_scoring(by=None, at=NOW)

    monkeypatch.setattr(running, "write", stopped_meanwhile)
    with django_capture_on_commit_callbacks(execute=True):
        run, job = services.start_run(by=None, at=NOW)
    job.refresh_from_db()
    assert job.state == JobState.CANCELLED
    assert ObjectRisk.objects.filter(run=run).count() == 1
    assert not Job.objects.filter(name="survey.risk.part", state__in=(JobState.QUEUED, JobState.RUNNING)).exists()


def test_what_cannot_be_is_scored_with_a_warning_that_shows(score, reader):
    """Brought in from elsewhere or written without a network: no form stood before it."""
    thing, joint = restored(0)
    Joint.objects.filter(pk=joint.pk).update(adhesive="epoxy", basis="look", wall_mm=400, lever_mm=900)
    joint.restoration.year_earliest = joint.restoration.year_latest = 1910
    joint.restoration.save()
    builders.an_assessment(thing, stages={joint: 3}, started_at=datetime(2016, 3, 2, tzinfo=UTC))
    row = ObjectRisk.objects.get(run=score(), object=thing)
    told = " ".join(row.warnings)
    for words in ("Epoxy was not in use before about 1945", "A wall 400 mm thick", "An overhang of 900 mm",
                  "much better state in 2026 than in 2016"):  # fmt: skip
        assert words in told
    assert 0 < row.before_opening < 1
    assert "A wall 400 mm thick" in reader.get(f"/ranking/objects/{thing.pk}/").content.decode()


def test_what_bears_weight_and_a_porous_body_let_a_joint_age_faster(score):
    """Factors of the parameter set: common to all, and here made plain."""
    ParameterSet.objects.create(
        number=1, name="Plain", adopted_at=NOW, values={"covariates.load_bearing": 4.0, "covariates.porous_body": 4.0}
    )
    plain, bearing, porous = restored(1)[0], restored(1), restored(1, body="earthenware")[0]
    Joint.objects.filter(pk=bearing[1].pk).update(structural=True)
    Joint.objects.exclude(pk=bearing[1].pk).update(structural=False)
    rows = {row.object_id: row.yearly for row in ObjectRisk.objects.filter(run=score())}
    assert rows[bearing[0].pk] > 1.5 * rows[plain.pk] and rows[porous.pk] > 1.5 * rows[plain.pk]
