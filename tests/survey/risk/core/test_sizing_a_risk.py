"""Magnitude of a risk: ends of the scales and input that cannot be."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.risk.magnitude import Bands, corner_range, half_steps, score, triangular_totals, yearly_loss

shares = st.floats(0, 1)


@given(st.floats(1e-3, 1e9), shares, shares)
def test_each_score_stays_on_its_scale(years, loss, value):
    for part in score(years, loss, value):
        assert 0 <= part <= 5


@given(st.floats(0.1, 1e6), st.floats(1, 100), shares, shares)
def test_sooner_and_more_is_never_less(years, times, loss, value):
    assert sum(score(years, loss, value)) >= sum(score(years * times, loss, value)) - 1e-12
    assert yearly_loss(years, loss, value) >= yearly_loss(years * times, loss, value)


def test_many_objects_at_once_and_not_known_stays_so():
    how_soon, how_much, of_what = score([10, 100], 0.1, [0.01, np.nan])
    assert how_soon.tolist() == [4, 3]
    assert how_much == 4
    assert np.isnan(of_what).tolist() == [False, True]


def test_quarters_go_up():
    assert half_steps([11.24, 11.25, 11.75]).tolist() == [11.0, 11.5, 12.0]


@pytest.mark.parametrize(
    ("arguments", "name"),
    [((0, 0.1, 0.1), "years"), ((1, 1.1, 0.1), "loss_fraction"), ((1, 0.1, -0.1), "value_fraction")],
)
def test_shares_that_cannot_be_are_refused_by_name(arguments, name):
    with pytest.raises(ValueError, match=name):
        score(*arguments)
    with pytest.raises(ValueError, match=name):
        yearly_loss(*arguments)


def test_estimates_out_of_order_are_refused_by_name():
    with pytest.raises(ValueError, match="low, likely and high"):
        corner_range([1, 1, 1], [2, 0, 2], [3, 3, 3])
    with pytest.raises(ValueError, match="draws"):
        triangular_totals([1] * 3, [1] * 3, [1] * 3, draws=0, rng=np.random.default_rng(0))


def test_a_spread_of_nothing_is_the_score_itself():
    drawn = triangular_totals([1, 2, 3], [1, 2, 3], [1, 2, 3], draws=4, rng=np.random.default_rng(0))
    assert drawn.tolist() == [6.0] * 4


def test_bands_a_department_sets():
    bands = Bands((0.0, 10.0), ("later", "now"), "agreed")
    assert (bands.name(9.7), bands.name(9.8), bands.name(15)) == ("later", "now", "now")
    with pytest.raises(ValueError, match="starts must increase"):
        Bands((1.0, 1.0), ("a", "b"), "")
    with pytest.raises(ValueError, match="one length"):
        Bands((1.0,), ("a", "b"), "")
