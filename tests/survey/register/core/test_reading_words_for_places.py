"""Words of a register for places become paths. Kinds by words are common practice; the names are invented."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survey.models import Place
from survey.register.db.models import PlaceKind
from survey.register.db.services import places
from survey.register.placing import (
    BETWEEN,
    KINDS,
    LONGEST_FULL_NAME,
    LONGEST_NAME,
    SEPARATORS,
    Choices,
    guess_largest_first,
    guess_separator,
    natural,
    paths_of,
    says_no_place,
)


def kinds(*texts, existing=None, **choices):
    found = paths_of(texts, Choices(**{"site": "Quay", "separator": " / "} | choices), existing)
    return [" ".join(f"{name}:{kind}" for name, kind in path.steps) or path.problem for path in found]


def test_the_kinds_and_lengths_are_those_of_the_places():
    assert tuple(PlaceKind.values) == KINDS
    assert (places.BETWEEN, places.LONGEST) == (BETWEEN, LONGEST_FULL_NAME)
    assert Place._meta.get_field("name").max_length == LONGEST_NAME


@pytest.mark.parametrize(
    ("texts", "separator"),
    [
        (["Store 1 / Bay 2 / Shelf 3", "Store 1 / Bay 2 / Shelf 1/2"], " / "),
        (["S1/B2/3", "S1/B2/4"], "/"),
        (["Store 1 > Bay 2", "Store 2"], " > "),
        (["Store 1 · Bay 2", "Store 1 · Bay 3"], " · "),
        (["Gallery 1, North wing", "Hall"], ", "),
        (["Store;Bay", "Store;Rack"], ";"),
        (["Hall of casts", "Attic"], ""),
        (["Hall of casts"] * 19 + ["Dresser, left"], ""),
        ([], ""),
    ],
)
def test_the_separator_is_guessed_from_how_often_it_stands(texts, separator):
    assert guess_separator(texts) == separator


@pytest.mark.parametrize(
    ("texts", "largest_first"),
    [
        (["Store 1 / Bay 2 / Shelf 3"], True),
        (["Shelf 3 / Bay 2 / Store 1"], False),
        (["Gallery 1 / North", "Gallery 2 / North", "Gallery 3 / South"], False),
        (["North / Gallery 1", "North / Gallery 2"], True),
        (["Attic"], True),
    ],
)
def test_the_direction_is_guessed_from_words_then_from_numbers_of_names(texts, largest_first):
    assert guess_largest_first(texts, " / ") is largest_first


@pytest.mark.parametrize(
    "text", ["Not on View", "UNKNOWN", "not known", "n/a", "?", "On loan", "tbc", "Place unknown."]
)
def test_texts_that_say_no_place(text):
    assert says_no_place(text)


@pytest.mark.parametrize("text", ["Store 1", "Lost property room", "Nave", "View gallery"])
def test_texts_that_say_a_place(text):
    assert not says_no_place(text)


@pytest.mark.parametrize(
    ("text", "becomes"),
    [
        ("Store 2 / Bay A / Shelf 3 / Box 7", "Store 2:room Bay A:bay Shelf 3:shelf Box 7:tray"),
        ("Store 2 / 14 / 3", "Store 2:room 14:bay 3:shelf"),
        ("East galleries / Gallery 4", "East galleries:building Gallery 4:room"),
        ("East wing / Gallery 4 / Case 2", "East wing:building Gallery 4:room Case 2:bay"),
        ("Store 2 / Cabinet 1 / Drawer 4", "Store 2:room Cabinet 1:bay Drawer 4:tray"),
        ("Cabinet 9", "Cabinet 9:bay"),
        ("Drawer cabinet 3", "Drawer cabinet 3:bay"),
        ("A / B / C / D / E", "A:building B:room C:bay D:shelf E:tray"),
        ("A / B / C / D / E / F", "A:building B:room C:bay D:shelf E / F:tray"),
        (" / Attic /  / ", "Attic:room"),
    ],
)
def test_kinds_go_by_words_and_else_by_depth(text, becomes):
    assert kinds(text) == [becomes]


def test_the_largest_may_come_last():
    assert kinds("Shelf 3 / Bay 2 / Store 1", largest_first=False) == ["Store 1:room Bay 2:bay Shelf 3:shelf"]


def test_a_place_has_one_kind_whatever_text_names_it():
    assert kinds("Hall / Room 1", "hall", "HALL / Case  2") == [
        "Hall:building Room 1:room", "Hall:building", "Hall:building Case 2:bay",
    ]  # fmt: skip


def test_the_smallest_part_may_be_said():
    assert kinds("Store 1 / 2", "Store 1 / 3", "Store 1", finest="shelf") == [
        "Store 1:room 2:shelf", "Store 1:room 3:shelf", "Store 1:room",
    ]  # fmt: skip


def test_places_that_are_there_keep_their_name_and_kind():
    there = {("store 1",): ("Store 1", "building"), ("store 1", "nook"): ("Nook", "shelf")}
    assert kinds("STORE 1 / nook / x", "Store 1 / Bay 2", existing=there) == [
        "Store 1:building Nook:shelf x:tray", "Store 1:building Bay 2:bay",
    ]  # fmt: skip


def test_what_does_not_fit_is_said_and_the_rest_goes_on():
    there = {("box 1",): ("Box 1", "tray")}
    first, second = kinds("Box 1 / Shelf 2", "Store 1", existing=there)
    assert "“Shelf 2”" in first and "does not fit" in first
    assert second == "Store 1:room"
    long = "x" * 110
    assert "more than 120" in kinds("x" * 121)[0]
    assert "longer than 400" in kinds(" / ".join([long] * 4))[0]


def test_left_out_texts_become_nothing():
    assert kinds("Store 1", "Not on view", left=frozenset({"Not on view"})) == ["Store 1:room", ""]


def test_shelves_are_counted_as_people_count():
    assert sorted(["Shelf 10", "shelf 2", "Shelf 1", "Bay 3"], key=natural) == [
        "Bay 3",
        "Shelf 1",
        "shelf 2",
        "Shelf 10",
    ]


@pytest.mark.parametrize("wrong", [{"site": " "}, {"separator": "+"}, {"finest": "site"}, {"site": "x" * 121}])
def test_choices_that_cannot_be_are_refused_by_name(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        Choices(**{"site": "Quay"} | wrong)


words = st.sampled_from(["Store 1", "store 1", "Bay A", "Shelf 2", "Box", "Gallery", "7", "North wing", "", "x"])


@given(
    texts=st.lists(st.lists(words, max_size=7).map(" / ".join), max_size=12, unique=True),
    largest_first=st.booleans(),
    finest=st.sampled_from(["", "shelf", "tray", "room"]),
)
def test_every_path_descends_and_no_place_has_two_kinds(texts, largest_first, finest):
    known = {}
    for path in paths_of(texts, Choices("Quay", " / ", largest_first, finest)):
        assert not path.problem
        ranks = [KINDS.index(kind) for _, kind in path.steps]
        assert ranks == sorted(set(ranks)) and all(rank > 0 for rank in ranks)
        for depth in range(1, len(path.steps) + 1):
            names = tuple(name for name, _ in path.steps[:depth])
            assert known.setdefault(names, path.steps[depth - 1][1]) == path.steps[depth - 1][1]


@given(st.text(max_size=60), st.sampled_from(["", *SEPARATORS]))
def test_any_text_is_read_or_left_with_a_reason(text, separator):
    (path,) = paths_of([text], Choices("Quay", separator))
    assert all(name.strip() == name and name for name, _ in path.steps)
