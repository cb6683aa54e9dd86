"""What finished treatments teach: estimates on pages and in plans, the factor until ten are finished, the page."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from media.base.errors import FettleError
from media.base.models import Event
from tests import builders
from tests.treatments import checklists
from treatments.hours.db import selectors, services
from treatments.hours.learning import Z90, StepRecord, adjusted, calibrate, teach
from treatments.models import EstimateFactor, LoggedTime, Treatment
from treatments.options.steps import StepHours, ThreePoint

PAGE = "/treatments/learned/"
CODES = {"secure_edges": "secure", "take_down": "take_down", "examine": "examine"}


def finished(ratios: dict[str, float], *, body: str = "", hours: float = 4.0) -> Treatment:
    """A finished treatment whose steps were expected to take ``hours`` and took so many times that."""
    row = Treatment.objects.create(
        object=builders.an_object(body=body), level="rejoin_failing", finished_on=date(2026, 2, 1),
        estimate={code: [hours] * 3 for code in ratios},
    )  # fmt: skip
    worker = builders.a_person()
    LoggedTime.objects.bulk_create(
        LoggedTime(treatment=row, step=code, worker=worker, on=date(2026, 2, 1), hours=hours * ratio, at=builders.NOW)
        for code, ratio in ratios.items()
    )
    return row


@pytest.fixture
def exhibition(db):
    return checklists.an_exhibition()


def likely(thing) -> dict[str, float]:
    level = next(found for found in selectors.all_levels(thing.pk) if found.level.code == "rejoin_failing")
    return {step.code: step.hours.likely for step in level.steps}


def test_below_ten_the_factor_that_somebody_set_multiplies_every_hour(exhibition):
    thing = checklists.listed(exhibition, 2)
    before = likely(thing)
    services.set_factor(1.5, "As last year", by=None, at=builders.NOW)
    assert likely(thing) == pytest.approx({code: 1.5 * hours for code, hours in before.items()})
    assert selectors.experience().factor == 1.5
    needed = selectors.hours_needed(selectors.object_plans(exhibition).values(), selectors.experience())
    services.set_factor(1.0, "Back", by=None, at=builders.NOW)
    plain = selectors.hours_needed(selectors.object_plans(exhibition).values(), selectors.experience())
    assert needed.likely == pytest.approx(1.5 * plain.likely), "counted once, not twice"


def test_from_ten_on_the_departments_own_hours_count_and_the_set_factor_no_more(exhibition):
    thing = checklists.listed(exhibition, 2)
    before = likely(thing)
    services.set_factor(3.0, "Much too careful", by=None, at=builders.NOW)
    rng = np.random.default_rng(4)
    for _ in range(12):
        spread = rng.lognormal(0, 0.2, 3)
        finished(dict(zip(CODES, spread * (1.0, 2.0, 1.0), strict=True)))
    after = likely(thing)
    assert 1.1 < selectors.experience().factor < 1.7
    # Taking down took twice as long as the others: it is estimated longer, beside them.
    slower = (after["take_down"] / before["take_down"]) / (after["examine"] / before["examine"])
    assert 1.3 < slower < 2.0, "pulled towards the others, but not all the way"


def test_totals_are_right_on_average_whatever_kinds_teach():
    rng = np.random.default_rng(1)
    records = [
        StepRecord(f"j{job}", kind, "join", "", hours, hours * ratio * float(rng.lognormal(0, 0.3)))
        for job in range(20) for kind, hours, ratio in [("join", 6.0, 1.4), ("fill", 2.0, 0.8), ("test", 1.0, 1.0)]
    ]  # fmt: skip
    teaching = teach(records)
    said = sum(record.expected for record in records)
    assert sum(r.expected * teaching.factor(r.kind, r.skill, r.body) for r in records) == pytest.approx(said)


def test_the_mean_is_multiplied_and_the_range_is_that_of_the_records():
    rng = np.random.default_rng(2)
    records = [StepRecord(f"j{job}", "join", "join", "", 2.0, 2.0 * float(rng.lognormal(0, 0.5))) for job in range(60)]
    teaching = teach(records)
    step = StepHours("join", "Join", "join", "join", "none", ThreePoint(1.0, 2.0, 4.0), ThreePoint(0, 0, 0))
    found = adjusted(step, 1.2, teaching)
    spread = math.log(found.high / found.low) / (2 * Z90)
    assert spread == pytest.approx(0.5, rel=0.25)
    sigma = math.log(4) / (2 * Z90)
    mean = 2.0 * math.exp(sigma**2 / 2)  # log-normal through 1 and 4 as one in ten and nine in ten
    assert found.likely * math.exp(spread**2 / 2) == pytest.approx(1.2 * mean * teaching.factor("join", "join", ""))
    wide = StepHours("join", "Join", "join", "join", "none", ThreePoint(0.1, 2.0, 40.0), step.wait, ("joints",))
    held = adjusted(wide, 1.2, teaching)
    assert math.log(held.high / held.low) == pytest.approx(math.log(400)), "what nobody measured stays wide"


def test_bodies_are_told_apart_as_far_as_their_records_go():
    rng = np.random.default_rng(3)
    made = [("earthenware", 1.0)] * 20 + [("porcelain", 1.8)] * 20 + [("stoneware", 1.8)]
    records = [
        StepRecord(f"j{n}", kind, "join", body, 2.0, 2.0 * ratio * float(rng.lognormal(0, 0.2 * (n < 40))))
        for n, (body, ratio) in enumerate(made) for kind in ("join", "fill")
    ]  # fmt: skip
    effect = teach(records).fitted.effects("body")
    assert effect["porcelain"] - effect["earthenware"] == pytest.approx(math.log(1.8), rel=0.3)
    assert effect["earthenware"] < effect["stoneware"] < effect["porcelain"], "one job says little"


def test_ranges_of_an_honest_record_hold_what_they_say_and_those_of_a_trend_do_not():
    rng = np.random.default_rng(6)
    tough = np.repeat(rng.normal(0, 0.3, 60), 5)
    y = tough + rng.normal(0, 0.4, 300)
    records = [StepRecord(f"j{n // 5}", f"k{n % 5}", f"s{n % 2}", "", 2.0, 2.0 * math.exp(v)) for n, v in enumerate(y)]
    found = calibrate(teach(records))
    assert found.steps[7] == pytest.approx(0.8, abs=0.06) and found.jobs[7] == pytest.approx(0.8, abs=0.14)
    assert list(found.steps) == sorted(found.steps) and (found.step_count, found.job_count) == (300, 60)


def test_too_few_records_teach_only_the_factor(db):
    for _ in range(10):
        finished({"secure_edges": 1.5})
    assert selectors.learned().teaching is None and selectors.experience().factor == pytest.approx(1.5)
    assert teach([]) is None


def test_steps_that_were_never_estimated_or_are_in_no_table_teach_nothing(exhibition):
    for _ in range(12):
        row = finished({"secure_edges": 1.0, "examine": 1.0, "gone": 5.0})
        LoggedTime.objects.create(
            treatment=row, step="fill", worker=builders.a_person(), on=date(2026, 2, 1), hours=9, at=builders.NOW
        )
    assert {record.kind for record in selectors.learned().records} == {"secure", "examine"}


@pytest.mark.parametrize("factor", [0.1, 6.0, math.nan, math.inf, -1.0])
def test_a_factor_that_cannot_be_is_refused(db, factor):
    with pytest.raises(FettleError, match=r"between 0\.2 and 5"):
        services.set_factor(factor, "why", by=None, at=builders.NOW)


def test_the_factor_is_set_by_the_head_with_a_reason(head, conservator, exhibition):
    assert conservator.post(f"{PAGE}factor/", {"factor": "1.3", "reason": "x"}).status_code == 403
    assert head.post(f"{PAGE}factor/", {"factor": "1.3", "reason": " "}).status_code == 422
    assert head.post(f"{PAGE}factor/", {"factor": "1e9", "reason": "x"}).status_code == 422
    assert head.post(f"{PAGE}factor/", {"factor": "1.3", "reason": "As last year"}).status_code == 302
    assert EstimateFactor.objects.get().factor == 1.3 and Event.objects.get(verb="set the factor on estimates").by
    page = head.get(PAGE).content.decode()
    assert "As last year" in page and "0 of the ten" in page


def test_the_page_says_in_words_how_ranges_held(head, exhibition):
    rng = np.random.default_rng(9)
    for n in range(15):
        ratios = 1.3 * rng.lognormal(0, 0.3, 3)
        finished(dict(zip(CODES, ratios, strict=True)), body=("earthenware", "porcelain")[n % 2])
    response = head.get(PAGE)
    shown, page = response.context["shown"], response.content.decode()
    assert f"{shown.held_jobs} of 15" in page and "Porcelain" in page and "Take down" in page
    assert shown.main.jobs == pytest.approx(shown.held_jobs / 15) and shown.verdict in page
    assert head.post(f"{PAGE}factor/", {"factor": "1.3", "reason": "x"}).status_code == 400


def test_the_page_costs_the_same_for_ten_jobs_and_for_forty(head, exhibition):
    def count() -> int:

        with CaptureQueriesContext(connection) as made:
            assert head.get(PAGE).status_code == 200
        return len(made)

    for _ in range(10):
        finished(dict.fromkeys(CODES, 1.2))
    few = count()
    for _ in range(30):
        finished(dict.fromkeys(CODES, 1.3))
    assert count() == few <= 12
