"""Scoring again from the page: who may, what shows meanwhile, and when scores are old."""

from __future__ import annotations

from datetime import timedelta

import pytest

from media.base import events, jobs
from media.base.models import JobState
from media.models import Event, Job
from survey.models import Joint, LoggerFile, ObjectRisk, ParameterSet, RiskRun
from survey.register.db.services.places import edit_place
from survey.risk.db.selectors.summary import freshness, known_at
from survey.risk.db.services import start_run
from tests import builders
from tests.survey.risk import scores

PAGE = "/ranking/"
LATER = builders.NOW + timedelta(hours=1)


def waiting(**fields) -> Job:
    values = {"name": "survey.risk.run", "title": "Scoring all joints", "asked_at": LATER} | fields
    return Job.objects.create(**values)


def test_a_conservator_scores_again_and_sees_the_new_order(conservator, django_capture_on_commit_callbacks):
    thing = builders.an_object(joints=1)
    builders.an_assessment(thing, stages={Joint.objects.get(): 3})
    with django_capture_on_commit_callbacks(execute=True):
        answer = conservator.post(f"{PAGE}score/")
    assert answer.status_code == 302 and answer["Location"] == PAGE
    assert ObjectRisk.objects.get().object == thing
    page = conservator.get(PAGE).content.decode()
    assert thing.number in page and "older than the record" not in page
    assert Event.objects.filter(verb="asked for a scoring", by__role="conservator").exists()


@pytest.mark.parametrize("who", ["reader", "surveyor"])
def test_who_may_not_score_is_refused_and_sees_no_button(request, who):
    client = request.getfixturevalue(who)
    scores.a_score(scores.a_run())
    assert client.post(f"{PAGE}score/").status_code == 403
    assert client.post(f"{PAGE}score/stop/").status_code == 403
    assert "Score again" not in client.get(PAGE).content.decode()
    assert not Job.objects.exists()


def test_scoring_is_not_started_by_a_link(conservator):
    assert conservator.get(f"{PAGE}score/").status_code == 405


def test_a_second_scoring_is_not_started_beside_the_first(conservator, db):
    waiting()
    page = conservator.post(f"{PAGE}score/", follow=True)
    assert "Scoring goes on already" in page.content.decode()
    assert Job.objects.count() == 1 and not RiskRun.objects.exists()


def test_while_scoring_goes_on_the_page_shows_how_far_it_is(conservator, db):
    job = waiting(state=JobState.RUNNING, done=400, total=1000, saying="Scoring joints")
    page = conservator.get(PAGE).content.decode()
    assert "400 of 1000" in page and f"{PAGE}score/progress/{job.pk}/" in page


def test_the_panel_asks_on_until_scoring_is_done_then_has_the_page_drawn_anew(reader, db):
    job = waiting(state=JobState.RUNNING)
    running = reader.get(f"{PAGE}score/progress/{job.pk}/", headers={"HX-Request": "true"})
    assert "hx-trigger" in running.content.decode() and "HX-Refresh" not in running
    Job.objects.filter(pk=job.pk).update(state=JobState.DONE)
    done = reader.get(f"{PAGE}score/progress/{job.pk}/", headers={"HX-Request": "true"})
    assert "hx-trigger" not in done.content.decode() and done["HX-Refresh"] == "true"


def test_the_panel_shows_no_other_kind_of_job(reader, db):
    job = waiting(name="treatments.forecast")
    assert reader.get(f"{PAGE}score/progress/{job.pk}/").status_code == 404


def test_a_scoring_that_failed_says_why_until_one_succeeds(conservator, db):
    run = scores.a_run()
    scores.a_score(run)
    waiting(state=JobState.FAILED, error="The store's climate is missing.")
    assert "climate is missing" in conservator.get(PAGE).content.decode()
    waiting(state=JobState.DONE, asked_at=LATER + timedelta(hours=1))
    assert "climate is missing" not in conservator.get(PAGE).content.decode()


def test_stopping_leaves_the_last_scores_and_says_so(conservator, db):
    scores.a_score(scores.a_run(), builders.an_object(number="K 1"))
    job = waiting()
    page = conservator.post(f"{PAGE}score/stop/", follow=True).content.decode()
    job.refresh_from_db()
    assert job.state == JobState.CANCELLED and "K 1" in page and "stay those of the last run" in page
    assert Event.objects.filter(verb="stopped").exists()


