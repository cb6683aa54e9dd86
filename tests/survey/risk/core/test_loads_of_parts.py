"""Loads measured, estimated, and chances of giving."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.risk.load import (
    MOVES,
    PART_SHAPES,
    ShockLevels,
    failure_chance,
    joint_stress,
    load_inputs,
    part_code,
    softens,
    strength,
    utilisation,
)

positive = st.floats(0.001, 5)


def test_measured_sizes_are_kept_and_the_others_estimated():
    got = load_inputs(
        ["handle", "foot"], 300, 200, mass_kg=[0.2, np.nan], length_mm=[60, 80], thickness_mm=[6, 7], lever_mm=[30, 5]
    )
    assert got.estimated.tolist() == [False, True]
    assert got.mass_kg[0] == 0.2
    assert got.length_mm.tolist() == [60, 80]
    assert got.mass_kg[1] > 0


def test_an_estimate_grows_with_the_object_and_stays_within_walls_met_on_ceramics():
    """Walls 3 to 10 mm for vessels, 10 to 25 mm for large jars (expert default)."""
    got = load_inputs("wall", [50, 300, 900, 5000], [40, 200, 600, 3000])
    assert np.all(np.diff(got.mass_kg) > 0)
    assert got.thickness_mm.tolist() == pytest.approx([3, 7.5, 22.5, 25])
    assert got.estimated.all()


def test_every_part_and_an_unknown_size_can_be_estimated():
    got = load_inputs(list(PART_SHAPES), np.nan, np.nan)
    for sizes in (got.mass_kg, got.length_mm, got.thickness_mm, got.lever_mm):
        assert np.all(np.isfinite(sizes) & (sizes > 0))
    assert got.peak_stress(ShockLevels().as_array()).shape == (len(PART_SHAPES), len(MOVES))


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ("foot", "foot"),
        ("Left handle", "handle"),
        ("foot-ring", "foot"),
        ("Handles", "handle"),
        ("rim, inner lip", "rim"),
        ("?", "other"),
    ],
)
def test_places_in_a_surveyor_s_words(words, code):
    assert part_code(words) == code


@given(positive, positive, st.floats(0.05, 0.95), st.integers(0, 30))
@settings(max_examples=60)
def test_a_second_kind_of_move_is_no_safer(first, second, shared, count):
    one = failure_chance([first], [1], shared=shared)
    both = failure_chance([first, second], [1, count], shared=shared)
    assert 0 <= one <= both + 1e-9 <= 1 + 1e-9


def test_the_same_handling_of_one_joint_fails_less_often_than_of_fresh_ones():
    """Ten moves: between one move (all scatter the joint's own) and ten independent ones (closed forms)."""
    one = failure_chance([0.5], [1])
    assert failure_chance([0.5], [10], shared=1) == pytest.approx(one, abs=1e-7)
    assert failure_chance([0.5], [10], shared=0) == pytest.approx(1 - (1 - one) ** 10, abs=1e-7)
    assert one < failure_chance([0.5], [10]) < 1 - (1 - one) ** 10


def test_no_move_and_no_strength():
    assert failure_chance([np.inf, 0.1], [0, 0]) == 0
    assert failure_chance([np.inf, 0.1], [1, 0]) == 1
    assert np.isnan(failure_chance([np.nan], [1]))
    assert utilisation([0.0, 1.0], [0.0, 0.0]).tolist() == [np.inf, np.inf]


def test_strength_falls_stage_by_stage():
    left = strength(2e6, [0, 1, 2, 3, 4])
    assert np.all(np.diff(left) < 0)
    assert left[-1] == 0


def test_shocks_are_at_least_the_object_s_own_weight():
    assert ShockLevels().as_array().shape == (len(MOVES),)
    with pytest.raises(ValueError, match="mount"):
        ShockLevels(mount=0.5)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"mass_kg": -1}, "mass_kg"),
        ({"length_mm": 0}, "length_mm"),
        ({"thickness_mm": 0}, "thickness_mm"),
        ({"lever_mm": -1}, "lever_mm"),
        ({"g": np.inf}, "g must"),
    ],
)
def test_sizes_that_cannot_be_are_refused_by_name(change, name):
    with pytest.raises(ValueError, match=name):
        joint_stress(**({"mass_kg": 1, "length_mm": 1, "thickness_mm": 1, "lever_mm": 1, "g": 1} | change))


def test_codes_and_shares_that_are_not_known_are_refused_by_name():
    with pytest.raises(ValueError, match="part must be one of"):
        load_inputs("lug", 100, 100)
    with pytest.raises(ValueError, match="body must be one of"):
        load_inputs("foot", 100, 100, body="tin")
    with pytest.raises(ValueError, match="scatter"):
        failure_chance([1.0], scatter=0)
    with pytest.raises(ValueError, match="shared"):
        failure_chance([1.0], shared=1.5)
    with pytest.raises(ValueError, match="stage"):
        strength(1e6, [5])
    with pytest.raises(ValueError, match="solvent_drop_c"):
        softens(20, 40, solvent_drop_c=31)
