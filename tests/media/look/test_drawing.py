"""Where the lines of a drawing fall."""

from __future__ import annotations

import re
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from media.base import drawing

START = date(2031, 1, 6)


def numbers(path: str) -> list[float]:
    return [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", path)]


def rising(points: int, scale: float = 10.0) -> list[dict[str, object]]:
    return [
        {"date": START + timedelta(weeks=i), "low": i * scale, "middle": i * scale + 1, "high": i * scale + 3}
        for i in range(points)
    ]


def test_a_scale_against_linear_interpolation():
    """numpy.interp is the reference."""
    values = np.linspace(-3, 12, 31)
    ours = [drawing.Scale(0, 10, 100, 0).at(float(value)) for value in values]
    assert ours == pytest.approx(np.interp(values, [0, 10], [100, 0]).tolist(), abs=0.01)


@pytest.mark.parametrize(("low", "high"), [(1, 1), (2, 1), (0, float("inf")), (float("nan"), 1)])
def test_a_scale_without_extent_is_refused(low, high):
    with pytest.raises(ValueError, match="low"):
        drawing.Scale(low, high)


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.integers(1, 10))
def test_ticks_are_round_even_and_cover(low, extent, most):
    ticks = drawing.nice_ticks(low, low + extent, most=most)
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    assert 2 <= len(ticks) <= most + 2
    assert ticks[0] <= low + 1e-6 * step and ticks[-1] >= low + extent - 1e-6 * step - 1e-9
    assert np.diff(ticks) == pytest.approx(np.full(len(ticks) - 1, step), rel=1e-4)
    assert f"{step:.0e}"[0] in "125"


@given(st.lists(st.floats(0, 1), min_size=3, max_size=3))
def test_an_interval_keeps_its_order_inside_the_box(values):
    low, middle, high = sorted(values)
    line = drawing.interval(low, middle, high)
    assert 0 <= line.low <= line.middle <= line.high <= 100
    assert line.middle == pytest.approx(100 * middle, abs=0.005)


@pytest.mark.parametrize("values", [(0.5, 0.4, 0.6), (0.1, 0.4, 0.3), (-0.1, 0.2, 0.3), (0.1, 0.2, 1.3)])
def test_an_interval_out_of_order_is_refused(values):
    with pytest.raises(ValueError, match="low, middle and high"):
        drawing.interval(*values)


def test_a_value_without_interval_is_a_point():
    line = drawing.interval(None, 0.3, None)
    assert line.low == line.middle == line.high == 30


@given(st.integers(2, 40), st.floats(0.1, 1e4))
def test_a_fan_stays_in_its_box_and_its_band_holds_its_middle(points, scale):
    plot = drawing.fan(rising(points, scale), opening=START + timedelta(weeks=points + 2))
    assert all(0 <= number <= 100 for number in numbers(plot.band) + numbers(plot.middle))
    band, middle = numbers(plot.band), numbers(plot.middle)
    upper, lower = band[1 : 2 * points : 2], band[2 * points + 1 :: 2][::-1]
    for top, inner, bottom in zip(upper, middle[1::2], lower, strict=True):
        assert top - 0.02 <= inner <= bottom + 0.02  # downwards is greater
    assert plot.opening is not None and plot.opening.at == 100


def test_a_fan_of_dates_has_its_target_at_its_height():
    opening = date(2031, 3, 4)
    points = [
        {
            "date": START + timedelta(weeks=i),
            "low": opening - timedelta(days=20 - i),
            "middle": opening,
            "high": opening + timedelta(days=20 - i),
        }
        for i in range(5)
    ]
    plot = drawing.fan(points, opening=opening, target=opening)
    assert plot.target is not None and plot.target.label == "4 March"
    assert numbers(plot.middle)[1::2] == pytest.approx([plot.target.at] * 5, abs=0.01)
    assert plot.target.at == pytest.approx(50, abs=0.01)  # the quantiles lie evenly on both sides


def test_a_fan_refuses_what_is_no_fan():
    with pytest.raises(ValueError, match="at least two"):
        drawing.fan(rising(1))
    with pytest.raises(ValueError, match="order of date"):
        drawing.fan(rising(3)[::-1])
    with pytest.raises(ValueError, match="low <= middle"):
        drawing.fan([{**point, "low": 1e9} for point in rising(3)])


def test_earlier_forecasts_are_drawn_behind():
    past = [[{"date": START + timedelta(weeks=i), "middle": 5 * i} for i in range(4)], [{"date": START, "middle": 2}]]
    assert len(drawing.fan(rising(4), past=past).past) == 1  # one point is no line


