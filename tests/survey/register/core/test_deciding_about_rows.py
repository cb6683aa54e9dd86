"""What an import would do, row by row, before anything is written."""

import csv
import io
from decimal import Decimal
from typing import Any, cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.register.deciding import Change, Kind, Snapshot, Summary, clean_text, decide, number_key, same_value
from survey.register.exporting import neutralise, restored
from survey.register.fields import VALUES
from survey.register.filtering import Condition
from survey.register.matching import guess_columns
from survey.register.reading import open_table

HEADER = ["Accession number", "Title", "Medium", "Height (cm)", "Date", "Date acquired"]
JAR = ["K 1", "Jar", "earthenware", "12.5", "c. 1860", "1926-05-04"]
BOWL = ["K 2", "Bowl", "stoneware", "8", "18th century", "1926"]


def a_table(*rows, header=HEADER):
    written = io.StringIO(newline="")
    csv.writer(written).writerows([header, *rows])
    return open_table(io.BytesIO(written.getvalue().encode()), "register.csv", delimiter=",")


def decided(*rows, existing=None, header=HEADER, **options):
    table = a_table(*rows, header=header)
    matching = guess_columns(header).corrected(
        units=options.pop("units", None), zero_is_missing=options.pop("zero_is_missing", None)
    )
    return list(decide(table, matching, existing or {}, **options))


def carried_out(decisions, existing=None):
    """The objects after the decisions, as the database layer would leave them."""
    objects = dict(existing or {})
    for decision in decisions:
        if decision.kind is Kind.CREATE:
            objects[decision.key] = Snapshot(decision.values, decision.fingerprint)
        elif decision.kind in (Kind.CHANGE, Kind.SAME):
            changed = {change.name: change.becomes for change in decision.changes}
            objects[decision.key] = Snapshot({**objects[decision.key].values, **changed}, decision.fingerprint)
    return objects


def test_a_new_object_comes_with_all_that_the_row_says():
    (decision,) = decided(JAR)
    assert (decision.row, decision.kind, decision.number, decision.reason) == (2, Kind.CREATE, "K 1", "")
    assert decision.values == {
        "accession_number": "K 1", "title": "Jar", "material": "earthenware", "height_mm": 125.0,
        "date_text": "c. 1860", "date_earliest": 1855, "date_latest": 1865, "acquired_on": "1926-05-04",
    }  # fmt: skip
    assert decision.values.keys() <= set(VALUES)


def test_the_same_file_again_changes_nothing():
    objects = carried_out(decided(JAR, BOWL))
    assert [d.kind for d in decided(JAR, BOWL, existing=objects)] == [Kind.SAME, Kind.SAME]


def test_a_change_says_what_was_and_what_it_becomes():
    objects = carried_out(decided(JAR, BOWL))
    changed, same = decided([*JAR[:3], "13", *JAR[4:]], BOWL, existing=objects)
    assert (changed.kind, changed.changes) == (Kind.CHANGE, (Change("height_mm", 125.0, 130.0),))
    assert same.kind is Kind.SAME


def test_what_was_corrected_here_stays_when_the_register_says_the_same_again():
    objects = carried_out(decided(JAR))
    values = {**objects["K 1"].values, "title": "Jar with two handles"}
    (decision,) = decided(JAR, existing={"K 1": Snapshot(values, objects["K 1"].fingerprint)})
    assert (decision.kind, decision.changes) == (Kind.SAME, ())
    assert "title" in decision.notes[0].message
    (without_memory,) = decided(JAR, existing={"K 1": Snapshot(values)})
    assert without_memory.changes == (Change("title", "Jar with two handles", "Jar"),)


def test_an_empty_cell_leaves_what_is_there_unless_told_to_clear():
    objects = carried_out(decided(JAR))
    emptied = ["K 1", "", *JAR[2:]]
    assert decided(emptied, existing=objects)[0].kind is Kind.SAME
    assert decided(emptied, existing=objects, blanks="clear")[0].changes == (Change("title", "Jar", ""),)


