"""The plan as a drawing: where bars, waits, absences and dates lie."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from treatments.planning.board import NAMES, ROW, TOP, WIDTH, Sitting, draw_week

MONDAY = date(2026, 3, 2)


def sitting(day: int, first: int, last: int, *, person: int = 0, key: int = 1, **fields) -> Sitting:
    starts, ends = datetime(2026, 3, day, first), datetime(2026, 3, day, last)
    return Sitting(key, person, starts, ends, "K 1", "words", **fields)


def test_bars_lie_in_their_day_and_row_in_order_of_time_and_do_not_overlap():
    rows = [sitting(2, 9, 11), sitting(2, 11, 12, key=2), sitting(4, 9, 10, person=1, key=3)]
    board = draw_week(MONDAY, ["Ann", "Bob"], rows)
    first, second, third = board.bars
    assert first.x > NAMES and first.x + first.width <= second.x
    assert first.width == pytest.approx(2 * second.width, rel=0.1)
    assert TOP < first.y < TOP + ROW < third.y and third.x > board.days[2].x
    assert all(bar.x + bar.width <= WIDTH for bar in board.bars)


def test_a_wait_is_hatched_from_the_sittings_end_on_into_later_days():
    board = draw_week(MONDAY, ["Ann"], [sitting(2, 9, 11, wait_until=datetime(2026, 3, 4, 11))])
    (wait,) = board.waits
    assert wait.x > board.bars[0].x and board.days[2].x < wait.x + wait.width < board.days[3].x


def test_a_wait_from_the_week_before_is_drawn_without_its_sitting():
    before = Sitting(1, 0, datetime(2026, 2, 27, 9), datetime(2026, 2, 27, 10), "K 1", "w", datetime(2026, 3, 3, 10))
    board = draw_week(MONDAY, ["Ann"], [before])
    assert not board.bars and board.waits[0].x == NAMES


def test_the_weekend_is_drawn_only_if_somebody_works_on_it():
    assert len(draw_week(MONDAY, ["Ann"], []).days) == 5
    assert len(draw_week(MONDAY, ["Ann"], [sitting(7, 9, 10)]).days) == 6


def test_dates_stand_at_the_end_of_their_day_and_only_in_their_week():
    board = draw_week(MONDAY, ["Ann"], [], dates=[("Opening", date(2026, 3, 4)), ("Mounts", date(2026, 3, 11))])
    (line,) = board.dates
    assert line.name == "Opening" and line.x == pytest.approx(board.days[3].x)


def test_days_away_are_shaded_in_the_persons_row():
    board = draw_week(MONDAY, ["Ann", "Bob"], [], away=[(1, date(2026, 3, 3), "Leave")])
    (shape,) = board.away
    assert shape.x == board.days[1].x and shape.y == TOP + ROW and shape.words == "Leave"


def test_what_cannot_be_drawn_is_refused():
    with pytest.raises(ValueError, match="monday"):
        draw_week(date(2026, 3, 3), ["Ann"], [])
    with pytest.raises(ValueError, match="people"):
        draw_week(MONDAY, ["Ann"], [sitting(2, 9, 10, person=1)])
