"""What loggers wrote is what scores go by: a warm store fails sooner than a cool one."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from survey.models import Joint, ObjectRisk
from survey.risk.ageing import SITE_CLIMATES, relative_rate
from survey.risk.db.selectors.gathering import Ahead, Setting, gather
from survey.risk.db.services import loggers, start_run
from survey.risk.parameters import read
from tests import builders

NOW = builders.NOW


def a_store(done, temperature: float | None, *, humidity: float = 50.0, years: int = 3, **fields):
    """A room with readings four times a day up to today, or none, and an object with one joint looked at in it."""
    room = builders.a_place(kind="room", **fields)
    if temperature is not None:
        first = NOW.date() - timedelta(days=365 * years)
        rows = (f"{first + timedelta(days=n)} {hour:02}:00,{temperature},{humidity}"
                for n in range(365 * years) for hour in (0, 6, 12, 18))  # fmt: skip
        text = "Date,Temp (°C),RH (%)\n" + "\n".join(rows) + "\n"
        made = loggers.receive([text.encode()], "log.csv", place=room, by=None, at=NOW)
        done(lambda: loggers.look_through(made, reading=made.reading, stays=[(room, None)], by=None, at=NOW))
        loggers.count(made, by=None, at=NOW)
    shelf = builders.a_place(parent=room)
    thing = builders.an_object(joints=1, height_mm=300, width_mm=200, place=shelf)
    joint = Joint.objects.get(restoration__object=thing)
    joint.restoration.year_earliest = joint.restoration.year_latest = 1960
    joint.restoration.save()
    builders.an_assessment(thing, stages={joint: 2}, started_at=NOW - timedelta(days=730))
    return thing


def test_a_warm_store_gives_a_higher_chance_than_a_cool_one(done):
    cool, usual, warm = (a_store(done, temperature) for temperature in (8.0, 20.0, 30.0))
    run, _ = done(lambda: start_run(by=None, at=NOW, exhibition=builders.an_exhibition()))
    chance = {row.object_id: row.before_opening for row in ObjectRisk.objects.filter(run=run)}
    assert chance[cool.pk] < chance[usual.pk] < chance[warm.pk]
    assert chance[warm.pk] > 1.5 * chance[cool.pk]


def test_taking_a_file_back_takes_it_out_of_the_next_scoring(done):
    from survey.models import LoggerFile

    warm, unlogged = a_store(done, 30.0), a_store(done, None)
    loggers.take_back(LoggerFile.objects.get(), by=None, at=NOW)
    run, _ = done(lambda: start_run(by=None, at=NOW))
    chance = {row.object_id: row.before_opening for row in ObjectRisk.objects.filter(run=run)}
    assert chance[warm.pk] == pytest.approx(chance[unlogged.pk])


def gathered(things, parameters=None):
    setting = Setting(
        as_of=NOW.date(),
        ahead=(Ahead("opening", "opening day", date(2026, 6, 8)),),
        parameters=read(parameters or {}),
    )
    return gather([thing.pk for thing in things], None, setting).inputs


def test_age_time_since_a_look_and_time_ahead_are_each_reckoned_in_their_own_climate(done):
    """Logged for three years at 30 °C and 50 %, before that a cellar: 63 years of cellar, 3 of warmth; looked at two
    years ago, all of them warm; and the same warmth ahead."""
    inputs = gathered([a_store(done, 30.0, climate="cellar")])
    warm, cellar = float(relative_rate(30.0, 50.0)), SITE_CLIMATES["cellar"].rate()
    assert inputs.visit_ago[0, 0] == pytest.approx(2 * warm, rel=0.02)
    assert inputs.rate_per_year[0] == pytest.approx(warm, rel=0.02)
    assert inputs.age_now[0] == pytest.approx(63 * cellar + 3 * warm, rel=0.02)


def test_without_readings_all_go_by_the_class(done):
    inputs = gathered([a_store(done, None, climate="attic")])
    rate = SITE_CLIMATES["attic"].rate()
    assert inputs.visit_ago[0, 0] == pytest.approx(730 / 365.25 * rate)
    assert inputs.rate_per_year[0] == pytest.approx(rate)
    assert inputs.age_now[0] == pytest.approx(66 * rate, rel=1e-4)


def test_the_constants_of_the_set_in_force_are_used(done):
    thing = a_store(done, 30.0)
    steep = gathered([thing], {"activation_energy": 140_000.0})
    want = relative_rate(30.0, 50.0, activation_energy=140_000.0)
    assert steep.rate_per_year[0] == pytest.approx(float(want), rel=0.02)


def test_what_bears_weight_and_what_is_porous_runs_through_its_stages_faster(done):
    thing = a_store(done, None)
    bearing, porous = a_store(done, None), a_store(done, None)
    Joint.objects.filter(restoration__object=bearing).update(structural=True)
    porous.body = "earthenware"
    porous.save()
    things = [thing, bearing, porous]
    ranks = [sorted(each.pk for each in things).index(each.pk) for each in things]

    def factors(parameters=None):
        inputs = gathered(things, parameters)
        return [float(inputs.rate_factor[inputs.object_index == rank][0]) for rank in ranks]

    assert factors() == pytest.approx([1.0, 1.25, 1.1])
    assert factors({"covariates.load_bearing": 2.0}) == pytest.approx([1.0, 2.0, 1.1])


def test_an_age_that_is_not_known_stays_not_known(done):
    thing = builders.an_object(joints=1)
    inputs = gathered([thing])
    assert np.isnan(inputs.age_now[0]) and np.isnan(inputs.visit_ago).all()