def test_rows_left_out_by_words_in_one_column_or_another():
    conditions = [Condition("Medium", "contains", ("earthen",)), Condition("Title", "equals", ("BOWL",))]
    lamp = ["K 3", "Bowl lamp", "brass", "", "", ""]
    assert [d.kind for d in decided(JAR, BOWL, lamp, conditions=conditions)] == [Kind.CREATE, Kind.CREATE, Kind.LEFT]


def test_a_number_that_occurs_twice_refuses_both_rows_and_names_them():
    first, other, second = decided(JAR, BOWL, [" K  1 ", *JAR[1:]])
    assert (first.kind, other.kind, second.kind) == (Kind.REFUSED, Kind.CREATE, Kind.REFUSED)
    assert first.reason == "Row 2, Accession number: “K 1” stands in rows 2 and 4. Keep one of them."
    assert "rows 2 and 4" in second.reason


def test_a_number_twice_is_no_matter_where_one_of_the_rows_is_left_out():
    other = ["K 1", "Lamp", "brass", "", "", ""]
    decisions = decided(JAR, other, conditions=[Condition("Medium", "contains", ("ware",))])
    assert [d.kind for d in decisions] == [Kind.CREATE, Kind.LEFT]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (["", *JAR[1:]], "Row 2, Accession number: the accession number is missing"),
        ([*JAR[:3], "-3", *JAR[4:]], "Row 2, Height (cm): “-3” is negative"),
        ([*JAR[:3], "0", *JAR[4:]], "Row 2, Height (cm): “0” is no size"),
        ([*JAR[:3], "2001", *JAR[4:]], "Row 2, Height (cm): “2001” is more than 20,000 mm"),
        (["K 1", "#REF!", *JAR[2:]], "Row 2, Title: #REF! is an error of the spreadsheet"),
        (["K" * 121, *JAR[1:]], "Row 2, Accession number: 121 characters; at most 120"),
        (["K 1", "a\x07b", *JAR[2:]], "Row 2, Title: holds a control character"),
    ],
)
def test_a_row_that_cannot_be_taken_says_row_column_and_what_to_do(row, words):
    refused, taken = decided(row, BOWL)
    assert (refused.kind, taken.kind) == (Kind.REFUSED, Kind.CREATE)
    assert refused.reason.startswith(words)
    assert len(refused.number) <= 120


def test_every_problem_of_a_row_is_named_at_once():
    (decision,) = decided(["K 1", "#N/A", "", "-3", "", ""])
    assert [problem.column for problem in decision.problems] == ["Title", "Height (cm)"]


def test_a_date_never_refuses_a_row():
    (decision,) = decided([*JAR[:4], "in the reign of the old king", "03/04/1926"])
    assert decision.kind is Kind.CREATE
    assert (decision.values["date_earliest"], decision.values["acquired_on"]) == (None, "03/04/1926")
    assert "no clear date" in decision.notes[0].message


def test_the_registers_own_years_go_before_those_read_from_words():
    header = ["No", "Date", "Earliest year", "Latest year"]
    own, read, crossed = decided(
        ["K 1", "19th century", "1840", "1850"],
        ["K 2", "19th century", "", ""],
        ["K 3", "1840", "1850", "1840"],
        header=header,
    )
    assert (own.values["date_earliest"], own.values["date_latest"]) == (1840, 1850)
    assert (read.values["date_earliest"], read.values["date_latest"]) == (1800, 1899)
    assert (crossed.kind, "after the latest" in crossed.notes[0].message) == (Kind.CREATE, True)


def test_nought_as_not_recorded_and_a_unit_given_by_a_person():
    header = ["No", "Height"]
    first, second = decided(["K 1", "0.0"], ["K 2", "2"], header=header, units={"height": "in"}, zero_is_missing=True)
    assert (first.values["height_mm"], second.values["height_mm"]) == (None, 50.8)
    assert "no unit" in decided(["K 2", "2"], header=header)[0].reason