@given(st.lists(st.tuples(st.floats(0, 500), st.floats(0, 500)), min_size=1, max_size=40))
def test_load_bars_add_up(loads):
    plot = drawing.load_bars(
        [{"week": str(i), "there": there, "needed": needed} for i, (there, needed) in enumerate(loads)]
    )
    for bar, (there, needed) in zip(plot.bars, loads, strict=True):
        assert bar.x >= 0 and bar.x + bar.width <= 100.01
        assert bar.needed_y + bar.needed_height == pytest.approx(100, abs=0.02)
        assert bar.over_y + bar.over_height == pytest.approx(bar.needed_y, abs=0.02)
        assert bar.over_height == 0 or needed > there


def test_load_bars_share_one_scale():
    plot = drawing.load_bars(
        [{"week": START, "there": 50, "needed": 100}, {"week": "next", "there": 100, "needed": 50}]
    )
    first, second = plot.bars
    assert (first.there_height, first.needed_height, first.over_height) == (50, 50, 50)
    assert (second.there_height, second.needed_height, second.over_height) == (100, 50, 0)
    assert first.tick.label == "6 Jan" and second.tick.label == "next"


def test_bars_refuse_nothing_and_less_than_nothing():
    with pytest.raises(ValueError, match="weeks"):
        drawing.load_bars([])
    with pytest.raises(ValueError, match="there and needed"):
        drawing.load_bars([{"week": "1", "there": -1, "needed": 2}])


def test_readiness_steps_up_and_marks_opening_day():
    points = [(START + timedelta(weeks=i), chance) for i, chance in enumerate((0.1, 0.4, 0.4, 0.9))]
    plot = drawing.readiness(points, opening=START + timedelta(weeks=1, days=3))
    heights = numbers(plot.line)[1::2]
    assert heights == sorted(heights, reverse=True)
    assert plot.opening_y == pytest.approx(60)  # 0.4 holds until the next date


def test_readiness_before_the_first_date_is_nothing_yet():
    plot = drawing.readiness([(START, 0.2), (START + timedelta(days=7), 0.5)], opening=START - timedelta(days=7))
    assert plot.opening_y == 100


@pytest.mark.parametrize("chances", [(0.5, 0.4), (0.5, 1.2), (-0.2, 0.5)])
def test_a_readiness_that_falls_or_leaves_the_scale_is_refused(chances):
    with pytest.raises(ValueError, match="points"):
        drawing.readiness([(START + timedelta(days=i), chance) for i, chance in enumerate(chances)])


@given(st.lists(st.integers(0, 1000), min_size=1, max_size=40).filter(any))
def test_a_histogram_keeps_the_proportions_of_its_counts(counts):
    """Heights against counts, as numpy normalises them."""
    plot = drawing.histogram(list(range(len(counts) + 1)), counts)
    heights = np.array([bar.height for bar in plot.bins])
    assert heights / heights.max() == pytest.approx(np.array(counts) / max(counts), abs=0.002)
    assert sum(bar.width for bar in plot.bins) == pytest.approx(100, abs=0.5)


def test_a_histogram_tells_late_from_in_time():
    plot = drawing.histogram(
        [START + timedelta(weeks=i) for i in range(5)], [1, 2, 3, 4], opening=START + timedelta(weeks=2)
    )
    assert [bar.late for bar in plot.bins] == [False, False, True, True]
    with pytest.raises(ValueError, match="edges"):
        drawing.histogram([1, 2], [1, 2])
    with pytest.raises(ValueError, match="edges must rise"):
        drawing.histogram([1, 1], [1])
    with pytest.raises(ValueError, match="counts"):
        drawing.histogram([1, 2], [-1])


@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)), st.integers(1, 4000))
def test_date_ticks_are_few_in_order_and_mondays_or_firsts(first, days):
    last = first + timedelta(days=days)
    ticks = drawing.date_ticks(first, last, drawing.Scale(first.toordinal(), last.toordinal()))
    assert len(ticks) <= 6
    assert [tick.at for tick in ticks] == sorted(tick.at for tick in ticks)
    for tick in ticks:
        day = date.fromordinal(round(first.toordinal() + tick.at / 100 * days))
        near = [day + timedelta(days=shift) for shift in (-1, 0, 1)]
        assert any(d.weekday() == 0 if days <= 75 else d.day == 1 for d in near)


@pytest.mark.parametrize(("at", "anchor"), [(0, "start"), (50, "middle"), (100, "end")])
def test_labels_stay_inside_the_box(at, anchor):
    assert drawing.Tick(at, "4 March").anchor == anchor
