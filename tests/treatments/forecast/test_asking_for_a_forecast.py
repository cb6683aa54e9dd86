"""Asking for a forecast on its page and at the command line; the job behind it; what the page then shows."""

from __future__ import annotations

import json
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from media.base import jobs
from media.base.models import Event, Job, JobState
from survey.models import Milestone
from tests.treatments import checklists
from tests.treatments.checklists import text
from treatments.forecast.db import services
from treatments.forecast.db.jobs import run_forecast
from treatments.models import Forecast, ObjectForecast, StaffMember
from treatments.options.db import services as options

PAGE, RUN, OBJECTS = "/forecast/", "/forecast/run/", "/forecast/objects/"


@pytest.fixture
def exhibition(db):
    made = checklists.an_exhibition()
    checklists.a_member()
    checklists.listed(made, 2)
    return made


def ask(*, trials=60, **said) -> tuple[Forecast, Job]:
    """A forecast asked for whose job waits."""
    return services.start_forecast(by=None, at=timezone.now(), trials=trials, **said)


def test_asked_for_on_the_page_it_is_made_and_shown(conservator, exhibition, django_capture_on_commit_callbacks):
    assert "Make a forecast" in text(conservator.get(PAGE))
    with django_capture_on_commit_callbacks(execute=True):
        assert conservator.post(RUN).status_code == 302
    page = text(conservator.get(PAGE))
    assert "Will we be ready on" in page and ">99 %" in page.replace("&gt;", ">") and "Forecast again" in page
    row = Forecast.objects.get()
    assert row.job.state == JobState.DONE and row.job.done == row.trials == 2000
    verbs = Event.objects.filter(subject_id=str(row.pk)).values_list("verb", flat=True)
    assert sorted(verbs) == ["asked for a forecast", "forecast"]


@pytest.mark.parametrize("who", ["reader", "surveyor"])
def test_readers_and_surveyors_see_forecasts_and_cannot_ask_for_them(request, exhibition, who):
    client = request.getfixturevalue(who)
    assert client.get(PAGE).status_code == 200 and "Make a forecast" not in text(client.get(PAGE))
    assert client.post(RUN).status_code == 403 and not Forecast.objects.exists()


def test_nobody_sees_a_forecast_before_signing_in(client, exhibition):
    for address in (PAGE, OBJECTS):
        assert client.get(address)["Location"].startswith("/sign-in/")


@pytest.mark.parametrize(
    ("lacking", "line"),
    [
        ("exhibition", "A forecast needs an exhibition"),
        ("opening", "has no opening day yet"),
        ("ahead", "there is nothing to forecast"),
        ("staff", "who is at the bench"),
    ],
)
def test_what_is_lacking_is_said_on_the_page_and_refused(conservator, exhibition, lacking, line):
    if lacking == "exhibition":
        exhibition.closed_at = timezone.now()
        exhibition.save()
    elif lacking == "opening":
        Milestone.objects.filter(kind="opening").delete()
    elif lacking == "ahead":
        checklists.move_date(exhibition, "opening", checklists.in_days(-2))
    else:
        StaffMember.objects.all().delete()
    page = text(conservator.get(PAGE))
    assert line in page and "Make a forecast</button>" not in page
    assert conservator.post(RUN).status_code == 400 and not Forecast.objects.exists()


def test_a_button_pressed_twice_asks_once(exhibition):
    first, again = ask(), ask()
    assert first == again and Job.objects.count() == 1
    other, _ = ask(seed=5)
    assert other != first[0]


def test_a_forecast_asked_for_after_one_was_stopped_is_a_new_one(exhibition):
    row, job = ask()
    jobs.cancel(job.pk)
    assert ask()[0] != row


def test_progress_is_told_while_it_runs_and_the_page_shows_it(reader, exhibition, monkeypatch):
    seen = []
    real = jobs.Work._renew

    def spy(work, changes):
        real(work, changes)
        row = Job.objects.get(pk=work.row.pk)
        seen.append((row.done, row.total))
        if row.done == 250:
            seen.append(text(reader.get(PAGE)))

    monkeypatch.setattr(jobs.Work, "_renew", spy)
    _, job = ask(trials=600)
    jobs.run(job.pk)
    pages = [one for one in seen if isinstance(one, str)]
    counts = [one for one in seen if not isinstance(one, str)]
    assert counts[:4] == [(0, 600), (250, 600), (500, 600), (600, 600)]
    assert "250 of 600" in pages[0] and "hx-trigger" in pages[0]


