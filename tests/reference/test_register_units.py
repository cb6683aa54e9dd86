"""Sizes and weights against NIST Special Publication 811 (2008), appendix B.8 (from memory)."""

import pytest

from survey.register.units import parse_length, parse_weight


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [("1 in", 25.4), ("1 ft", 304.8), ("1 cm", 10.0), ("1 m", 1000.0), ("39.370079 in", 1000.0)],
)
def test_lengths(text, millimetres):
    assert parse_length(text, None) == pytest.approx(millimetres, rel=1e-7)


@pytest.mark.parametrize(
    # NIST prints pound 4.535 923 7 E-01 kg (exact) and ounce, avoirdupois, 2.834 952 E-02 kg.
    ("text", "kilograms"),
    [("1 lb", 0.45359237), ("1 oz", 0.02834952), ("1000 g", 1.0), ("2 kg", 2.0)],
)
def test_weights(text, kilograms):
    assert parse_weight(text, None) == pytest.approx(kilograms, abs=5e-7)
