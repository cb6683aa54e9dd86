"""Working weeks and dates as quarter-hours. Weekdays and dates checked against the Gregorian calendar of 2026."""

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treatments.planning.calendar import (
    Balance,
    Need,
    Person,
    balances,
    end_of_day,
    hours_until,
    moment_of,
    monday_of,
    quarter_of,
    shifts_of,
    weeks_up_to,
)

MONDAY = date(2026, 3, 2)
DAY, WEEK = 96, 672
FULL = dict.fromkeys(range(5), (9.0, 7.5))


def test_a_plan_counts_from_the_monday_of_its_first_week():
    assert monday_of(date(2026, 3, 8)) == MONDAY == monday_of(MONDAY)
    assert monday_of(date(2026, 3, 1)) == date(2026, 2, 23)


def test_moments_and_quarter_hours():
    assert quarter_of(MONDAY, MONDAY) == 0
    assert quarter_of(datetime(2026, 3, 3, 9, 20), MONDAY) == DAY + 37
    assert quarter_of(date(2026, 3, 1), MONDAY) == -DAY
    assert end_of_day(date(2026, 3, 8), MONDAY) == WEEK
    assert moment_of(DAY + 37, MONDAY) == datetime(2026, 3, 3, 9, 15)


@pytest.mark.parametrize(
    ("day", "weeks"), [(date(2026, 3, 2), 1), (date(2026, 3, 8), 1), (date(2026, 3, 9), 2), (date(2025, 1, 1), 1)]
)
def test_weeks_up_to_the_opening(day, weeks):
    assert weeks_up_to(day, MONDAY) == weeks


def test_a_moment_of_another_zone_is_refused():
    with pytest.raises(ValueError, match="moment"):
        quarter_of(datetime(2026, 3, 3, tzinfo=UTC), MONDAY)


@given(st.integers(-10_000, 100_000))
def test_quarters_and_moments_are_the_same_thing(quarter):
    assert quarter_of(moment_of(quarter, MONDAY), MONDAY) == quarter


def test_a_week_of_shifts_with_a_holiday_and_leave():
    ann = Person("ann", week=FULL, leave=((date(2026, 3, 5), date(2026, 3, 6)),))
    assert shifts_of(ann, MONDAY, 1, holidays={date(2026, 3, 3)}) == [(36, 66), (2 * DAY + 36, 2 * DAY + 66)]


def test_someone_who_comes_late_and_leaves_early():
    ann = Person("ann", week=FULL, since=date(2026, 3, 5), until=date(2026, 3, 9))
    assert [start // DAY for start, _ in shifts_of(ann, MONDAY, 3)] == [3, 4, 7]


def test_bench_time_adds_up_over_the_weeks_whatever_the_rounding():
    # 36 paid hours with 0.62 at the bench: 22.32 h a week, inside the 20 to 25 h of common practice
    ann = Person("ann", week={**dict.fromkeys(range(4), (9.0, 7.5)), 4: (9.0, 6.0)}, bench_share=0.62)
    assert hours_until(shifts_of(ann, MONDAY, 10), 10 * WEEK) == pytest.approx(223.2, abs=0.25)


def test_what_is_past_is_not_planned_any_more():
    ann = Person("ann", week=FULL)
    now = quarter_of(datetime(2026, 3, 3, 12, 0), MONDAY)
    assert shifts_of(ann, MONDAY, 1, not_before=now)[0] == (DAY + 48, DAY + 66)


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"week": {7: (9, 1)}}, "weekday"),
        ({"week": {0: (20, 5)}}, "week"),
        ({"bench_share": 1.1}, "bench_share"),
        ({"leave": ((date(2026, 3, 5), date(2026, 3, 4)),)}, "leave"),
    ],
)
def test_a_week_that_cannot_be_is_refused_by_name(wrong, named):
    with pytest.raises(ValueError, match=named):
        Person("ann", **wrong)


def test_hours_there_are_against_hours_needed():
    ann = (("join", "fill"), [(36, 66)])  # 7.5 h
    ben = (("retouch", "fill"), [(36, 52)])  # 4 h
    needs = [Need(DAY, "join", 5), Need(DAY, "retouch", 6), Need(2 * DAY, "fill", 3)]
    assert balances([40, DAY, 2 * DAY], needs, [ann, ben]) == [
        Balance(40, 2.0, 0.0, ("join",), -1.0),
        Balance(DAY, 11.5, 11.0, ("retouch",), 2.0),
        Balance(2 * DAY, 11.5, 14.0, ("fill", "join", "retouch"), 2.5),
    ]


def test_two_skills_that_are_enough_each_can_be_too_little_together():
    both = (("join", "fill"), [(36, 66)])
    needs = [Need(DAY, "join", 5), Need(DAY, "fill", 5)]
    assert balances([DAY], needs, [both]) == [Balance(DAY, 7.5, 10.0, ("fill", "join"), 2.5)]


def test_no_needs_and_no_staff():
    assert balances([DAY], [], []) == [Balance(DAY, 0.0, 0.0, (), 0.0)]
    assert balances([DAY], [Need(DAY, "join", 5)], []) == [Balance(DAY, 0.0, 5.0, ("join",), 5.0)]