def test_nothing_to_stop_is_said(conservator, db):
    assert conservator.post(f"{PAGE}score/stop/").status_code == 404


class TestOldScores:
    @pytest.fixture
    def run(self, db):
        return scores.a_run(exhibition=builders.an_exhibition())

    def test_scores_newer_than_all_are_not_called_old(self, run):
        builders.an_assessment(builders.an_object(), finished_at=builders.NOW - timedelta(days=1))
        assert not freshness(run, run.exhibition).old

    def test_a_finished_assessment_makes_them_old(self, run, conservator):
        scores.a_score(run)
        builders.an_assessment(builders.an_object(), finished_at=LATER)
        assert "1 assessment finished since 2 March 2026, 09:00" in conservator.get(PAGE).content.decode()

    def test_an_assessment_only_begun_does_not(self, run):
        builders.an_assessment(builders.an_object(), finished=False, started_at=LATER)
        assert not freshness(run, run.exhibition).old

    def test_a_joint_taken_down_makes_them_old(self, run):
        builders.an_object(joints=1)
        Joint.objects.update(ended_at=LATER)
        assert freshness(run, run.exhibition).restorations

    def test_a_restoration_changed_in_an_assessment_makes_them_old(self, run):
        seen = builders.an_assessment(builders.an_object(), finished=False)
        events.record(seen, "added", by=None, at=LATER, became={"what": "joint", "id": "1"})
        assert freshness(run, run.exhibition).restorations

    def test_an_answer_about_something_else_does_not(self, run):
        seen = builders.an_assessment(builders.an_object(), finished=False)
        events.record(seen, "answered", by=None, at=LATER, became={"what": "assessment", "id": "1"})
        assert not freshness(run, run.exhibition).restorations

    def test_a_changed_checklist_makes_them_old(self, run):
        entry = builders.an_entry(run.exhibition, builders.an_object())
        events.record(entry, "added", by=None, at=LATER)
        assert freshness(run, run.exhibition).checklist

    def test_a_newer_parameter_set_makes_them_old(self, run, conservator):
        scores.a_score(run)
        ParameterSet.objects.create(number=2, name="Ours", adopted_at=LATER)
        assert freshness(run, run.exhibition).parameters
        assert "is in force than the one they were made by" in conservator.get(PAGE).content.decode()

    def test_a_loggers_file_that_counts_or_no_longer_does_makes_them_old(self, run):
        file = LoggerFile.objects.create(file_name="x.csv", sha256="0", size=1, received_at=LATER)
        events.record(file, "received", by=None, at=LATER)
        assert not freshness(run, run.exhibition).climate
        events.record(file, "counted", by=None, at=LATER)
        assert freshness(run, run.exhibition).climate and freshness(run, run.exhibition).old

    def test_another_class_of_climate_makes_them_old_and_another_name_does_not(self, run):
        place = builders.a_place(kind="room")
        edit_place(place, name="Other", kind="room", by=None, at=LATER)
        assert not freshness(run, run.exhibition).climate
        edit_place(place, name="Other", kind="room", climate="cellar", by=None, at=LATER)
        assert freshness(run, run.exhibition).climate

    def test_another_exhibition_ahead_makes_them_old(self, run):
        assert freshness(run, builders.an_exhibition()).other_exhibition

    def test_what_changed_while_the_run_was_going_on_counts(self, run):
        job = waiting(state=JobState.DONE, finished_at=LATER + timedelta(minutes=2))
        run.job, run.began_at, run.finished_at = job, LATER, LATER + timedelta(minutes=1)
        run.save()
        builders.an_assessment(builders.an_object(), finished_at=LATER + timedelta(seconds=30))
        assert known_at(run) == LATER and freshness(run, run.exhibition).old

    def test_scoring_a_finished_assessment_at_once_keeps_the_run_up_to_date(
        self, db, django_capture_on_commit_callbacks
    ):
        thing = builders.an_object(joints=1)
        with django_capture_on_commit_callbacks(execute=True):
            run, _ = start_run(by=None, at=builders.NOW)
        from django.utils import timezone

        builders.an_assessment(thing, stages={Joint.objects.get(): 2}, finished_at=timezone.now())
        run.refresh_from_db()
        assert freshness(run, run.exhibition).old
        with django_capture_on_commit_callbacks(execute=True):
            jobs.enqueue("survey.risk.rescore", objects=[str(thing.pk)])
        run = RiskRun.objects.get()
        assert not freshness(run, run.exhibition).old
