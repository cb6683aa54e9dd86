"""Sizes as registers write them."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.register.units import LENGTHS, decimal_mark_of, parse_length, parse_weight, unit_in


@pytest.mark.parametrize(
    ("text", "unit", "millimetres"),
    [
        ("13 5/8", "in", 346.075),
        ("13-5/8", "in", 346.075),
        ("13⅝", "in", 346.075),
        ("13 ⅝ in.", None, 346.075),
        ("5/8", "in", 15.875),
        ("½", "cm", 5.0),
        ("12,5", "cm", 125.0),
        ("12.5 cm", "in", 125.0),
        ("125mm", None, 125.0),
        ("0.125 m", None, 125.0),
        ('5"', None, 127.0),
        ("5' 3\"", None, 1600.2),
        ("5 ft 3 1/2 in", None, 1612.9),
        ("6 ft", None, 1828.8),
        ("1.234,5", "mm", 1234.5),
        ("1,234.5", "mm", 1234.5),
        ("1 234,5", "mm", 1234.5),
        ("0,125", "m", 125.0),
        (".5", "in", 12.7),
        ("c. 12", "cm", 120.0),
        ("ca 12", "cm", 120.0),
        ("+12", "cm", 120.0),
        ("12 Inches", None, 304.8),
    ],
)
def test_ways_of_writing_a_size(text, unit, millimetres):
    assert parse_length(text, unit) == pytest.approx(millimetres, abs=1e-9)


@pytest.mark.parametrize("text", ["", "  ", "-", "—", "n/a", "Unknown", "not recorded", "?"])
def test_words_for_nothing_are_nothing(text):
    assert parse_length(text, "cm") is None


@pytest.mark.parametrize("text", ["0", "0.0", "0,00", "0 cm"])
def test_nought_is_not_recorded_only_when_told(text):
    assert parse_length(text, "cm", zero_is_missing=True) is None
    with pytest.raises(ValueError, match="is no size"):
        parse_length(text, "cm")


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("-3", "cm", "negative"),
        ("−3", "cm", "negative"),
        ("20.1", "m", "more than 20,000 mm"),
        ("9600.0", "in", "more than 20,000 mm"),
        ("0.0000001", "mm", "too small"),
        ("12 x 5", "cm", "not one size"),
        ("tall", "cm", "not one size"),
        ("12 ells", None, "unit that is not known"),
        ("12 kg", None, "unit that is not known"),
        ("12", None, "no unit"),
        ("1,234", "mm", "may be a thousand"),
        ("1,23,4", "mm", "not one number"),
        ("5/0", "in", "no fraction"),
        ("9" * 100, "mm", "too many digits"),
        ("9" * 60_000, "mm", "not one size"),
        ("1e400", "mm", "unit that is not known|not one size"),
    ],
)
def test_what_is_no_size_is_refused_with_what_to_do(text, unit, words):
    with pytest.raises(ValueError, match=words) as caught:
        parse_length(text, unit)
    assert len(str(caught.value)) < 200


def test_a_decimal_mark_that_is_known_decides():
    assert parse_length("1,234", "mm", decimal=",") == 1.234
    assert parse_length("1,234", "mm", decimal=".") == 1234.0
    assert decimal_mark_of(["12,5", "1,234"]) == ","
    assert decimal_mark_of(["12,5", "12.5"]) is None


def test_a_column_of_an_unknown_unit_is_the_callers_mistake():
    with pytest.raises(ValueError, match="unit must be one of"):
        parse_length("12", "ell")


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("item_height (in)", "in"),
        ("Höhe [cm]", "cm"),
        ("heightMm", "mm"),
        ("Height", None),
        ("in or cm", None),
        ("in.", "in"),
    ],
)
def test_the_unit_in_a_heading(heading, unit):
    assert unit_in(heading) == unit


@given(whole=st.integers(0, 700), sixteenths=st.integers(0, 15))
def test_inches_in_sixteenths_come_out_exact(whole, sixteenths):
    size = Fraction(whole * 16 + sixteenths, 16)
    if size:
        assert parse_length(f"{whole} {sixteenths}/16", "in") == pytest.approx(float(size * 254 / 10), abs=1e-3)


@given(st.text(max_size=40), st.sampled_from([None, *LENGTHS]), st.sampled_from([None, ".", ","]))
def test_any_text_is_a_size_or_refused(text, unit, decimal):
    for parse, units in ((parse_length, unit), (parse_weight, None)):
        try:
            got = parse(text, units, decimal=decimal)
        except ValueError:
            continue
        assert got is None or 0 < got <= 20_000
