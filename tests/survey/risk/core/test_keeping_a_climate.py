"""Climates of sites and loggers turned into rates of ageing."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.risk.ageing import SITE_CLIMATES, SiteClimate, equivalent_age, mean_rate, rate_of_readings, relative_rate

temperatures, humidities = st.floats(-40, 80), st.floats(1, 100)


@given(temperatures, temperatures, humidities)
def test_warmer_never_ages_slower(one, other, humidity):
    cool, warm = sorted((one, other))
    assert relative_rate(warm, humidity) >= relative_rate(cool, humidity)


@given(temperatures, humidities, humidities)
def test_damper_never_ages_slower(temperature, one, other):
    dry, damp = sorted((one, other))
    assert relative_rate(temperature, damp) >= relative_rate(temperature, dry)


@pytest.mark.parametrize(("temperature", "humidity"), [(-41, 50), (81, 50), (293.15, 50), (np.inf, 50)])
def test_a_temperature_that_no_room_has_is_refused_by_name(temperature, humidity):
    with pytest.raises(ValueError, match="temperature_c"):
        relative_rate([20, temperature], humidity)


@pytest.mark.parametrize("humidity", [-1, 101, np.inf])
def test_a_humidity_that_cannot_be_is_refused_by_name(humidity):
    with pytest.raises(ValueError, match="relative_humidity"):
        relative_rate(20, [50, humidity])


def test_words_in_place_of_numbers_are_refused_by_name():
    with pytest.raises(ValueError, match="temperature_c must be numbers"):
        relative_rate("warm", 50)


def test_constants_that_cannot_be_are_refused_by_name():
    with pytest.raises(ValueError, match="activation_energy"):
        relative_rate(20, 50, activation_energy=-1)
    with pytest.raises(ValueError, match="humidity_exponent"):
        relative_rate(20, 50, humidity_exponent=np.nan)


def test_a_reading_not_known_stays_not_known():
    assert np.isnan(relative_rate([20, np.nan], 50)).tolist() == [False, True]


def test_negative_spans_and_shapes_that_do_not_fit_are_refused_by_name():
    with pytest.raises(ValueError, match="durations"):
        equivalent_age([-1, 2], [1, 1])
    with pytest.raises(ValueError, match="rates"):
        equivalent_age([1, 2], [1, -1])
    with pytest.raises(ValueError, match="durations and rates"):
        equivalent_age([1, 2, 3], [1, 2])
    with pytest.raises(ValueError, match="durations"):
        mean_rate([0, 0], [1, 1])


def test_many_objects_at_once():
    ages = equivalent_age([[1.0, 2.0], [10.0, 0.0]], [0.5, 2.0])
    assert ages.tolist() == [4.5, 5.0]


def test_readings_weigh_by_the_time_between_them():
    """Five days at rate 1, then a pause that is not bridged, then one day at a rate of 2 ** 1.3."""
    days, humidity = [0, 1, 2, 5, 9, 10], [50, 50, 50, 50, 100, 100]
    got = rate_of_readings(days, [20.0] * 6, humidity, longest_gap=3.0)
    assert (got.covered_days, got.span_days) == (6.0, 10.0)
    assert got.rate == pytest.approx((5 * 1 + 1 * 2**1.3) / 6)


def test_a_missed_reading_is_left_out():
    got = rate_of_readings([0, 1, 2], [20, np.nan, 20], [50, 50, 50])
    assert (got.rate, got.covered_days) == (1.0, 2.0)


def test_a_single_reading_speaks_for_no_time():
    got = rate_of_readings([3.0], [20], [50])
    assert np.isnan(got.rate)
    assert got.covered_days == 0


@pytest.mark.parametrize("days", [[0, 2, 1], [0, 0, 1], [0, np.nan, 1]])
def test_readings_out_of_order_are_refused_by_name(days):
    with pytest.raises(ValueError, match="days"):
        rate_of_readings(days, [20] * 3, [50] * 3)


def test_a_controlled_store_ages_at_rate_one_and_a_warm_site_faster():
    assert SITE_CLIMATES["controlled"].rate() == pytest.approx(1)
    assert SITE_CLIMATES["cellar"].rate() < 1 < SITE_CLIMATES["warm"].rate()


def test_a_year_of_eleven_months_is_refused():
    with pytest.raises(ValueError, match="months"):
        SiteClimate("x", "x", (5.0, 6.0), (20.0, 20.0), (50.0, 50.0), "")
