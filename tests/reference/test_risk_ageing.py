"""Rates of ageing against the published rules they must reproduce and against sums written out."""

import math

import numpy as np
import pytest

from survey.risk.ageing import GAS_CONSTANT, equivalent_age, mean_rate, relative_rate


@pytest.mark.parametrize("energy", [70_000.0, 100_000.0, 144_700.0])
@pytest.mark.parametrize("exponent", [1.0, 1.3, 1.4])
def test_the_reference_climate_ages_at_rate_one_whatever_the_constants(energy, exponent):  # by definition
    assert relative_rate(20.0, 50.0, activation_energy=energy, humidity_exponent=exponent) == pytest.approx(
        1, rel=1e-15
    )


def test_life_doubles_for_each_five_degree_drop():
    """Rule in the title of S. Michalski, ICOM-CC Rio de Janeiro preprints (2002) I, 66-72; value by the formula."""
    assert 1 / relative_rate(15.0, 50.0) == pytest.approx(2.03797, abs=5e-6)


def test_life_more_than_doubles_for_each_halving_of_humidity():
    """Rule in the title of Michalski 2002; 2 ** 1.3 in closed form."""
    assert 1 / relative_rate(20.0, 25.0) == pytest.approx(2**1.3, rel=1e-12)
    assert 1 / relative_rate(20.0, 25.0) == pytest.approx(2.46229, abs=5e-6)


@pytest.mark.parametrize(
    ("temperature", "multipliers"),  # at 30, 40, 50, 60, 70 % RH; computed apart with Ea 100 kJ/mol, n 1.3
    [
        (5, (17.756, 12.216, 9.140, 7.211, 5.902)),
        (10, (8.274, 5.692, 4.259, 3.360, 2.750)),
        (15, (3.959, 2.724, 2.038, 1.608, 1.316)),
        (25, (0.976, 0.672, 0.503, 0.396, 0.324)),
        (30, (0.502, 0.345, 0.258, 0.204, 0.167)),
    ],
)
def test_table_of_lifetime_multipliers(temperature, multipliers):
    assert 1 / relative_rate(temperature, [30, 40, 50, 60, 70]) == pytest.approx(multipliers, abs=6e-4)


def test_two_corners_of_the_table_to_five_digits():
    assert 1 / relative_rate(25.0, 60.0) == pytest.approx(0.39649, abs=5e-6)
    assert 1 / relative_rate(10.0, 30.0) == pytest.approx(8.27405, abs=5e-6)


def test_rate_that_doubles_per_six_degrees_leaves_a_tenth_at_four_degrees():
    """National Film and Sound Archive of Australia, storage of cellulose nitrate: about doubles per 6 °C; from 24 to
    4 °C less than a tenth of the nitrogen dioxide is left. Doubling from 14 to 20 °C takes 80.851 kJ/mol."""
    energy = GAS_CONSTANT * math.log(2) / (1 / 287.15 - 1 / 293.15)
    assert energy == pytest.approx(80_851, abs=1)
    doubling = relative_rate(20.0, 50.0, activation_energy=energy) / relative_rate(14.0, 50.0, activation_energy=energy)
    assert doubling == pytest.approx(2, rel=1e-12)
    cooled = relative_rate(4.0, 50.0, activation_energy=energy) / relative_rate(24.0, 50.0, activation_energy=energy)
    assert cooled < 0.1
    assert cooled == pytest.approx(0.0992, rel=0.05)  # Arrhenius is not exactly a doubling rule


@pytest.mark.parametrize(
    ("temperature", "multipliers"),  # Ea 81, 100, 144.7 kJ/mol at 50 % RH, computed apart
    [(15, (1.780, 2.038, 2.802)), (25, (0.573, 0.503, 0.369)), (30, (0.334, 0.258, 0.141))],
)
def test_other_activation_energies(temperature, multipliers):
    got = [1 / relative_rate(temperature, 50.0, activation_energy=energy) for energy in (81e3, 100e3, 144.7e3)]
    assert got == pytest.approx(multipliers, abs=6e-4)


def test_bulk_activation_energy_from_25_to_20_degrees():
    """Activation energy of Chu and others 2019, Polymer Testing 75:337-343; the factor by the formula."""
    longer = relative_rate(25.0, 50.0, activation_energy=144_700) / relative_rate(20.0, 50.0, activation_energy=144_700)
    assert longer == pytest.approx(2.70647, abs=5e-6)


def test_zero_order_line_of_bulk_cellulose_nitrate():
    """Chu and others 2019: at 25 °C 10.57 years to 0.1 % reacted and 52.91 years to 0.5 %: conversion is linear in
    equivalent time, so five times the conversion takes five times as long, whatever the rate."""
    rate = relative_rate(25.0, 50.0)
    age = equivalent_age([10.57], [rate])
    assert age * 5 / rate == pytest.approx(52.85, abs=1e-9)
    assert age * 5 / rate == pytest.approx(52.91, rel=2e-3)


def test_series_of_three_seasons_averages_the_rate():
    """180 days at 20 °C and 50 %, 90 at 26 and 60, 95 at 16 and 40: worked by hand."""
    days, rates = [180, 90, 95], relative_rate([20, 26, 16], [50, 60, 40])
    assert rates == pytest.approx([1.0, 2.8862, 0.4241], abs=5e-5)
    assert mean_rate(days, rates) == pytest.approx(1.31521, abs=5e-6)
    assert equivalent_age(days, rates) == pytest.approx(365 * 1.31521, rel=5e-6)
    assert 1 / mean_rate(days, rates) == pytest.approx(0.76033, abs=5e-6)
    averaged_climate = 1 / relative_rate(np.average([20, 26, 16], weights=days), np.average([50, 60, 40], weights=days))
    assert abs(averaged_climate - 0.76033) > 0.1  # averaging temperature and humidity goes wrong


def test_half_the_time_cool_and_half_warm_ages_more_than_the_mean_temperature():
    """Half at 15 °C, half at 25 °C, 50 %: worked by hand."""
    assert mean_rate([1, 1], relative_rate([15, 25], 50)) == pytest.approx(1.24028, abs=5e-6)