def test_numbers_are_found_in_any_spelling_of_their_letters_and_kept_as_written():
    composed, apart = "K\u00f6 12", "Ko\u0308  12 "
    assert number_key(apart) == composed
    (decision,) = decided([apart, *JAR[1:]], existing={composed: Snapshot({"accession_number": composed})})
    assert (decision.kind, decision.number) == (Kind.CHANGE, "K\u00f6  12")


def test_the_summary_counts_every_row():
    objects = carried_out(decided(JAR, BOWL))
    summary = Summary()
    rows = [[*JAR[:3], "13", *JAR[4:]], BOWL, ["K 3", *JAR[1:]], ["", *JAR[1:]]]
    for decision in decided(*rows, existing=objects):
        assert summary.add(decision) is decision
    assert summary.to_dict() == {
        "total": 4, "create": 1, "change": 1, "same": 1, "left": 0, "refused": 1, "changed": {"height_mm": 1},
        "noted": 0,
    }  # fmt: skip


def test_what_the_caller_got_wrong_is_named():
    table = a_table(JAR)
    matching = guess_columns(HEADER)
    with pytest.raises(ValueError, match="Accession number"):
        decide(table, matching.corrected({"accession_number": None}), {})
    with pytest.raises(ValueError, match="other headings"):
        decide(table, guess_columns(HEADER[:3]), {})
    with pytest.raises(ValueError, match="conditions"):
        decide(table, matching, {}, conditions=[Condition("Colour", "equals", ("blue",))])
    with pytest.raises(ValueError, match="words"):
        Condition("Medium", "contains", ())
    with pytest.raises(ValueError, match="blanks"):
        decide(table, matching, {}, blanks=cast("Any", "drop"))


def test_stored_numbers_of_any_type_compare():
    assert same_value(Decimal("346.075"), 346.075)
    assert same_value(None, "")
    assert not same_value("12", 12)


TEXTS = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=12)
ROWS = st.lists(
    st.tuples(
        st.sampled_from(["K 1", "K 2", "K  3", "", "k 4"]) | TEXTS, TEXTS, TEXTS,
        st.sampled_from(["", "12.5", "0", "-1", "13 5/8", "tall"]),
        st.sampled_from(["", "c. 1860", "old"]) | TEXTS, TEXTS,
    ),
    min_size=1, max_size=8,
)  # fmt: skip


@settings(deadline=None)
@given(first=ROWS, second=ROWS, blanks=st.sampled_from(["keep", "clear"]))
def test_any_import_carried_out_twice_changes_nothing_the_second_time(first, second, blanks):
    if not all(any("".join(row).strip() for row in rows) for rows in (first, second)):
        return
    objects = carried_out(decided(*first))
    objects = carried_out(decided(*second, existing=objects, blanks=blanks), objects)
    again = decided(*second, existing=objects, blanks=blanks)
    assert {decision.kind for decision in again} <= {Kind.SAME, Kind.REFUSED}


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\0", "＝"])
def test_an_exported_text_never_starts_to_compute(start):
    assert neutralise(f"{start}1+1") == f"'{start}1+1"
    assert restored(f"'{start}1+1") == f"{start}1+1"


@pytest.mark.parametrize("value", [-5, -5.5, None, True, "jar", "'tis", ""])
def test_numbers_and_harmless_texts_are_exported_as_they_are(value):
    assert neutralise(value) is value


@given(st.text(max_size=20) | st.text("'=+-@a", max_size=6))
def test_what_was_neutralised_comes_back(text):
    assert restored(neutralise(text)) == text
    assert not neutralise(text).startswith(("=", "+", "-", "@", "\t", "\r", "\0"))


def test_a_register_exported_here_is_read_back_as_it_was():
    objects = carried_out(decided(["-12/3", "=jar", *JAR[2:]]))
    assert objects["-12/3"].values["title"] == "=jar"
    (again,) = decided([neutralise("-12/3"), neutralise("=jar"), *JAR[2:]], existing=objects)
    assert again.kind is Kind.SAME
    assert clean_text("  a\r\nb ") == "a\nb"
