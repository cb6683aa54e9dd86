"""A registrar's workbook, honest or not."""

import datetime
import io
import re
import zipfile

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survey.register.reading import open_table
from survey.register.table import Limits, RegisterFileError


def workbook(*rows, **sheets):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for name, content in sheets.items():
        sheet = book.create_sheet(name)
        for row in content:
            sheet.append(row)
    return saved(book)


def saved(book):
    file = io.BytesIO()
    book.save(file)
    return file


def altered(file, **parts):
    """The same package with some parts rewritten; names have __ for / and _dot_ for a point."""
    names = {name.replace("__", "/").replace("_dot_", "."): content for name, content in parts.items()}
    out = io.BytesIO()
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in dict.fromkeys([*old.namelist(), *names]):
            content = old.read(name) if name in old.namelist() else b""
            change = names.get(name, content)
            new.writestr(name, change(content) if callable(change) else change)
    return out


def refusal(file, **options):
    with pytest.raises(RegisterFileError) as caught:
        list(open_table(file, "register.xlsx", **options).rows())
    return caught.value


HONEST = (["Number", "Title", "Height"], ["K 1", "jar", 12.5], ["K 2", "bowl", 8])


def test_cells_become_the_text_a_person_sees():
    file = workbook(
        ["Number", "Height", "Acquired", "Seen", "Checked", "Count"],
        ["K 1", 12.5, datetime.date(1926, 5, 4), datetime.datetime(1926, 5, 4, 10, 30), True, 13.0],
        [None, None, None, None, None, None],
        ["K 2", None, None, None, None, "-"],
    )
    first, second = open_table(file, "x").rows()
    assert first.values == ("K 1", "12.5", "1926-05-04", "1926-05-04 10:30:00", "TRUE", "13")
    assert (second.number, second.values) == (4, ("K 2", "", "", "", "", "-"))


def test_an_accession_number_kept_as_a_number_is_marked():
    rows = list(open_table(workbook(["Number", "Title"], [12.1, "jar"], ["12.10", "bowl"]), "x").rows())
    assert [row.rounded for row in rows] == [frozenset({0}), frozenset()]


def test_the_first_sheet_with_something_in_it_unless_one_is_chosen():
    file = workbook(Store=[["No", "Name"], ["K 1", "jar"]], Loans=[["No"], ["L 1"]])
    assert open_table(file, "x").sheet == "Store"
    assert next(open_table(file, "x", sheet="Loans").rows()).values == ("L 1",)
    assert "no sheet “Attic”. It has: Sheet, Store, Loans" in refusal(file, sheet="Attic").problem


def test_a_wrong_size_in_the_sheet_cuts_nothing_off():
    def shrink(xml):
        return re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1:A1"', xml)

    file = altered(workbook(*HONEST), xl__worksheets__sheet1_dot_xml=shrink)
    assert [row.values for row in open_table(file, "x").rows()] == [("K 1", "jar", "12.5"), ("K 2", "bowl", "8")]


def test_a_formula_gives_its_stored_result_and_is_marked():
    def calculate(xml):
        return xml.replace(b"<v></v>", b"<v>25.4</v>").replace(b"<v />", b"<v>25.4</v>")

    file = altered(workbook(["Number", "Height"], ["K 1", "=2*12.7"]), xl__worksheets__sheet1_dot_xml=calculate)
    (row,) = open_table(file, "x").rows()
    assert (row.values, row.computed) == (("K 1", "25.4"), frozenset({1}))


def test_a_formula_never_calculated_is_refused_with_its_place():
    def forget(xml):
        return xml.replace(b"<v></v>", b"").replace(b"<v />", b"").replace(b"<v/>", b"")

    error = refusal(altered(workbook(["Number", "Height"], ["K 1", "=2*12.7"]), xl__worksheets__sheet1_dot_xml=forget))
    assert (error.row, error.column) == (2, "column 2")
    assert "formula without a stored result" in error.problem


def test_text_that_looks_like_a_formula_stays_text():
    book = openpyxl.Workbook()
    book.active.append(["Number", "Title"])
    book.active.append(["K 1", "jar"])
    book.active["B2"].value = "=1+1"
    book.active["B2"].data_type = "s"
    (row,) = open_table(saved(book), "x").rows()
    assert (row.values, row.computed) == (("K 1", "=1+1"), frozenset())


@pytest.mark.parametrize(
    ("rows", "row", "column", "words"),
    [
        ([["Number", "Title"]], None, None, "no rows below"),
        ([["Number", None, "Title"], ["K 1", "a", "b"]], 1, "column 2", "no heading"),
        ([["Number", "number"], ["K 1", "a"]], 1, "number", "same heading"),
        ([["Number"], ["K 1"], ["K 2", None, "stray"]], 3, "column 3", "more fields"),
        ([[f"c{i}" for i in range(501)], ["K 1"]], None, None, "501 columns"),
        ([], None, None, "no sheet with anything"),
    ],
)
def test_a_table_that_cannot_be_taken_in_is_refused_with_its_place(rows, row, column, words):
    error = refusal(workbook(*rows))
    assert (error.row, error.column) == (row, column)
    assert words in error.problem