def test_a_forecast_stopped_midway_leaves_the_last_one_standing(exhibition, monkeypatch):
    real = jobs.Work._renew

    def stop(work, changes):
        real(work, changes)
        Job.objects.filter(pk=work.row.pk, done__gte=250).update(cancel_asked=True)

    monkeypatch.setattr(jobs.Work, "_renew", stop)
    row, job = ask(trials=5_000)
    jobs.run(job.pk)
    job.refresh_from_db()
    row.refresh_from_db()
    assert job.state == JobState.CANCELLED and job.done < 1_000
    assert row.finished_at is None and not ObjectForecast.objects.exists()


def test_a_killed_job_begins_anew_and_writes_one_forecast(exhibition, monkeypatch):
    row, job = ask(trials=600)
    real = jobs.Work._renew

    def die(work, changes):
        real(work, changes)
        if Job.objects.get(pk=job.pk).done >= 500:
            raise MemoryError("killed")

    with monkeypatch.context() as patch:
        patch.setattr(jobs.Work, "_renew", die)
        owner = "a worker that dies"
        with pytest.raises(MemoryError):
            run_forecast(jobs.Work(jobs.claim(job.pk, owner), owner), **job.arguments)
    Job.objects.filter(pk=job.pk).update(lease_until=timezone.now() - timedelta(seconds=1))
    assert jobs.sweep() == [str(job.pk)]
    jobs.run(job.pk)
    job.refresh_from_db()
    row.refresh_from_db()
    assert (job.state, job.attempts, job.done) == (JobState.DONE, 2, 600)
    assert row.finished_at and ObjectForecast.objects.filter(forecast=row).count() == 1
    assert Event.objects.filter(subject_id=str(row.pk), verb="forecast").count() == 1


def test_delivered_again_after_it_was_written_it_is_not_made_twice(exhibition):
    row, job = ask()
    jobs.run(job.pk)
    Job.objects.filter(pk=job.pk).update(state=JobState.QUEUED)
    jobs.run(job.pk)
    job.refresh_from_db()
    assert job.state == JobState.DONE and job.result["forecast"] == str(row.pk)
    assert Event.objects.filter(subject_id=str(row.pk), verb="forecast").count() == 1


def test_a_forecast_that_failed_says_why_on_the_page(conservator, exhibition):
    _, job = ask()
    Milestone.objects.filter(kind="opening").delete()
    jobs.run(job.pk)
    Milestone.objects.create(exhibition=exhibition, kind="opening", date=checklists.in_days(90))
    page = text(conservator.get(PAGE))
    assert "has no opening day yet" in page and "Make a forecast</button>" in page


def make(exhibition, *, days_ago: int = 0, trials=60) -> Forecast:
    """A forecast that was finished so many days ago."""
    at = timezone.now() - timedelta(days=days_ago)
    row, job = services.start_forecast(by=None, at=at, trials=trials, exhibition=exhibition)
    jobs.run(job.pk)
    Forecast.objects.filter(pk=row.pk).update(finished_at=at)
    row.refresh_from_db()
    return row


def test_the_answer_names_the_weakest_date(reader, exhibition):
    checklists.move_date(exhibition, "photography", checklists.in_days(1))
    make(exhibition)
    page = text(reader.get(PAGE))
    assert "The weakest date before it is photography" in page and page.count("weakest date</span>") == 1


def test_with_every_date_as_sure_as_opening_none_is_called_weak(reader, exhibition):
    make(exhibition)
    assert "weakest" not in text(reader.get(PAGE))


def test_a_date_that_had_passed_is_no_chance_any_more(reader, exhibition):
    checklists.move_date(exhibition, "photography", checklists.in_days(-3))
    make(exhibition)
    page = text(reader.get(PAGE))
    assert "Passed, not all ready" in page and "weakest date" not in page


