"""After one assessment only what it touches is scored again, and comes out as a whole run would have it."""

from __future__ import annotations

import time
from datetime import UTC, datetime

import pytest

from media.base import jobs
from media.base.models import Job, JobState
from survey.models import JointRisk, ObjectRisk, ParameterSet, RiskRun, Workshop
from survey.risk.db import services
from survey.risk.db.services import rescoring, running
from tests import builders
from tests.survey.risk.test_scoring_what_is_shared import a_test, restored

LATER = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
COLUMNS = ("object_id", "before_opening", "before_opening_low", "before_opening_high", "loss", "rank_by_weighted")


@pytest.fixture
def commit(db, django_capture_on_commit_callbacks):
    return lambda: django_capture_on_commit_callbacks(execute=True)


def a_whole_run(commit) -> RiskRun:
    with commit():
        run, job = services.start_run(by=None, at=builders.NOW)
    assert Job.objects.get(pk=job.pk).state == JobState.DONE
    run.refresh_from_db()
    return run


def rescored(commit, *things) -> Job:
    with commit():
        job = jobs.enqueue("survey.risk.rescore", objects=[str(thing.pk) for thing in things])
    job.refresh_from_db()
    assert job.state == JobState.DONE, job.error
    return job


def found(run: RiskRun) -> dict:
    return {row[0]: row[1:] for row in ObjectRisk.objects.filter(run=run).values_list(*COLUMNS)}


@pytest.fixture
def collection(db):
    """Two workshops' and nobody's work, a little of it seen; visits do not bend the pace."""
    ParameterSet.objects.create(number=1, name="Held", values={"visits_trust": 0.0}, adopted_at=builders.NOW)
    shops = [Workshop.objects.create(name=name) for name in "AB"]
    return [
        restored(joints=1 + n % 3, workshop=[*shops, None][n % 3], stage=[None, 0, 2][n % 4 % 3]) for n in range(12)
    ]


def test_it_comes_out_as_in_a_whole_run(commit, collection):
    """With the pace held, the touched object is exact; other work differs by what its workshop's habit may drift."""
    thing, held = collection[0]
    run = a_whole_run(commit)
    builders.an_assessment(thing, stages=dict.fromkeys(held, 3), started_at=LATER, finished_at=LATER)
    a_test(held[0])
    rescored(commit, thing)
    after, whole = found(run), found(a_whole_run(commit))
    assert after.keys() == whole.keys()
    assert after[thing.pk] == pytest.approx(whole[thing.pk], rel=1e-9)
    for pk, numbers in whole.items():
        assert after[pk][:4] == pytest.approx(numbers[:4], abs=2 * rescoring.DRIFT)
        assert after[pk][4] == numbers[4]


def test_other_work_of_the_workshop_is_scored_again_once_its_habit_moves(commit, collection):
    run = a_whole_run(commit)
    before = {row.object_id: row for row in ObjectRisk.objects.filter(run=run)}
    thing, held = collection[0]
    a_test(held[0])
    assert rescored(commit, thing).result == {"scored": 1 + 3}
    changed = {row.object_id for row in ObjectRisk.objects.filter(run=run) if row.pk != before[row.object_id].pk}
    assert changed == {other.pk for other, _ in collection[::3]}
    mate = collection[3][1][0]
    assert JointRisk.objects.get(run=run, joint=mate).class_chances["cellulose_nitrate"] > 0.4
    assert rescored(commit, thing).result == {"scored": 1}, "nothing moves any more"


def test_what_was_said_before_is_taken_back_and_not_counted_twice(commit, collection):
    run = a_whole_run(commit)
    thing, held = collection[0]
    a_test(held[0])
    for _ in range(3):
        rescored(commit, thing)
    run.refresh_from_db()
    once = run.learned["shops"]
    again = a_whole_run(commit).learned["shops"]
    assert [row[:3] for row in once] == [row[:3] for row in again]
    for one, other in zip(once, again, strict=True):
        assert one[3] == pytest.approx(other[3], abs=1e-9)


def test_work_of_a_workshop_that_the_run_did_not_know_is_learned(commit, collection):
    run = a_whole_run(commit)
    thing, held = restored(joints=2, workshop=Workshop.objects.create(name="C"), stage=1)
    a_test(held[0])
    rescored(commit, thing)
    run.refresh_from_db()
    assert len(run.learned["shops"]) == 3
    assert found(run)[thing.pk] == pytest.approx(found(a_whole_run(commit))[thing.pk], rel=1e-9)


def test_of_several_that_wait_the_last_puts_all_in_order(commit, collection, monkeypatch):
    run = a_whole_run(commit)
    ordered = []
    real = running.finish_run
    monkeypatch.setattr(running, "finish_run", lambda *args, **kwargs: (ordered.append(1), real(*args, **kwargs)))
    with commit():
        for thing, held in collection[:4]:
            builders.an_assessment(thing, stages=dict.fromkeys(held, 2), started_at=LATER, finished_at=LATER)
            jobs.enqueue("survey.risk.rescore", objects=[str(thing.pk)])
    assert ordered == [1]
    ranks = sorted(row[4] for row in found(run).values())
    assert ranks == list(range(1, 13))


def test_a_finished_assessment_shows_within_two_seconds(commit, collection, reader):
    run = a_whole_run(commit)
    taken = []
    for n, (thing, held) in enumerate(collection[:3]):
        builders.an_assessment(thing, stages=dict.fromkeys(held, 3), started_at=LATER, finished_at=LATER)
        begun = time.monotonic()
        rescored(commit, thing)
        page = reader.get(f"/ranking/objects/{thing.pk}/").content.decode()
        taken.append(time.monotonic() - begun)
        assert "Do not lift" in page and ObjectRisk.objects.get(run=run, object=thing).band == "do_not_lift", n
    assert min(taken) < 2.0, taken


def test_what_was_surveyed_while_a_run_went_on_is_scored_in_it_afterwards(commit, collection, monkeypatch):
    thing, held = collection[0]
    real = running.write

    def with_a_survey_beside_it(run, objects, batch):
        real(run, objects, batch)
        builders.an_assessment(thing, stages=dict.fromkeys(held, 3), started_at=LATER, finished_at=LATER)

    monkeypatch.setattr(running, "write", with_a_survey_beside_it)
    run = a_whole_run(commit)
    assert ObjectRisk.objects.get(run=run, object=thing).band == "do_not_lift"
