"""Months of readings kept as sums: what they refuse, what they leave out, how ages follow from them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.risk.climate import DAY, ENERGIES, EXPONENTS, Climate, by_month, mean_rates

START = int(np.datetime64("2024-01-31T12:00", "s").astype(np.int64))


def hourly(count: int) -> np.ndarray:
    return START + 3600 * np.arange(count)


def test_each_reading_counts_in_its_own_month():
    january, february = by_month(hourly(25), np.full(25, 20.0), np.full(25, 50.0))
    assert (january.readings, february.readings) == (12, 13)
    assert january.days + february.days == pytest.approx(1.0)


def test_a_pause_of_more_than_two_days_is_not_bridged():
    seconds = np.array([0, DAY, 2 * DAY, 9 * DAY, 10 * DAY])
    (month,) = by_month(seconds, np.full(5, 20.0), np.full(5, 50.0))
    assert month.days == 3.0


def test_the_ends_and_means_of_what_was_read():
    (month,) = by_month(np.array([0, 3600, 7200]), [18.0, 20.0, 22.0], [40.0, 50.0, 60.0])
    assert (month.temperature, month.humidity) == ((18.0, 22.0), (40.0, 60.0))
    assert month.temperature_days / month.days == pytest.approx(20.0)


def test_bone_dry_air_ages_nothing_unless_damp_does_not_count():
    (month,) = by_month(np.array([0, 3600]), [20.0, 20.0], [0.0, 0.0])
    assert mean_rates(month.sums, month.days, activation_energy=1e5, humidity_exponent=1.3) < 1e-6
    assert mean_rates(month.sums, month.days, activation_energy=1e5, humidity_exponent=0.0) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("seconds", "temperature", "humidity", "named"),
    [
        ([0, 0], [20, 20], [50, 50], "seconds"),
        ([0.5, 1.5], [20, 20], [50, 50], "seconds"),
        ([0, 1], [200, 20], [50, 50], "temperature_c"),
        ([0, 1], [20, 20], [50, 150], "relative_humidity"),
        ([0, 1], [20], [50, 50], "temperature_c and relative_humidity"),
    ],
)
def test_readings_that_cannot_be_are_refused_by_name(seconds, temperature, humidity, named):
    with pytest.raises(ValueError, match=named):
        list(by_month(np.array(seconds), np.array(temperature), np.array(humidity)))


def test_constants_outside_the_nodes_are_refused_by_name():
    sums = np.ones((ENERGIES.size, EXPONENTS.size))
    with pytest.raises(ValueError, match="activation_energy"):
        mean_rates(sums, 1.0, activation_energy=20e3, humidity_exponent=1.0)
    with pytest.raises(ValueError, match="humidity_exponent"):
        mean_rates(sums, 1.0, activation_energy=1e5, humidity_exponent=3.5)


def test_a_month_without_time_has_no_rate():
    assert np.isnan(mean_rates(np.zeros((8, 7)), 0.0, activation_energy=1e5, humidity_exponent=1.3))


@given(
    st.floats(0, 5),
    st.lists(st.floats(0, 5), max_size=30),
    st.integers(500, 700),
    st.floats(0, 20_000),
    st.floats(0, 9_000),
)
def test_time_never_runs_backwards_and_adds_up(otherwise, rates, first, start, span):
    place = Climate(
        otherwise, first + np.arange(len(rates)), np.full(len(rates), 15.0), np.array(rates, dtype=np.float64)
    )
    middle = start + span / 3
    assert place.years(start, start + span) >= 0
    assert place.years(start, middle) + place.years(middle, start + span) == pytest.approx(
        place.years(start, start + span), abs=1e-9
    )


def test_a_month_half_logged_is_filled_by_its_like():
    """May 2020 logged whole at rate 3, May 2021 for half at rate 1: the other half of 2021 goes as Mays do."""
    place = Climate(9.0, np.array([604, 616]), np.array([31.0, 15.5]), np.array([3.0, 1.0]))
    usual = (3 * 31 + 1 * 15.5) / 46.5
    begin, end = (float(np.datetime64(day).astype(int)) for day in ("2021-05-01", "2021-06-01"))
    assert place.years(begin, end) * 365.25 == pytest.approx(31 * (0.5 * 1 + 0.5 * usual))


def test_months_out_of_order_are_refused():
    with pytest.raises(ValueError, match="months"):
        Climate(1.0, np.array([5, 4]), np.ones(2), np.ones(2))
    with pytest.raises(ValueError, match="otherwise"):
        Climate(float("nan"))
