"""The book of definitions: what grades, stages and signs mean."""

import copy
import json
from pathlib import Path

import pytest

from survey.condition import grades
from survey.condition.db.models import Adhesive, Basis, Grade

BOOK = json.loads((Path(__file__).parents[4] / "fixtures" / "definitions.json").read_text())


@pytest.fixture
def book():
    return copy.deepcopy(BOOK)


@pytest.fixture
def first(book):
    return grades.parse_book(book)[1]


def test_the_four_steps_are_those_of_the_published_audit_scale(first):
    # Managing Conservation in Museums, 2nd edition 2002: good, fair, poor, unacceptable (from memory).
    for axis in first.axes:
        assert [grade.name for grade in axis.grades] == ["Good", "Fair", "Poor", "Unacceptable"]
    assert set(grades.GRADES) | {"not_seen", "not_known"} == set(Grade.values)


def test_instability_damage_and_disfigurement_are_graded_apart(first):
    # Journal of Conservation and Museum Studies 2000/01: three axes, not one.
    assert [axis.code for axis in first.axes] == ["instability", "damage", "disfigurement"]
    wordings = [grade.definition for axis in first.axes for grade in axis.grades]
    assert len(set(wordings)) == 12


def test_no_definition_uses_a_word_that_the_notes_are_warned_of(first):
    said = [s.definition for signs in first.signs.values() for s in signs] + [s.definition for s in first.stages]
    assert [grades.vague_words(text) for text in said if grades.vague_words(text)] == []


def test_every_basis_has_findings_and_classes_are_those_of_the_record(first):
    assert set(first.findings) == set(Basis.values)
    for basis in ("date", "record", "ftir"):
        assert {term.code for term in first.findings[basis]} - {"other"} == set(Adhesive.values)


@pytest.mark.parametrize(
    ("signs", "stage"),
    [
        ([], 0),
        ([("yellowing", 100)], 1),
        ([("edge_lifting", 5)], 1),
        ([("edge_lifting", None)], 1),
        ([("edge_lifting", 25)], 2),
        ([("gap", 1)], 3),
        ([("yellowing", 10), ("movement", None)], 3),
        ([("detached", 100), ("gap", 25)], 4),
    ],
)
def test_signs_imply_a_least_stage(first, signs, stage):  # common practice
    assert grades.least_stage(first, signs) == stage


def test_more_of_a_sign_never_makes_a_joint_better(first):
    for sign in first.signs["joint"]:
        stages = [grades.least_stage(first, [(sign.code, percent)]) for percent in range(101)]
        assert stages == sorted(stages)


@pytest.mark.parametrize(
    ("code", "extent", "says"), [("rust", 50, "code"), ("gap", 101, "extent"), ("gap", -1, "extent")]
)
def test_what_is_no_sign_or_no_extent_is_refused(first, code, extent, says):
    with pytest.raises(ValueError, match=says):
        grades.least_stage(first, [(code, extent)])


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda b: b.pop("versions"), "versions"),
        (lambda b: b["versions"].append(b["versions"][0]), "number of its own"),
        (lambda b: b["versions"][0]["stages"].pop(), "stages must be 5"),
        (lambda b: b["versions"][0]["axes"].pop(), "axes must be"),
        (lambda b: b["versions"][0]["axes"][0]["grades"].pop("poor"), "poor must be said"),
        (lambda b: b["versions"][0]["signs"]["joint"].append(b["versions"][0]["signs"]["joint"][0]), "twice"),
        (lambda b: b["versions"][0]["signs"]["joint"][0]["least_stage"][0].update(stage=5), "stage must be"),
        (lambda b: b["versions"][0]["signs"]["fill"][0].pop("definition"), "definition"),
        (lambda b: b["versions"][0]["findings"].pop("uv"), "uv must be a list"),
    ],
)
def test_a_book_with_a_fault_is_refused_and_the_place_named(book, spoil, says):
    spoil(book)
    with pytest.raises(ValueError, match=says):
        grades.parse_book(book)


def test_vague_words_are_found_where_they_stand():
    text = "A bad crack and SMALL chips"
    found = grades.vague_words(text)
    assert [text[word.start : word.end] for word in found] == ["bad", "SMALL"]
    assert "how far it runs" in found[0].ask


def test_terms_of_the_trade_are_not_called_vague():
    assert grades.vague_words("Old restoration: old joints at the foot, 40 mm long, film badged") == ()
