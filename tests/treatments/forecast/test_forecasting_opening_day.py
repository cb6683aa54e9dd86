"""Will we be ready? Forecasts of small checklists whose answer is plain, and of awkward ones."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from media.base.errors import FettleError
from survey.models import ChecklistEntry, Joint, Milestone
from tests import builders
from tests.treatments import checklists
from treatments.forecast.db import selectors, services
from treatments.models import Forecast, Leave, ObjectForecast, Treatment
from treatments.options.db import services as options
from treatments.planning.calendar import end_of_day
from treatments.planning.db.selectors.work import SITTING, longest_sittings


@pytest.fixture
def exhibition(db):
    return checklists.an_exhibition()


def forecast(exhibition, *, trials=400, seed=1, made_at: datetime | None = None) -> Forecast:
    """A forecast made here and now, and kept."""
    at = made_at or checklists.now()
    row = Forecast.objects.create(
        exhibition=exhibition, as_of=checklists.today(), seed=seed, trials=trials, made_at=at
    )  # fmt: skip
    return services.keep_forecast(services.make_forecast(row, progress=lambda done: None), at=at)


def work(exhibition):
    return selectors.gather_work(exhibition, datetime.combine(checklists.today(), datetime.min.time()))


def refused(**said) -> str:
    with pytest.raises(FettleError) as raised:
        services.start_forecast(by=None, at=checklists.now(), **said)
    assert not Forecast.objects.exists()
    return raised.value.message


def test_without_an_exhibition_it_says_what_to_add(db):
    assert "no exhibition to forecast" in refused()


def test_without_an_opening_day_it_says_what_to_set(exhibition):
    Milestone.objects.filter(kind="opening").delete()
    assert "has no opening day yet" in refused()


def test_an_exhibition_that_has_opened_is_not_forecast(exhibition):
    checklists.move_date(exhibition, "opening", checklists.in_days(-1))
    assert "nothing to forecast" in refused()


def test_an_opening_day_beyond_ten_years_is_taken_for_a_slip(exhibition):
    checklists.move_date(exhibition, "opening", date(2999, 1, 1))
    assert "more than ten years ahead" in refused()


def test_with_nobody_at_the_bench_it_says_whom_to_add(exhibition):
    assert "Nobody is recorded at the bench" in refused()


@pytest.mark.parametrize("said", [{"trials": 0}, {"trials": 10**7}, {"seed": -1}, {"seed": 2**31}])
def test_trials_and_seeds_out_of_range_are_refused(exhibition, said):
    checklists.a_member()
    assert "must be a whole number" in refused(**said)


def test_one_small_object_and_months_to_go_is_all_but_certain(exhibition):
    checklists.a_member()
    checklists.listed(exhibition, 2)
    row = forecast(exhibition)
    assert set(row.chances) == {"photography", "mount_making", "case_closing", "opening"}
    assert set(row.chances.values()) == {1.0} and row.chance_all == 1.0 and row.expected_late == 0
    assert row.hours_there > 100 > row.hours_needed["likely"] > 0
    days = [date.fromisoformat(row.finish[name]) for name in ("10", "50", "90")]
    assert checklists.today() < days[0] <= days[1] <= days[2] < checklists.in_days(40)
    assert row.notes == [] and row.finished_at


def test_with_everything_left_as_it_is_all_is_ready_today(exhibition):
    checklists.a_member()
    for _ in range(3):
        checklists.listed(exhibition)
    row = forecast(exhibition)
    assert set(row.chances.values()) == {1.0} and row.chance_all == 1.0
    assert set(row.finish.values()) == {checklists.today().isoformat()}
    assert {chance for _, chance in row.curve} == {1.0} and row.hours_needed["high"] == 0
    assert not ObjectForecast.objects.exists()


def test_an_empty_checklist_is_ready(exhibition):
    checklists.a_member()
    row = forecast(exhibition)
    assert set(row.chances.values()) == {1.0} and row.weeks and row.assumptions["objects"] == 0


def test_far_too_much_work_is_never_ready(exhibition):
    checklists.a_member(week=[[9.0, 1.0]] + [[9.0, 0.0]] * 6)
    for _ in range(30):
        checklists.listed(exhibition, 3, 3, 3)
    row = forecast(exhibition)
    assert row.chances["opening"] == 0.0 and row.expected_late == pytest.approx(30, abs=6)
    assert row.hours_needed["low"] > row.hours_there
    assert any("By a first schedule" in note and "cannot be" in note for note in row.notes)


def test_one_object_of_ten_thousand_hours_is_never_ready_and_forecast_all_the_same(exhibition):
    checklists.a_member()
    huge = checklists.listed(exhibition, 3)
    checklists.painted(huge, 900_000.0)
    row = forecast(exhibition, trials=20)
    assert row.hours_needed["likely"] > 10_000 and row.chances["opening"] == 0.0
    found = ObjectForecast.objects.get()
    assert found.late == 1.0 and (found.ready_10 is None or found.ready_10 > checklists.in_days(90))


def test_an_object_beyond_belief_is_refused_by_its_number(exhibition):
    checklists.a_member()
    checklists.painted(checklists.listed(exhibition, 3, number="A 77"), 999_999.0)
    Joint.objects.update(length_mm=3_000_000)
    with pytest.raises(FettleError, match="A 77 comes to"):
        forecast(exhibition)


def test_work_that_nobody_can_do_is_said_and_never_ready(exhibition):
    checklists.a_member(skills=["examine", "photograph", "mount", "solvent"])
    thing = checklists.listed(exhibition, 2)
    row = forecast(exhibition)
    assert row.chances["opening"] == 0.0 and set(row.finish.values()) == {None}
    assert "Nobody at the bench before opening day can take down and join, and the work needs it." in row.notes
    found = ObjectForecast.objects.get(object=thing)
    assert (found.late, found.ready_50, found.cause) == (1.0, None, "nobody can take down and join")


def test_a_missing_fume_hood_is_said(exhibition):
    checklists.a_member()
    checklists.benches(hoods=0)
    checklists.listed(exhibition, 2)
    row = forecast(exhibition)
    assert row.chances["opening"] == 0.0 and "There is no fume hood, and the work needs one." in row.notes


def test_with_everybody_on_leave_it_says_so(exhibition):
    member = checklists.a_member()
    Leave.objects.create(staff=member, first=checklists.today(), last=checklists.in_days(200))
    checklists.listed(exhibition, 2)
    row = forecast(exhibition)
    assert row.hours_there == 0 and row.chances["opening"] == 0.0
    assert row.notes[0].startswith("Nobody has hours at the bench before opening day")


def test_a_date_that_has_passed_is_said_and_missed_only_by_what_has_work_left(exhibition):
    checklists.a_member()
    checklists.listed(exhibition, 2)
    checklists.move_date(exhibition, "photography", checklists.in_days(-3))
    row = forecast(exhibition)
    assert row.chances["photography"] == 0.0 and row.chances["opening"] == 1.0
    assert "The date of photography has passed." in row.notes
    assert sum(week["needed"] for week in row.weeks) > 0, "what is late is still planned"
    ChecklistEntry.objects.all().delete()
    checklists.listed(exhibition)
    assert forecast(exhibition).chances["photography"] == 1.0


def test_an_object_whose_own_day_has_passed_is_late_for_certain(exhibition):
    checklists.a_member()
    thing = checklists.listed(exhibition, 2, entry={"need_by": checklists.in_days(-1)})
    row = forecast(exhibition)
    found = ObjectForecast.objects.get(object=thing)
    assert (found.late, found.cause, found.need_by) == (1.0, "its day has passed", checklists.in_days(-1))
    assert (row.expected_late, row.chance_all) == (1.0, 0.0) and row.chances["opening"] == 1.0
    assert any("has passed" in note for note in row.notes)


def test_an_object_whose_treatment_is_finished_for_this_exhibition_is_done(exhibition):
    checklists.a_member()
    done, other = checklists.listed(exhibition, 2), checklists.listed(exhibition, 2)
    Treatment.objects.create(
        object=done, exhibition=exhibition, level="secure", finished_on=checklists.today()
    )  # fmt: skip
    Treatment.objects.create(object=other, level="secure", finished_on=checklists.today())
    row = forecast(exhibition)
    assert row.assumptions["done"] == 1
    assert list(ObjectForecast.objects.values_list("object", flat=True)) == [other.pk]


def busy(exhibition, objects=25):
    """A checklist that one person may or may not get through."""
    for number in range(objects):
        checklists.listed(
            exhibition, 3, 3, 2, entry={"importance": 1 + number % 5, "use": ["case", "open_mount"][number % 2]}
        )


def test_the_same_seed_gives_the_same_answer_and_another_seed_nearly(exhibition):
    checklists.a_member()
    busy(exhibition)
    at = checklists.now()
    one, two, other = (forecast(exhibition, seed=seed, made_at=at, trials=1500) for seed in (1, 1, 2))
    kept = ("chances", "finish", "curve", "chance_all", "expected_late", "weeks", "hours_needed")
    assert all(getattr(one, name) == getattr(two, name) for name in kept)
    assert one.chances != other.chances or one.expected_late != other.expected_late
    for kind in one.chances:
        assert one.chances[kind] == pytest.approx(other.chances[kind], abs=0.08)
    rows = [list(ObjectForecast.objects.filter(forecast=f).order_by("object").values_list("late")) for f in (one, two)]
    assert rows[0] == rows[1]


def test_more_hands_never_make_it_less_likely_beyond_the_noise_of_trials(exhibition):
    member = checklists.a_member()
    checklists.benches(hoods=4, benches=2)
    busy(exhibition)
    at, found = checklists.now(), []
    for share in (0.3, 0.5, 0.8, 1.0):
        member.bench_share = share
        member.save()
        found.append(forecast(exhibition, made_at=at))
    checklists.a_member("Ben")
    found.append(forecast(exhibition, made_at=at))
    chances = [row.chances["opening"] for row in found]
    assert chances[-1] > chances[0]
    for fewer, more in pairwise(chances):
        assert more >= fewer - 3 * np.sqrt(0.25 / 400)
    late = [row.expected_late for row in found]
    assert late == sorted(late, reverse=True)


def test_more_objects_never_make_it_more_likely(exhibition):
    checklists.a_member()
    chances, late, at = [], [], checklists.now()
    for _ in range(4):
        busy(exhibition, objects=9)
        row = forecast(exhibition, made_at=at)
        chances.append(row.chances["opening"])
        late.append(row.expected_late)
    assert chances == sorted(chances, reverse=True) and late == sorted(late)
    assert chances[0] > chances[-1]


def test_chances_lie_between_nought_and_one_and_stand_in_the_order_that_logic_asks(exhibition):
    checklists.a_member()
    busy(exhibition, objects=20)
    row = forecast(exhibition)
    assert all(0 <= chance <= 1 for chance in [*row.chances.values(), row.chance_all])
    # Everything here is due by mount-making or case closing, both before opening.
    assert row.chance_all <= min(row.chances.values())
    assert row.chances["case_closing"] <= row.chances["opening"]
    curve = [chance for _, chance in row.curve]
    assert curve == sorted(curve) and curve[0] >= 0 and curve[-1] <= 1
    for found in ObjectForecast.objects.all():
        known = [day for day in (found.ready_10, found.ready_50, found.ready_90) if day]
        assert known == sorted(known) and 0 <= found.late <= 1
    assert sum(found.late for found in ObjectForecast.objects.all()) == pytest.approx(row.expected_late)


def test_the_curve_at_opening_day_agrees_with_the_chance_of_opening(exhibition):
    checklists.a_member(bench_share=0.4)
    busy(exhibition, objects=20)
    row = forecast(exhibition)
    opening = checklists.in_days(90)
    before = max((c for day, c in row.curve if date.fromisoformat(day) <= opening), default=0.0)
    after = min(c for day, c in row.curve if date.fromisoformat(day) >= opening)
    assert before <= row.chances["opening"] <= after


def test_each_object_is_due_on_its_own_day_or_when_its_mount_or_its_case_is(exhibition):
    own = checklists.listed(exhibition, 2, entry={"need_by": checklists.in_days(20)})
    cased = checklists.listed(exhibition, 2)
    mounted = checklists.listed(exhibition, 2, entry={"use": "open_mount"})
    travels = checklists.listed(exhibition, 2, entry={"use": "travels"})
    checklists.a_member()
    due = work(exhibition).due
    assert due[own.pk] == checklists.in_days(20) and due[cased.pk] == checklists.in_days(83)
    assert due[mounted.pk] == due[travels.pk] == checklists.in_days(69)
    Milestone.objects.exclude(kind="opening").delete()
    due = work(exhibition).due
    assert {due[thing.pk] for thing in (cased, mounted, travels)} == {checklists.in_days(90)}


def test_without_the_other_dates_only_opening_has_a_chance(exhibition):
    checklists.a_member()
    checklists.listed(exhibition, 2)
    Milestone.objects.exclude(kind="opening").delete()
    assert set(forecast(exhibition).chances) == {"opening"}


def steps_of(exhibition):
    (thing,) = work(exhibition).instance["objects"]
    return thing["levels"][0]["steps"]


def test_photography_waits_for_the_last_photograph_only(exhibition):
    checklists.a_member()
    checklists.listed(exhibition, 3)
    kinds = [(step["id"], step["kind"]) for step in steps_of(exhibition)]
    assert [name for name, kind in kinds if kind == "photo"] == [kinds[-2][0]] and "photograph_after" in kinds[-2][0]
    assert sum(kind == "photograph" for _, kind in kinds) == 1


def test_steps_come_one_after_the_other_with_their_waits(exhibition):
    checklists.a_member()
    checklists.listed(exhibition, 3)
    steps = steps_of(exhibition)
    assert steps[0]["preds"] == [] and all(later["preds"] == [step["id"]] for step, later in pairwise(steps))
    join = next(step for step in steps if "join" in step["id"])
    assert join["cure"] == 48 * 4  # likely wait of the shipped step, hours


def test_no_sitting_is_longer_than_four_hours_or_than_the_longest_shift_of_who_can_do_it(exhibition):
    thing = checklists.listed(exhibition, 3, 3, 3)
    checklists.painted(thing, 4_000.0)
    checklists.a_member(skills=["examine", "photograph", "mount", "join", "fill", "retouch"])
    part_time = checklists.a_member(
        "Ben", skills=["solvent"], week=[[9.0, 3.0]] * 5 + [[9.0, 0.0]] * 2, bench_share=0.5
    )
    found = work(exhibition)
    limits = longest_sittings(found.department)
    assert limits["solvent"] in {6, 7} and limits["join"] == SITTING
    steps = steps_of(exhibition)
    assert all(step["q"] <= limits[step["skill"]] for step in steps)
    assert max(step["q"] for step in steps if step["skill"] == "solvent") <= 7
    part_time.week = checklists.FULL_WEEK
    part_time.bench_share = 1.0
    part_time.save()
    whole = steps_of(exhibition)
    assert len(whole) < len(steps) and sum(s["q"] for s in whole) == sum(s["q"] for s in steps)


def test_what_only_a_part_timer_can_do_gets_done(exhibition):
    checklists.a_member(skills=["examine", "photograph", "mount", "join"])
    checklists.a_member("Ben", skills=["solvent"], week=[[9.0, 2.0]] * 5 + [[9.0, 0.0]] * 2)
    checklists.painted(checklists.listed(exhibition, 3), 300.0)
    row = forecast(exhibition)
    assert row.chances["opening"] > 0.9 and row.notes == []


def test_what_is_chosen_is_what_is_simulated(exhibition):
    checklists.a_member()
    thing = checklists.listed(exhibition, 3, 3, 3)
    before = forecast(exhibition).hours_needed["likely"]
    options.choose_level(exhibition, thing, "watch", by=None, at=checklists.now())
    row = forecast(exhibition)
    assert row.hours_needed["likely"] < before / 4 and row.assumptions["chosen"] == 1
    assert ObjectForecast.objects.get(forecast=row).level == "watch"


def test_a_season_of_the_departments_own_longer_hours_lowers_the_chance(exhibition):
    checklists.a_member(bench_share=0.4)
    busy(exhibition, objects=20)
    at = checklists.now()
    before = forecast(exhibition, made_at=at)
    for _ in range(12):
        job = Treatment.objects.create(
            object=builders.an_object(), level="secure", estimate={"secure_edges": [5, 5, 5]},
            finished_on=checklists.in_days(-9),
        )  # fmt: skip
        job.logged.create(step="secure_edges", worker=builders.a_person(), on=checklists.in_days(-9), hours=10.0, at=at)
    after = forecast(exhibition, made_at=at)
    assert (after.assumptions["factor"], after.assumptions["jobs"]) == (2.0, 12)
    assert after.hours_needed["likely"] == pytest.approx(2 * before.hours_needed["likely"], rel=0.1)
    assert after.chances["opening"] < before.chances["opening"]


def test_work_begins_now_and_not_on_monday(exhibition):
    checklists.a_member()
    checklists.listed(exhibition, 2)
    now = datetime.combine(checklists.today(), datetime.min.time()) + timedelta(hours=15)
    found = selectors.gather_work(exhibition, now)
    assert found.instance["objects"][0]["release"] == (now - datetime.combine(found.monday, datetime.min.time())) // (
        timedelta(minutes=15)
    )
    assert all(
        start >= found.instance["objects"][0]["release"] for shifts in found.department.shifts for start, _ in shifts
    )
    assert end_of_day(checklists.today(), found.monday) > found.instance["objects"][0]["release"]


def test_gathering_costs_as_many_queries_for_fifty_objects_as_for_one(exhibition):
    def count():
        with CaptureQueriesContext(connection) as made:
            work(exhibition)
        return len(made)

    checklists.a_member()
    checklists.listed(exhibition, 2)
    one = count()
    for stage in range(49):
        checklists.listed(exhibition, stage % 5)
    assert count() == one
