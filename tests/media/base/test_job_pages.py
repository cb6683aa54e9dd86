"""Following a job on its page, and stopping it."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from media.base.models import Job, JobState, Role
from tests import builders

HTMX = {"HX-Request": "true"}
pytestmark = pytest.mark.django_db


def a_job(**fields) -> Job:
    return Job.objects.create(
        **{"name": "tests.any", "title": "Counting sherds", "asked_at": timezone.now(), "state": "running"} | fields
    )


def page(client: Client, job: Job, query: str = "", **headers) -> str:
    response = client.get(reverse("base:job", args=[job.pk]) + query, headers=headers)
    assert response.status_code == 200
    return response.content.decode()


def test_a_running_job_shows_how_far_it_is_and_asks_again(reader):
    shown = page(reader, a_job(done=250, total=1000, saying="Joint 12"))
    assert "Counting sherds" in shown and "250 of 1000" in shown and "Joint 12" in shown
    assert 'value="0.250"' in shown and 'hx-trigger="load delay:1s"' in shown and "It goes on if you leave" in shown


def test_the_panel_alone_is_sent_to_be_swapped(reader):
    shown = page(reader, a_job(), **HTMX)
    assert shown.strip().startswith("<section") and "<html" not in shown


@pytest.mark.parametrize(
    ("state", "fields", "line"),
    [
        (JobState.QUEUED, {}, "Waiting"),
        (JobState.DONE, {"saying": "The forecast is ready"}, "The forecast is ready"),
        (JobState.FAILED, {"error": "Row 3: no number."}, "Row 3: no number."),
        (JobState.FAILED, {}, "needs a person"),
        (JobState.CANCELLED, {}, "Stopped"),
    ],
)
def test_each_state_has_its_words_and_an_ended_job_asks_no_more(reader, state, fields, line):
    shown = page(reader, a_job(state=state, **fields))
    assert line in shown and ("hx-trigger" in shown) is (state == JobState.QUEUED)


def test_the_way_on_is_kept_while_it_is_polled_and_shown_at_the_end(reader):
    job = a_job()
    shown = page(reader, job, "?then=/forecast/", **HTMX)
    assert (
        f'hx-get="{reverse("base:job", args=[job.pk])}?then=%2Fforecast%2F"' in shown and "See the result" not in shown
    )
    Job.objects.update(state=JobState.DONE)
    assert 'href="/forecast/"' in page(reader, job, "?then=/forecast/", **HTMX)


@pytest.mark.parametrize("then", ["https://example.org/", "//example.org", "/\\example.org", "javascript:alert(1)", ""])
def test_the_way_on_never_leaves_the_house(reader, then):
    shown = page(reader, a_job(state=JobState.DONE), f"?then={then}")
    assert "See the result" not in shown and "example.org" not in shown.split("<main")[1]


def test_a_job_that_does_not_exist_is_said_in_one_line(reader):
    response = reader.get("/jobs/00000000-0000-0000-0000-000000000001/")
    assert response.status_code == 404 and "does not exist any more" in response.content.decode()
    assert reader.post("/jobs/00000000-0000-0000-0000-000000000001/cancel/").status_code == 404


def stop(client: Client, job: Job):
    return client.post(reverse("base:cancel_job", args=[job.pk]))


def test_whoever_asked_for_a_job_may_stop_it():
    person = builders.a_person(role=Role.SURVEYOR)
    client, job = Client(), a_job(asked_by=person)
    client.force_login(person)
    assert "Stop</button>" in page(client, job)
    assert stop(client, job)["Location"] == reverse("base:job", args=[job.pk])
    job.refresh_from_db()
    assert job.cancel_asked and "Stopping after the present step" in page(client, job)


@pytest.mark.parametrize(
    ("who", "may"), [("reader", False), ("surveyor", False), ("conservator", True), ("head", True)]
)
def test_who_may_stop_what_others_asked_for(request, who, may):
    client, job = request.getfixturevalue(who), a_job(asked_by=builders.a_person())
    assert ("Stop</button>" in page(client, job)) is may
    assert stop(client, job).status_code == (302 if may else 403)
    job.refresh_from_db()
    assert job.cancel_asked is may


def test_a_job_that_waits_is_stopped_at_once_and_an_ended_one_says_so(head):
    waiting, done = a_job(state=JobState.QUEUED), a_job(state=JobState.DONE)
    stop(head, waiting)
    waiting.refresh_from_db()
    assert waiting.state == JobState.CANCELLED
    response = stop(head, done)
    assert response.status_code == 409 and "already ended" in response.content.decode()


def test_nothing_is_stopped_by_looking(head):
    job = a_job()
    assert head.get(reverse("base:cancel_job", args=[job.pk])).status_code == 405


def test_nobody_follows_jobs_before_signing_in(client):
    assert client.get(reverse("base:job", args=[a_job().pk]))["Location"].startswith("/sign-in/")
