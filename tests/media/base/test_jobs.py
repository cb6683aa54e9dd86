"""Long work: claimed once, resumed, cancelled, given up; whatever the broker does."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from media.base import jobs
from media.base.errors import Clash, FettleError
from media.base.models import Job, JobState

seen: list[str] = []


@jobs.job("tests.count")
def count(work: jobs.Work, *, to: int) -> None:
    work.say("Counting", total=to)
    for n in range(int(work.cursor or 0), to):
        with work.step(cursor=str(n + 1), done=1):
            seen.append(f"{n}")
    work.finish({"counted": to})


@jobs.job("tests.refuse")
def refuse(work: jobs.Work) -> None:
    raise FettleError("Row 3, column B: 'tall' is no size. Write a number.")


@jobs.job("tests.break")
def break_down(work: jobs.Work) -> None:
    raise RuntimeError("secret contents")


@jobs.job("tests.interrupted")
def interrupted(work: jobs.Work, *, how: str) -> None:
    with work.step(cursor="1", done=1):
        seen.append("first")
        if how == "cancel":
            jobs.cancel(work.row.pk)
        if how == "taken over":
            Job.objects.filter(pk=work.row.pk).update(owner="somebody else")


@pytest.fixture(autouse=True)
def nothing_seen():
    seen.clear()


@pytest.fixture
def enqueue(django_capture_on_commit_callbacks):
    def enqueue_and_deliver(name, **arguments):
        with django_capture_on_commit_callbacks(execute=True):
            row = jobs.enqueue(name, **arguments)
        row.refresh_from_db()
        return row

    return enqueue_and_deliver


def test_a_job_runs_once_committed_and_keeps_its_result(db, enqueue):
    row = enqueue("tests.count", to=3)
    assert (row.state, row.done, row.total, row.result) == (JobState.DONE, 3, 3, {"counted": 3})
    assert row.share == 1.0 and row.ended


def test_a_job_delivered_twice_does_its_work_once(db, enqueue):
    row = enqueue("tests.count", to=3)
    jobs.run(row.pk)
    assert seen == ["0", "1", "2"]


def test_a_job_of_a_dead_worker_is_swept_up_and_resumed_where_it_was(db, django_capture_on_commit_callbacks):
    row = Job.objects.create(
        name="tests.count", arguments={"to": 4}, state=JobState.RUNNING, owner="dead", cursor="2", done=2, attempts=1,
        asked_at=timezone.now(), lease_until=timezone.now() - timedelta(seconds=1),
    )  # fmt: skip
    assert jobs.sweep() == [str(row.pk)]
    row.refresh_from_db()
    assert (row.state, row.done, row.attempts) == (JobState.DONE, 4, 2)
    assert seen == ["2", "3"] and row.log[0]["lost"] == "dead"


def test_a_job_under_a_living_lease_is_left_alone(db):
    row = Job.objects.create(
        name="tests.count", arguments={"to": 1}, state=JobState.RUNNING, owner="alive",
        asked_at=timezone.now(), lease_until=timezone.now() + timedelta(seconds=60),
    )  # fmt: skip
    assert jobs.sweep() == [] and jobs.claim(row.pk, "thief") is None


def test_a_poison_job_is_given_up_in_words(db):
    row = Job.objects.create(name="tests.count", arguments={"to": 1}, attempts=3, asked_at=timezone.now())
    jobs.run(row.pk)
    row.refresh_from_db()
    assert row.state == JobState.FAILED and "after 3 attempts" in row.error


def test_a_refusal_is_shown_as_it_was_said(db, enqueue):
    assert enqueue("tests.refuse").error == "Row 3, column B: 'tall' is no size. Write a number."


def test_a_fault_of_ours_shows_no_contents(db, enqueue):
    row = enqueue("tests.break")
    assert row.state == JobState.FAILED and "RuntimeError" in row.error and "secret" not in row.error


def test_a_cancelled_step_is_rolled_back(db, enqueue):
    row = enqueue("tests.interrupted", how="cancel")
    assert (row.state, row.done, row.cursor) == (JobState.RUNNING, 0, "") or row.state == JobState.CANCELLED


def test_a_worker_taken_for_dead_writes_nothing(db, enqueue):
    row = enqueue("tests.interrupted", how="taken over")
    assert (row.done, row.cursor) == (0, "") and row.state == JobState.RUNNING


def test_a_waiting_job_can_be_cancelled_and_an_ended_one_cannot(db, enqueue):
    waiting = jobs.enqueue("tests.count", to=1)
    assert jobs.cancel(waiting.pk).state == JobState.CANCELLED
    with pytest.raises(Clash, match="already ended"):
        jobs.cancel(enqueue("tests.count", to=1).pk)


def test_an_unknown_job_is_refused_before_it_is_written(db):
    with pytest.raises(ValueError, match="name"):
        jobs.enqueue("tests.nothing")
    assert not Job.objects.exists()


def test_a_stopping_worker_hands_the_job_back(db, enqueue, monkeypatch):
    jobs.stopping.set()
    try:
        row = enqueue("tests.count", to=5)
    finally:
        jobs.stopping.clear()
    assert (row.state, row.done, row.attempts) == (JobState.QUEUED, 1, 0)
    jobs.run(row.pk)
    row.refresh_from_db()
    assert row.state == JobState.DONE and seen == ["0", "1", "2", "3", "4"]


def test_a_broker_that_does_not_answer_loses_nothing(db, settings, monkeypatch, django_capture_on_commit_callbacks):
    from media.base import tasks

    settings.CELERY_TASK_ALWAYS_EAGER = False

    def silent(*args, **kwargs):
        raise ConnectionError("broker")

    monkeypatch.setattr(tasks.run_job, "apply_async", silent)
    with django_capture_on_commit_callbacks(execute=True):
        row = jobs.enqueue("tests.count", to=1)
    Job.objects.filter(pk=row.pk).update(delivered_at=timezone.now() - timedelta(hours=1))
    assert jobs.sweep() == [str(row.pk)]
    row.refresh_from_db()
    assert row.state == JobState.QUEUED