def test_one_forecast_draws_no_fan_and_two_days_do(reader, exhibition):
    make(exhibition)
    assert "as each day" not in text(reader.get(PAGE))
    make(exhibition, days_ago=7)
    make(exhibition, days_ago=7)
    page = reader.get(PAGE)
    assert "as each day" in text(page) and "Earlier forecasts" in text(page)
    fan = page.context["shown"].fan
    assert [point["date"] for point in fan] == [checklists.in_days(-7), checklists.today()]
    assert all(point["low"] <= point["middle"] <= point["high"] for point in fan)


def test_what_changed_since_is_counted(reader, exhibition):
    make(exhibition)
    assert "since this forecast" not in text(reader.get(PAGE))
    thing = checklists.listed(exhibition, 2)
    options.choose_level(exhibition, thing, "watch", by=None, at=timezone.now())
    assert "1 change to levels, staff, benches or dates since this forecast" in text(reader.get(PAGE))


def test_objects_most_likely_late_come_first_and_all_are_reached(reader, exhibition):
    checklists.move_date(exhibition, "case_closing", checklists.in_days(2))
    for stage in range(70):
        checklists.listed(exhibition, 2 + stage % 3)
    make(exhibition)
    first = reader.get(OBJECTS)
    shown = list(first.context["page"].rows)
    assert len(shown) == 50 and [row.late for row in shown] == sorted((row.late for row in shown), reverse=True)
    rest = reader.get(OBJECTS, {"after": first.context["page"].next})
    shown += rest.context["page"].rows
    assert rest.context["page"].next is None and len({row.pk for row in shown}) == 71
    assert reader.get(OBJECTS, {"after": "nonsense"}).status_code == 400


def test_before_any_forecast_the_list_says_where_to_make_one(reader, exhibition):
    assert "Nothing is forecast yet" in text(reader.get(OBJECTS))


@pytest.mark.parametrize("address", [PAGE, OBJECTS])
def test_pages_cost_as_many_queries_for_fifty_objects_as_for_one(reader, exhibition, address):
    def count():
        with CaptureQueriesContext(connection) as made:
            assert reader.get(address).status_code == 200
        return len(made)

    make(exhibition)
    count()
    one = count()
    for stage in range(49):
        checklists.listed(exhibition, stage % 5)
    make(exhibition)
    assert count() == one


def call(*arguments: str) -> str:
    out = StringIO()
    call_command("forecast", *arguments, stdout=out, stderr=StringIO())
    return out.getvalue().replace("\u00a0", " ")


def test_the_command_prints_a_forecast_and_keeps_it(exhibition):
    said = call("--trials", "80", "--seed", "3")
    assert "80 futures, seed 3" in said and "Opening" in said and "Everything ready: 1 in 10 by" in said
    row = Forecast.objects.get()
    assert (row.trials, row.seed, row.job.state) == (80, 3, JobState.DONE)


def test_the_command_speaks_json_and_repeats_itself_under_a_seed(exhibition):
    one, two = (json.loads(call("--trials", "80", "--seed", "3", "--json")) for _ in range(2))
    kept = ("chances", "finish", "hours_needed", "expected_late_objects", "trials", "seed")
    assert all(one[name] == two[name] for name in kept) and one["forecast"] != two["forecast"]


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["--trials", "0"], "Trials must be a whole number"),
        (["--trials", "many"], "invalid int value"),
        (["--seed", "-4"], "A seed must be a whole number"),
    ],
)
def test_the_command_refuses_bad_input_in_one_line(exhibition, arguments, line):
    with pytest.raises(CommandError, match=line) as raised:
        call(*arguments)
    assert "\n" not in str(raised.value) and not Forecast.objects.exists()


def test_the_command_says_what_is_lacking(db):
    with pytest.raises(CommandError, match="no exhibition to forecast"):
        call()


def test_the_command_says_why_a_forecast_failed(exhibition, monkeypatch):
    def fail(*_, **__):
        raise RuntimeError("secret contents")

    monkeypatch.setattr(services, "make_forecast", fail)
    with pytest.raises(CommandError, match="fault of Fettle's own"):
        call("--trials", "5")
