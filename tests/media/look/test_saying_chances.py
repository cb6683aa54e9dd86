"""What a person reads for a chance, an hour, a state."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from media.templatetags.fettle import CAUTIONS, certainty, chance, grade, hours, in_ten, shelf_row, spread, stage

SPACE = "\N{NO-BREAK SPACE}"
chances = st.floats(0, 1)


def plain(text: str) -> str:
    return text.replace(SPACE, " ")


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.31, "31 %"),
        (0.005, "<1 %"),
        (0.01, "1 %"),
        (0.99, "99 %"),
        (0.995, ">99 %"),
        (None, "not known"),
        (float("nan"), "not known"),
    ],
)
def test_a_chance(value, words):
    assert plain(chance(value)) == words


@given(chances)
def test_a_chance_is_never_none_and_never_all(value):
    assert plain(chance(value)) not in {"0 %", "100 %"}
    assert not in_ten(value).startswith(("about 0", f"about 10{SPACE}in{SPACE}10", f"about 100{SPACE}in"))


@given(st.floats(0.001, 0.999))
def test_an_estimate_called_certain_by_rule_stays_an_estimate(value):
    assert plain(chance(value, "by rule")) not in {"0 %", "100 %"}


def test_only_a_rule_makes_certain():
    assert plain(chance(1.0)) == ">99 %"
    assert plain(chance(0.0)) == "<1 %"
    assert plain(chance(1.0, "by rule")) == "100 %"
    assert plain(chance(0, "by rule")) == "0 %"


@pytest.mark.parametrize("value", [-0.1, 1.2, 31])
def test_what_is_no_chance_is_refused(value):
    with pytest.raises(ValueError, match="chance"):
        chance(value)


@given(chances, chances)
def test_a_greater_chance_never_reads_smaller(one, other):
    def read(text: str) -> float:
        return {"<1": 0.0, ">99": 100.0}.get(text.split(SPACE)[0]) or float(text.split(SPACE)[0].strip("<>"))

    low, high = sorted((one, other))
    assert read(chance(low)) <= max(read(chance(high)), 1.0)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.31, "about 3 in 10"),
        (0.05, "about 1 in 10"),
        (0.94, "about 9 in 10"),
        (0.02, "about 2 in 100"),
        (0.97, "about 97 in 100"),
        (0.001, "fewer than 1 in 100"),
        (0.9999, "more than 99 in 100"),
        (None, "not known"),
    ],
)
def test_a_chance_as_a_count(value, words):
    assert plain(in_ten(value)) == words


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (23.4, "23 h"),
        (1.3, "1¼ h"),
        (0.5, "½ h"),
        (2.8, "2¾ h"),
        (9.9, "10 h"),
        (0, "0 h"),
        (0.05, "under ¼ h"),
        (1240.2, "1 240 h"),
        (None, "not known"),
    ],
)
def test_hours(value, words):
    assert plain(hours(value)) == words


def test_negative_hours_are_refused():
    with pytest.raises(ValueError, match="hours"):
        hours(-1)


def test_an_interval_in_words():
    assert spread(0.18, 0.47) == "18–47"
    assert spread(0.001, 0.02) == "<1–2"
    assert spread(None, 0.5) == ""


def test_states_outside_the_scale_are_refused():
    for bad in (-1, 5):
        with pytest.raises(ValueError, match="state"):
            stage(bad)
    for bad in (0, 5):
        with pytest.raises(ValueError, match="number"):
            grade(bad)
    with pytest.raises(ValueError, match="level"):
        certainty("Epoxy", "sure")


def test_grades_are_those_of_the_published_audit_method():
    """Good, fair, poor, unacceptable: the four steps in Managing Conservation in Museums (seen cited)."""
    assert [grade(number)["word"] for number in (1, 2, 3, 4)] == ["Good", "Fair", "Poor", "Unacceptable"]


def test_a_shelf_says_of_each_object_how_it_stands():
    marks = [
        {"name": "PT 1", "seen": False},
        {"name": "PT 2", "seen": True},
        {"name": "PT 3", "seen": True, "stage": 3},
        {"name": "PT 4", "seen": True, "misplaced": True},
        {"name": "PT 5", "seen": False, "do_not_lift": True},
    ]
    row = shelf_row("Shelf 2", marks)
    assert row["seen"] == 3
    assert [mark["words"] for mark in row["marks"]] == [
        "not looked at yet",
        "looked at, no old joints",
        "worst joint: failing joint",
        "looked at, no old joints, not where it should be",
        "do not lift",
    ]


def test_every_caution_defers():
    """A caution ends with whom or what to follow, never with our word alone."""
    for name in ("solvents", "cellulose-nitrate", "dust", "residues", "heavy", "evidence"):
        text = CAUTIONS[name][1].lower()
        assert any(word in text for word in ("data sheet", "officer", "accredited", "local", "agreement")), name
