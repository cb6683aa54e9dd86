"""Logged climates against published rules, sums worked by hand, and the rates of single readings."""

import numpy as np
import pytest

from survey.risk.ageing import rate_of_readings, relative_rate
from survey.risk.climate import DAY, YEAR, Climate, by_month, mean_rates

HOUR = 3600
USUAL = {"activation_energy": 100_000.0, "humidity_exponent": 1.3}


def logged(days, temperature, humidity, *, start="2023-01-01", every=HOUR):
    """Hourly readings that hold each climate for so many days."""
    counts = [round(span * DAY / every) for span in days]
    seconds = np.datetime64(start, "s").astype(np.int64) + every * np.arange(sum(counts) + 1)
    return (
        seconds,
        np.repeat(temperature, counts)[[*range(sum(counts)), -1]],
        np.repeat(humidity, counts)[[*range(sum(counts)), -1]],
    )


def whole(months, **constants) -> float:
    held = list(months)
    sums, days = sum(month.sums for month in held), sum(month.days for month in held)
    return float(mean_rates(sums, days, **constants))


def test_series_of_three_seasons_averages_the_rate():
    """180 days at 20 °C and 50 %, 90 at 26 and 60, 95 at 16 and 40: mean rate 1.31521, worked by hand. The readings
    turn within an hour, which moves the mean by less than two hours' worth of rate in 365 days."""
    months = list(by_month(*logged([180, 90, 95], [20.0, 26.0, 16.0], [50.0, 60.0, 40.0])))
    assert sum(month.days for month in months) == pytest.approx(365, abs=1e-9)
    assert whole(months, **USUAL) == pytest.approx(1.31521, abs=2e-4)
    averaged = relative_rate(sum(m.temperature_days for m in months) / 365, sum(m.humidity_days for m in months) / 365)
    assert abs(averaged - 1.31521) > 0.15  # averaging temperature and humidity goes wrong


def test_half_the_time_cool_and_half_warm_ages_more_than_the_mean_temperature():
    """Half at 15 °C, half at 25 °C, 50 %: 1.24028, worked by hand."""
    assert whole(by_month(*logged([100, 100], [15.0, 25.0], [50.0, 50.0])), **USUAL) == pytest.approx(1.24028, abs=2e-4)


@pytest.mark.parametrize("energy", [70e3, 100e3, 144.7e3])
@pytest.mark.parametrize("exponent", [1.0, 1.3, 1.4])
def test_the_reference_climate_ages_at_rate_one_whatever_the_constants(energy, exponent):  # by definition
    got = whole(by_month(*logged([60], [20.0], [50.0])), activation_energy=energy, humidity_exponent=exponent)
    assert got == pytest.approx(1, rel=1e-12)


def test_life_doubles_for_five_degrees_and_for_each_halving_of_damp():
    """Rules in the title of S. Michalski, ICOM-CC Rio de Janeiro preprints (2002) I, 66-72; values by the formula."""
    cool, dry = (whole(by_month(*logged([60], [t], [h])), **USUAL) for t, h in ((15.0, 50.0), (20.0, 25.0)))
    assert 1 / cool == pytest.approx(2.03797, abs=5e-6)
    assert 1 / dry == pytest.approx(2**1.3, rel=1e-9)


def a_year(seed: int):
    rng = np.random.default_rng(seed)
    seconds = np.datetime64("2022-03-10", "s").astype(np.int64) + 900 * np.arange(35_040)
    day = np.arange(35_040) / 96
    swing = rng.uniform(2, 12) * np.sin(2 * np.pi * day / 365) + rng.uniform(0, 5) * np.sin(2 * np.pi * day)
    temperature = rng.uniform(8, 24) + swing + rng.normal(0, 0.5, day.size)
    humidity = np.clip(rng.uniform(35, 70) + 12 * np.sin(2 * np.pi * day / 30) + rng.normal(0, 2, day.size), 5, 98)
    kept = np.sort(rng.choice(day.size, 30_000, replace=False))
    kept = kept[(day[kept] < 100) | (day[kept] > 120)]
    return seconds[kept], temperature[kept], humidity[kept]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(("energy", "exponent"), [(100e3, 1.3), (70e3, 1.0), (144.7e3, 1.4), (85e3, 0.5), (180e3, 2.5)])
def test_monthly_sums_come_to_the_rate_of_all_single_readings(seed, energy, exponent):
    """Against the sum over the readings themselves, with gaps; exact at the nodes, to a thousandth between them."""
    seconds, temperature, humidity = a_year(seed)
    constants = {"activation_energy": energy, "humidity_exponent": exponent}
    whole_year = rate_of_readings(seconds / DAY, temperature, humidity, **constants)
    months = list(by_month(seconds, temperature, humidity))
    assert sum(month.days for month in months) == pytest.approx(whole_year.covered_days, rel=1e-9)
    days = np.array([month.days for month in months])
    rates = mean_rates(np.array([month.sums for month in months]), days, **constants)
    exact = (energy, exponent) == (100e3, 1.3)
    assert np.average(rates, weights=days) == pytest.approx(whole_year.rate, rel=1e-9 if exact else 1e-3)


def test_ages_of_a_place_over_two_years_worked_by_hand():
    """Logged all of 2020 (rate 2) and June 2021 (rate 4); before that 0.5, then each month as its like in the years
    logged: June (2 + 4) / 2 = 3, all others 2."""
    months = np.array([*range(600, 612), 617])  # January to December 2020, June 2021
    lengths = np.array([31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31, 30], dtype=np.float64)
    place = Climate(0.5, months, lengths, np.array([2.0] * 12 + [4.0]))
    day = {str(year): float(np.datetime64(f"{year}-01-01").astype(int)) for year in range(2019, 2024)}
    assert place.years(day["2019"], day["2020"]) == pytest.approx(0.5 * 365 / YEAR)
    assert place.years(day["2020"], day["2021"]) == pytest.approx(2 * 366 / YEAR)
    assert place.years(day["2021"], day["2022"]) == pytest.approx((2 * 335 + 4 * 30) / YEAR)
    assert place.years(day["2022"], day["2023"]) == pytest.approx((2 * 335 + 3 * 30) / YEAR)
    assert place.rate_ahead == pytest.approx((2 * 335.25 + 3 * 30) / 365.25)


def test_the_age_of_a_part_of_a_month_is_its_part():
    place = Climate(2.0)
    assert place.years(0.0, 10.0) == pytest.approx(20 / YEAR)
    assert place.years(10.0, 0.0) == 0
    assert np.isnan(place.years(np.nan, 0.0))
