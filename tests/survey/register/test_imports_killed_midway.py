"""A worker dies, is stopped or is taken for dead in the middle of an import: nothing is lost and nothing done twice."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db.models import Count
from django.utils import timezone

from media.base import jobs
from media.base.models import Event, Job
from survey.models import ImportRow, Object
from survey.register.db.selectors import imports as selectors
from survey.register.db.services import bringing_in, imports, looking, undoing
from tests import builders

pytestmark = pytest.mark.django_db
TEXT = "number,title\n" + "".join(f"K {n:03d},Jar {n}\n" for n in range(25))


class Killed(Exception):
    """Stands for the death of the process: nobody closes the job."""


@pytest.fixture(autouse=True)
def small_batches(monkeypatch):
    for module in (looking, bringing_in, undoing):
        monkeypatch.setattr(module, "BATCH", 10)


def killed_in_step(job, number: int) -> None:
    """Run a job whose worker dies at the end of its step ``number``, its writes not committed."""
    work = jobs.Work(jobs.claim(job.pk, "first"), "first")
    steps = 0
    real = work._renew

    def renew(changes):
        nonlocal steps
        steps += "done" in changes
        if steps == number:
            raise Killed
        real(changes)

    work._renew = renew
    with pytest.raises(Killed):
        jobs._registry[job.name](work, **job.arguments)
    Job.objects.filter(pk=job.pk).update(lease_until=timezone.now() - timedelta(seconds=1))


@pytest.mark.parametrize("step", [1, 2, 3, 4])
def test_looking_through_is_taken_up_where_it_was(importing, step):
    batch = importing.receive(TEXT)
    batch = imports.choose(batch, columns=batch.columns, options=batch.options, source="A", by=None, at=builders.NOW)
    batch = imports.ask_to_look(batch, by=None)
    killed_in_step(batch.job, step)
    jobs.run(batch.job.pk)
    batch = selectors.the_import(batch.pk)
    assert batch.state == "looked"
    assert batch.counts["create"] == 25
    lines = list(ImportRow.objects.filter(batch=batch).order_by("line").values_list("line", flat=True))
    assert lines == list(range(2, 27))
    assert batch.job.done == batch.job.total == 25


@pytest.mark.parametrize("step", [1, 2, 3, 4, 5])
def test_bringing_in_is_taken_up_where_it_was(importing, step):
    batch = imports.ask_to_bring_in(importing.looked(TEXT), by=None)
    killed_in_step(batch.job, step)
    jobs.run(batch.job.pk)
    assert selectors.the_import(batch.pk).state == "applied"
    assert Object.objects.count() == 25
    told = Event.objects.filter(verb="brought in", subject_kind="survey.object")
    assert told.count() == 25
    assert not told.values("thread").annotate(n=Count("pk")).filter(n__gt=1).exists()


def test_a_half_written_import_is_written_to_its_end_by_a_new_job(importing):
    batch = imports.ask_to_bring_in(importing.looked(TEXT), by=None)
    killed_in_step(batch.job, 3)
    jobs.cancel(batch.job.pk)
    Job.objects.filter(pk=batch.job.pk).update(state="cancelled")
    batch = selectors.the_import(batch.pk)
    assert batch.state == "applying"
    assert Object.objects.count() == 10
    batch = importing.bring_in(batch)
    assert batch.state == "applied"
    assert Object.objects.count() == 25
    assert Event.objects.filter(verb="brought in", subject_kind="survey.object").count() == 25
    assert not ImportRow.objects.filter(verdict="refused").exists()


def test_a_half_written_import_can_be_undone(importing):
    batch = imports.ask_to_bring_in(importing.looked(TEXT), by=None)
    killed_in_step(batch.job, 3)
    Job.objects.filter(pk=batch.job.pk).update(state="cancelled")
    batch = importing.undo(selectors.the_import(batch.pk))
    assert batch.state == "undone"
    assert not Object.objects.exists()


@pytest.mark.parametrize("step", [1, 2, 3])
def test_undoing_is_taken_up_where_it_was(importing, step):
    batch = imports.ask_to_undo(importing.brought_in(TEXT), by=None)
    killed_in_step(batch.job, step)
    jobs.run(batch.job.pk)
    assert selectors.the_import(batch.pk).state == "undone"
    assert not Object.objects.exists()
    assert Event.objects.filter(verb="removed", subject_kind="survey.object").count() == 25


def test_a_worker_taken_for_dead_writes_nothing_more(importing):
    batch = imports.ask_to_bring_in(importing.looked(TEXT), by=None)
    work = jobs.Work(jobs.claim(batch.job.pk, "first"), "first")
    Job.objects.filter(pk=batch.job.pk).update(lease_until=timezone.now() - timedelta(seconds=1))
    jobs.claim(batch.job.pk, "second")
    with pytest.raises(jobs.LeaseLost):
        jobs._registry[batch.job.name](work, **batch.job.arguments)
    assert not Object.objects.exists()


def test_only_one_job_works_on_an_import(importing):
    batch = importing.looked(TEXT)
    imports.ask_to_bring_in(batch, by=None)
    with pytest.raises(imports.Clash, match="still going on"):
        imports.ask_to_bring_in(batch, by=None)