def test_too_many_rows():
    assert refusal(workbook(*HONEST), limits=Limits(rows=1)).row == 3


EMPTY_ZIP = b"PK\x05\x06" + bytes(18)
BOMB = b"<?xml version='1.0'?><!DOCTYPE a [<!ENTITY b 'x'><!ENTITY c '&b;&b;'>]>"


@pytest.mark.parametrize(
    ("file", "words"),
    [
        (lambda: altered(workbook(*HONEST), evil_dot_txt=bytes(200_000_000)), "more than 100 MB"),
        (lambda: altered(workbook(*HONEST), evil_dot_txt=bytes(9_000_000)), "100 times its size"),
        (lambda: altered(workbook(*HONEST), xl__styles_dot_xml=bytes(21_000_000)), "larger than 20 MB|100 times"),
        (lambda: altered(workbook(*HONEST), **{f"xl__p{i}": b"" for i in range(300)}), "at most 200"),
        (lambda: altered(workbook(*HONEST), **{"..__..__etc__x": b"a"}), "points outside"),
        (lambda: altered(workbook(*HONEST), __etc__x=b"a"), "points outside"),
        (
            lambda: altered(workbook(*HONEST), xl__workbook_dot_xml=lambda xml: BOMB + xml[xml.find(b"<workbook") :]),
            "type def",
        ),
        (lambda: altered(workbook(*HONEST), xl__sharedStrings_dot_xml=lambda xml: BOMB + b"<sst/>"), "type def"),
        (lambda: altered(workbook(*HONEST), xl__worksheets__sheet1_dot_xml=b"<worksheet"), "damaged"),
        (lambda: altered(workbook(*HONEST), xl__styles_dot_xml=b"<a><b></a>"), "damaged"),
        (lambda: altered(io.BytesIO(EMPTY_ZIP), letter_dot_txt=b"Dear registrar"), "zip archive, not a workbook"),
        (lambda: io.BytesIO(workbook(*HONEST).getvalue()[:-200]), "damaged"),
    ],
)
def test_a_package_that_could_harm_or_is_broken_is_refused_before_it_is_unpacked(file, words):
    assert re.search(words, refusal(file()).problem)


def test_a_link_and_a_password_in_the_package_are_refused():
    out = io.BytesIO()
    with zipfile.ZipFile(workbook(*HONEST)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name))
        link = zipfile.ZipInfo("xl/link.xml")
        link.external_attr = 0o120777 << 16
        new.writestr(link, "elsewhere")
    assert "link" in refusal(out).problem
    locked = bytearray(workbook(*HONEST).getvalue())
    at = locked.find(b"PK\x01\x02")
    locked[at + 8] |= 1
    assert "password" in refusal(io.BytesIO(bytes(locked))).problem


@pytest.mark.parametrize(
    ("sheet", "words"),
    [
        (b"<row r='1'>" + b"<c/>" * 20_000 + b"</row>", "more cells than a sheet"),
        (b"<row r='1'><c r='A1'/></row><row r='99999999'/>", "out of order"),
        (b"<row r='5'><c r='A5'/></row><row r='5'/>", "out of order"),
    ],
)
def test_a_sheet_that_would_fill_the_memory_is_refused(sheet, words):
    main = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    xml = b"<worksheet xmlns='" + main + b"'><sheetData>" + sheet + b"</sheetData></worksheet>"
    noise = bytes(range(256)) * 400  # keeps the package's ratio below the limit, so that the sheet is reached
    assert words in refusal(altered(workbook(*HONEST), xl__worksheets__sheet1_dot_xml=xml, xl__noise=noise)).problem


_HONEST_BYTES = workbook(*HONEST).getvalue()


@settings(deadline=None, max_examples=150)
@given(at=st.integers(0, 6000), bytes_in=st.binary(min_size=1, max_size=8))
def test_a_workbook_with_any_bytes_changed_is_read_or_refused(at, bytes_in):
    content = bytearray(_HONEST_BYTES)
    content[at : at + len(bytes_in)] = bytes_in
    try:
        list(open_table(io.BytesIO(bytes(content)), "x").rows())
    except RegisterFileError as error:
        assert len(str(error).splitlines()) == 1


@settings(deadline=None, max_examples=100)
@given(at=st.integers(0, 900), text=st.text("<>/=\"' abcrtsnvf0123456789:&;", min_size=1, max_size=6))
def test_a_sheet_with_any_text_changed_is_read_or_refused(at, text):
    def change(xml):
        return xml[:at] + text.encode() + xml[at + len(text) :]

    try:
        list(open_table(altered(io.BytesIO(_HONEST_BYTES), xl__worksheets__sheet1_dot_xml=change), "x").rows())
    except RegisterFileError as error:
        assert len(str(error).splitlines()) == 1
