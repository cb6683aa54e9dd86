"""Forecasts are kept night by night; illness, surprises, work already done, dates, buffers and what came."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from media.base import jobs
from media.base.errors import FettleError
from media.base.models import Event, Job, JobState
from survey.models import Exhibition
from tests import builders
from tests.treatments import checklists
from tests.treatments.checklists import text
from treatments.forecast.db import selectors, services
from treatments.forecast.db.selectors.between import SHIPPED
from treatments.hours.db import services as hours
from treatments.hours.db.services import Said
from treatments.models import Forecast, Mishap, Treatment
from treatments.planning.db.selectors import gather_work

PAGE, BETWEEN = "/forecast/", "/forecast/between/"
NIGHT = "treatments.forecast.nightly"


@pytest.fixture
def exhibition(db) -> Exhibition:
    checklists.benches()
    checklists.a_member()
    return checklists.an_exhibition()


@pytest.fixture
def only_this_night(monkeypatch):
    monkeypatch.setattr(jobs, "_nightly", {NIGHT: "The night's forecast"})


def night(hour: int = 3, day: int = 0) -> datetime:
    local = timezone.make_aware(datetime.combine(checklists.today() + timedelta(days=day), datetime.min.time()))
    return local + timedelta(hours=hour)


def run(job: Job) -> Job:
    jobs.run(job.pk)
    job.refresh_from_db()
    return job


def test_each_night_asks_once_however_many_workers_wake(db, only_this_night):
    assert jobs.due_tonight(night(1)) == [], "not before two"
    assert len(jobs.due_tonight(night(2))) == 1
    assert jobs.due_tonight(night(2)) == jobs.due_tonight(night(23)) == []
    assert len(jobs.due_tonight(night(5, day=1))) == 1, "the next day again, also when the machine slept at two"
    assert Job.objects.filter(name=NIGHT, state=JobState.QUEUED).count() == 2


def test_a_nightly_job_is_rung_for_by_the_sweeper(db, only_this_night, exhibition):
    checklists.listed(exhibition, 2)
    (row,) = jobs.due_tonight(timezone.now().replace(hour=12))
    assert str(row.pk) in jobs.sweep()
    row.refresh_from_db()
    asked = Forecast.objects.get()
    assert row.state == JobState.DONE and row.result == {"forecast": str(asked.pk)}
    assert run(asked.job).state == JobState.DONE, "the forecast itself is a job like any other"


def test_a_day_that_has_its_forecast_needs_no_other(db, only_this_night, exhibition):
    checklists.listed(exhibition, 2)
    checklists.forecast_now()
    (row,) = jobs.due_tonight(timezone.now().replace(hour=12))
    assert run(row).result == {"nothing": "This day has its forecast already."} and Forecast.objects.count() == 1


def test_a_night_without_anything_to_forecast_says_why_and_is_no_failure(db, only_this_night):
    (row,) = jobs.due_tonight(timezone.now().replace(hour=12))
    assert run(row).state == JobState.DONE and "There is no exhibition" in row.saying


def kept(exhibition: Exhibition, *, days_ago: int = 0) -> Forecast:
    checklists.forecast_now()
    row = Forecast.objects.order_by("-made_at").first()
    if days_ago:
        when = timezone.now() - timedelta(days=days_ago)
        Forecast.objects.filter(pk=row.pk).update(as_of=checklists.in_days(-days_ago), made_at=when, finished_at=when)
    return row


def test_a_forecast_keeps_its_dates_counts_buffers_and_what_decides(exhibition):
    things = [checklists.listed(exhibition, 3, 2) for _ in range(4)]
    row = kept(exhibition)
    row.refresh_from_db()
    days = [row.finish[name] for name in ("10", "50", "80", "90", "95")]
    assert all(days) and days == sorted(days)
    assert [one["kind"] for one in row.buffers] == ["mount_making", "case_closing", "opening"]
    assert all(one["50"] <= one["80"] <= one["95"] for one in row.buffers)
    assert row.counts[0][1:] == [0, 0, 0] and row.counts[-1][1:] == [4, 4, 4]
    assert sum(one["last"] for one in row.critical["objects"]) == pytest.approx(1.0)
    assert {one["object"] for one in row.critical["objects"]} <= {str(thing.pk) for thing in things}


def test_past_curves_stand_behind_and_what_came_beside_what_was_forecast(reader, exhibition):
    things = [checklists.listed(exhibition, 3, 2) for _ in range(3)]
    for days in (21, 14, 7):
        kept(exhibition, days_ago=days)
    Treatment.objects.create(
        object=things[0], exhibition=exhibition, level="rejoin_failing", finished_on=checklists.in_days(-10)
    )
    kept(exhibition)
    shown = reader.get(PAGE).context["shown"]
    assert len(shown.past_readiness) == len(shown.past_counts) == 3
    assert shown.actual == [(checklists.in_days(-21), 0), (checklists.in_days(-10), 1), (checklists.today(), 1)]
    assert shown.all_counted == 3 and shown.counts[0]["middle"] == 1
    page = text(reader.get(PAGE))
    assert page.count('class="past"') >= 6 and "what came" in page and "Days in hand before each date" in page
    assert "95 times in 100 by" in page and "Which objects decide the end" in page


def test_a_forecast_of_before_these_were_kept_is_still_shown(reader, exhibition):
    checklists.listed(exhibition, 2)
    row = kept(exhibition)
    Forecast.objects.filter(pk=row.pk).update(
        counts=[], buffers=[], critical={}, finish={"10": "2026-12-01", "50": "2026-12-02", "90": None},
        assumptions={"factor": 1.0, "with_work": 1},
    )  # fmt: skip
    page = text(reader.get(PAGE))
    assert "9 times in 10 by" in page and "not within reach" in page


def test_illness_makes_the_end_later_and_is_named(exhibition):
    for _ in range(8):
        checklists.listed(exhibition, 4, 4, 3)
    well = {**SHIPPED, "sick_days": 0.0, "surprise_extra": 0.0}
    services.set_mishap(well, "All well", by=None, at=timezone.now())
    before = kept(exhibition)
    services.set_mishap({**well, "sick_days": 100.0, "spell_days": 10.0}, "Winter", by=None, at=timezone.now())
    after = kept(exhibition)
    before.refresh_from_db()
    after.refresh_from_db()
    assert after.finish["80"] > before.finish["80"] and after.assumptions["sick_days"] == 100.0


def test_recorded_surprises_bend_the_chance_as_a_beta_prior_says(db):
    for found in [True] * 6 + [False] * 4:
        Treatment.objects.create(object=builders.an_object(), level="take_down_rejoin", surprise=found)
    Treatment.objects.create(object=builders.an_object(), level="secure")
    between = selectors.assumed_mishaps(in_hours_already=False)
    # Beta(1.5, 8.5) and 6 of 10: (1.5 + 6) / (10 + 10), conjugate of the binomial.
    assert between.chance == pytest.approx(7.5 / 20) and between.beta == pytest.approx((7.5, 12.5))


@pytest.mark.parametrize(
    ("name", "value"),
    [("sick_days", -1.0), ("sick_days", 400.0), ("spell_days", 0.0), ("surprise", 0.0), ("surprise", float("nan")),
     ("surprise_extra", 50.0), ("surprise_weight", 0.0)],
)  # fmt: skip
def test_assumptions_that_cannot_be_are_refused(db, name, value):
    with pytest.raises(FettleError, match="must lie between"):
        services.set_mishap({**SHIPPED, name: value}, "why", by=None, at=timezone.now())
    assert not Mishap.objects.exists()


def test_the_head_changes_what_may_come_between_with_a_reason(head, conservator, db):
    checklists.an_exhibition()
    said = {"sick_days": "9", "spell_days": "3", "surprise": "30", "surprise_weight": "5", "surprise_extra": "60"}
    assert "Assume this" not in text(conservator.get(BETWEEN))
    assert conservator.post(BETWEEN, {**said, "reason": "x"}).status_code == 403
    assert head.post(BETWEEN, {**said, "reason": ""}).status_code == 422
    assert head.post(BETWEEN, {**said, "sick_days": "999", "reason": "x"}).status_code == 422
    assert head.post(BETWEEN, {**said, "reason": "Last winter"}).status_code == 302
    row = Mishap.objects.get()
    assert (row.sick_days, row.surprise, row.surprise_extra) == (9.0, 0.3, 0.6)
    assert Event.objects.get(verb="set what may come between").was["sick_days"] == SHIPPED["sick_days"]
    assert "Last winter" in text(head.get(BETWEEN))


def test_what_is_done_already_is_not_forecast_again(exhibition):
    thing = checklists.listed(exhibition, 3, 2)
    ann, now = builders.a_person(), timezone.now()

    def steps() -> dict[str, int]:
        made = gather_work(exhibition, timezone.localtime(now).replace(tzinfo=None)).instance["objects"]
        return {s["id"]: s["q"] for one in made for s in one["levels"][0]["steps"]}

    whole = steps()
    first, second = list(whole)[:2]
    day = checklists.in_days(-1)
    hours.log_time(thing, Said(first.split("-")[1], day, 0.5, step_done=True), worker=ann, by=ann, at=now)
    left = steps()
    assert first not in left and set(left) == set(whole) - {first}, "the others keep their names"
    hours.log_time(thing, Said(second.split("-")[1], day, 20.0), worker=ann, by=ann, at=now)
    assert 0 < steps()[second] < whole[second], "a quarter is left until somebody says that it is finished"


def test_the_page_costs_the_same_for_one_past_forecast_and_for_thirty(reader, exhibition):

    def count() -> int:
        with CaptureQueriesContext(connection) as made:
            assert reader.get(PAGE).status_code == 200
        return len(made)

    checklists.listed(exhibition, 3, 2)
    kept(exhibition, days_ago=40)
    row = kept(exhibition)
    one = count()
    row.refresh_from_db()
    for days in range(1, 30):
        when = timezone.now() - timedelta(days=days)
        row.pk, row._state.adding = None, True
        Forecast.objects.create(
            **{
                f.attname: getattr(row, f.attname) for f in Forecast._meta.concrete_fields if f.name not in
                ("id", "as_of", "made_at", "finished_at", "job")
            },
            as_of=checklists.in_days(-days), made_at=when, finished_at=when,
        )  # fmt: skip
    assert count() == one <= 30
