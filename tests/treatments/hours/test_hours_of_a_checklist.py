"""Hours of each level for an object, what counts for a checklist, and how estimates have held."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest

from survey.condition.db import selectors as condition
from survey.models import Joint, ObjectRisk, RiskRun
from survey.risk.db import services as risk
from tests import builders
from tests.treatments import checklists
from treatments.hours.db import selectors
from treatments.hours.db.selectors.learned import NOT_KNOWN_YET, SEASON
from treatments.models import LevelTable, LoggedTime, Treatment
from treatments.options.db import services as options

NOW = builders.NOW


@pytest.fixture
def exhibition(db):
    return checklists.an_exhibition()


def levels_of(thing):
    return {level.level.code: level for level in selectors.all_levels(thing.pk)}


def test_every_level_has_hours_in_order_and_waits_apart(exhibition):
    for level in levels_of(checklists.listed(exhibition, 3, 2, 0)).values():
        hours, wait = level.hours, level.wait
        assert 0 <= hours.low <= hours.likely <= hours.high and 0 <= wait.low <= wait.likely <= wait.high
        assert hours.likely == pytest.approx(sum(step.hours.likely for step in level.steps))
        assert wait.likely == pytest.approx(sum(step.wait.likely for step in level.steps))


def test_more_work_is_more_hours(exhibition):
    found = levels_of(checklists.listed(exhibition, 3, 3, 3, 0))
    hours = [found[code].hours.likely for code in ("leave", "watch", "secure", "rejoin_failing", "take_down_rejoin")]
    assert hours == sorted(hours) and hours[0] == 0


def test_hours_grow_with_joints_with_their_length_and_with_paint(exhibition):
    few, many = checklists.listed(exhibition, 3), checklists.listed(exhibition, 3, 3, 3)
    long, bright = checklists.listed(exhibition, 3), checklists.listed(exhibition, 3)
    Joint.objects.filter(restoration__object=long).update(length_mm=400)
    checklists.painted(bright, 60.0)
    base = levels_of(few)["take_down_rejoin"].hours.likely
    for thing in (many, long, bright):
        assert levels_of(thing)["take_down_rejoin"].hours.likely > base


def test_a_level_that_touches_failing_joints_only_does_not_grow_with_sound_ones(exhibition):
    one, sound_too = checklists.listed(exhibition, 3), checklists.listed(exhibition, 3, 0, 0, 0)
    assert levels_of(one)["rejoin_failing"].hours == levels_of(sound_too)["rejoin_failing"].hours
    assert levels_of(one)["take_down_rejoin"].hours.likely < levels_of(sound_too)["take_down_rejoin"].hours.likely


def test_what_nobody_measured_is_assumed_and_said(exhibition):
    thing = checklists.listed(exhibition, 3)
    assert levels_of(thing)["rejoin_failing"].assumed == ()
    Joint.objects.filter(restoration__object=thing).update(length_mm=None)
    assert levels_of(thing)["rejoin_failing"].assumed_words == ["length of joints"]


def plan(exhibition, thing):
    return selectors.object_plans(exhibition)[thing.pk]


@pytest.mark.parametrize(
    ("stages", "level"),
    [((), "leave"), ((0, 1), "watch"), ((2, 0), "secure"), ((3, 0, 0), "rejoin_failing"), ((4, 3), "take_down_rejoin")],
)
def test_suggestions_follow_the_joints_as_last_seen_without_waiting_for_a_scoring(exhibition, stages, level):
    found = plan(exhibition, checklists.listed(exhibition, *stages))
    assert (found.level, found.suggestion.level, found.chosen) == (level, level, None)


def test_a_later_look_changes_the_suggestion(exhibition):
    thing = checklists.listed(exhibition, 0)
    builders.an_assessment(
        thing, stages={Joint.objects.get(): 3}, started_at=NOW.replace(day=9), finished_at=NOW.replace(day=9)
    )
    assert plan(exhibition, thing).level == "take_down_rejoin"


def test_joints_that_nobody_looked_at_are_watched(exhibition):
    assert plan(exhibition, checklists.listed(exhibition, 3, looked=False)).level == "watch"


def test_a_joint_taken_down_no_longer_counts(exhibition):
    thing = checklists.listed(exhibition, 3, 0)
    Joint.objects.filter(label="J1").update(ended_at=NOW)
    assert plan(exhibition, thing).level == "watch"


def test_the_urgent_rules_of_the_last_scoring_count_too(exhibition):
    thing = checklists.listed(exhibition, 0)
    run = RiskRun.objects.create(
        parameters=risk.ensure_parameters(at=NOW), as_of=NOW.date(), began_at=NOW, finished_at=NOW
    )
    ObjectRisk.objects.create(
        run=run, object=thing, band="do_not_lift", band_order=0, before_opening=0.2, before_opening_low=0.1,
        before_opening_high=0.3, yearly=0.1, loss=0.1, weighted_loss=0.1, joints=1,
    )  # fmt: skip
    assert plan(exhibition, thing).level == "secure"


def test_a_disfiguring_restoration_on_show_is_made_good(exhibition):
    thing = checklists.listed(exhibition, looked=False)
    joints = [Joint.objects.create(restoration=thing.restorations.create(), label="J1", length_mm=80)]
    builders.an_assessment(thing, stages={joints[0]: 4}, disfigurement="unacceptable")
    assert plan(exhibition, thing).level == "make_good"


def test_what_is_chosen_counts_before_what_is_suggested(exhibition):
    thing = checklists.listed(exhibition, 0)
    options.choose_level(exhibition, thing, "secure", by=None, at=NOW)
    found = plan(exhibition, thing)
    assert (found.level, found.suggestion.level, found.chosen.level) == ("secure", "watch", "secure")


def test_a_chosen_level_that_is_in_no_table_any_more_is_said_and_the_suggestion_counts(exhibition):
    thing = checklists.listed(exhibition, 0)
    row = options.choose_level(exhibition, thing, "secure", by=None, at=NOW)
    row.level = "gone"
    row.save()
    found = plan(exhibition, thing)
    assert (found.level, found.chosen, found.unknown) == ("watch", None, "gone")


def a_job(ratio: float = 1.0, *, hours: float = 10.0, finished: bool = True) -> Treatment:
    """A treatment of one step estimated without spread, so that its expected hours are its likely hours."""
    made = Treatment.objects.create(
        object=builders.an_object(), level="secure", estimate={"secure_edges": [hours] * 3},
        finished_on=date(2026, 2, 1) if finished else None,
    )  # fmt: skip
    log(made, hours * ratio)
    return made


def log(treatment: Treatment, hours: float, **fields) -> LoggedTime:
    return LoggedTime.objects.create(
        treatment=treatment, step="secure_edges", worker=builders.a_person(), on=date(2026, 2, 1), hours=hours, at=NOW,
        **fields,
    )  # fmt: skip


@pytest.mark.parametrize("jobs", [0, 1, 9])
def test_below_ten_finished_treatments_the_factor_is_one_with_a_wide_spread(db, jobs):
    for _ in range(jobs):
        a_job(1.6)
    found = selectors.experience()
    assert (found.factor, found.log_sigma, found.reference.jobs) == (1.0, NOT_KNOWN_YET, jobs)
    assert not found.reference.enough


def test_from_ten_finished_treatments_the_departments_own_ratio_counts(db):
    for _ in range(10):
        a_job(1.6)
    found = selectors.experience()
    assert found.factor == pytest.approx(1.6) and found.reference.enough
    assert found.log_sigma == pytest.approx(SEASON), "ten equal ratios leave only what seasons differ by"


def test_big_jobs_weigh_as_much_as_their_hours(db):
    for _ in range(9):
        a_job(1.0, hours=2.0)
    a_job(2.0, hours=12.0)
    # What all took over what all were expected to take: (9 * 2 + 24) / (9 * 2 + 12)
    assert selectors.experience().factor == pytest.approx(42 / 30)


def test_the_spread_of_single_jobs_averages_out_the_more_of_them_are_known(db):
    rng = np.random.default_rng(5)
    spreads = []
    for jobs in (10, 30):
        while Treatment.objects.count() < jobs:
            a_job(float(rng.lognormal(0.0, 0.4)), hours=8.0)
        spreads.append(selectors.experience().log_sigma)
    # Standard error of a mean, 0.4 / sqrt(30), beside the season's own spread.
    assert SEASON < spreads[1] < spreads[0] < 0.4
    assert spreads[1] == pytest.approx(math.hypot(0.4 / math.sqrt(30), SEASON), rel=0.35)


def test_an_estimate_with_a_long_tail_is_compared_by_its_mean_not_by_its_likely_hours(db):
    for _ in range(10):
        job = a_job(1.0, hours=10.0)
        job.estimate = {"secure_edges": [8.0, 16.0, 40.0]}  # mean 21.79: science, log-normal from two quantiles
        job.save()
        LoggedTime.objects.filter(treatment=job).update(hours=21.79)
    assert selectors.experience().factor == pytest.approx(1.0, abs=0.001)


def test_a_correction_replaces_the_hours_that_it_corrects(db):
    for _ in range(10):
        job = a_job(2.0, hours=5.0)
        wrong = job.logged.get()
        right = log(job, 4.0, corrects=wrong)
        log(job, 5.0, corrects=right)
    assert selectors.experience().factor == pytest.approx(1.0)


def test_work_that_goes_on_and_jobs_without_hours_or_estimate_are_not_counted(db):
    for _ in range(10):
        a_job(1.5)
    a_job(9.0, hours=2.0, finished=False)
    LoggedTime.objects.filter(treatment=a_job()).delete()
    bare = a_job(2.0)
    bare.estimate = {}
    bare.save()
    found = selectors.experience()
    assert found.factor == pytest.approx(1.5) and found.reference.jobs == 10


def test_the_whole_checklist_needs_the_sum_with_a_range_that_a_shared_factor_widens(exhibition):
    for _ in range(30):
        checklists.listed(exhibition, 3, 2)
    plans = selectors.object_plans(exhibition).values()
    default = selectors.hours_needed(plans, selectors.experience())
    sure = selectors.hours_needed(plans, selectors.experience()._replace(log_sigma=0.0))
    assert default.low < sure.low < sure.likely < sure.high < default.high
    likely = sum(plan.counts.hours.likely for plan in plans)
    assert likely < sure.likely < 1.6 * likely, "the mean of a skewed range lies above its likely hours"
    # A common bias of 30 per cent over many objects gives about that spread (science: 100 objects, 30.8 %).
    assert math.log(default.high / default.low) / (2 * 1.2816) == pytest.approx(0.3, rel=0.1)


def test_nothing_to_do_needs_no_hours(exhibition):
    checklists.listed(exhibition)
    needed = selectors.hours_needed(selectors.object_plans(exhibition).values(), selectors.experience())
    assert (needed.low, needed.likely, needed.high) == (0, 0, 0)


def test_plans_of_one_object_are_those_of_the_whole_list(exhibition):
    things = [checklists.listed(exhibition, stage) for stage in (0, 2, 3)]
    whole = selectors.object_plans(exhibition)
    for thing in things:
        assert selectors.plans_of(exhibition, [thing.pk])[thing.pk] == whole[thing.pk]
    assert set(condition.drivers([thing.pk for thing in things])) == set(whole)
    assert LevelTable.objects.count() == 1
