"""A registrar's text file, whatever wrote it."""

import codecs
import csv
import io

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from survey.register.reading import open_table, sample_of
from survey.register.table import Limits, RegisterFileError


def opened(content, **options):
    return open_table(
        io.BytesIO(content if isinstance(content, bytes) else content.encode()), "register.csv", **options
    )


def rows_of(content, **options):
    return [(row.number, list(row.values)) for row in opened(content, **options).rows()]


def refusal(content, **options):
    with pytest.raises(RegisterFileError) as caught:
        rows_of(content, **options)
    return caught.value


def test_the_example_of_rfc_4180():
    # RFC 4180 section 2, rules 5 to 7: quoted fields, line break and doubled quotation mark inside them.
    text = 'field_name 1,field_name 2,field_name 3\r\n"aaa","b \r\nbb","ccc"\r\n"aaa","b""bb",ccc\r\n'
    assert rows_of(text) == [(2, ["aaa", "b \r\nbb", "ccc"]), (4, ["aaa", 'b"bb', "ccc"])]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_delimiter_encoding_and_line_ends_are_found(delimiter, encoding, ending):
    written = io.StringIO(newline="")
    writer = csv.writer(written, delimiter=delimiter, lineterminator=ending)
    writer.writerows([["Number", "Title"], ["K 1", f"jar, glazed; blue\t|{ending}größer"], ["K 2", 'a "sprung" bowl']])
    table = opened(written.getvalue().encode(encoding))
    assert table.delimiter == delimiter
    assert [row.values for row in table.rows()] == [
        ("K 1", f"jar, glazed; blue\t|{ending}größer"),
        ("K 2", 'a "sprung" bowl'),
    ]
    assert [row.number for row in table.rows()] == [2, 4]


def test_utf_16_in_both_orders():
    text = "Number,Title\nK 1,Krug\n"
    for bom, codec in ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")):
        assert rows_of(bom + text.encode(codec)) == [(2, ["K 1", "Krug"])]


def test_a_decimal_comma_does_not_look_like_a_delimiter():
    text = "Number;Height\n" + "".join(f"K {i};{i},5\n" for i in range(1, 30))
    assert opened(text).delimiter == ";"


def test_a_sample_cut_inside_a_record_still_tells_the_delimiter():
    text = "Number;Note\n" + "".join(f'K {i};"line one, with commas,\nline two"\n' for i in range(20_000))
    assert opened(text).delimiter == ";"


def test_a_first_line_that_names_the_delimiter_is_no_heading():
    assert rows_of("sep=;\nNumber;Title\nK 1;a, b\n") == [(3, ["K 1", "a, b"])]


def test_one_column_is_a_table():
    assert rows_of("Number\nK 1\nK 2\n") == [(2, ["K 1"]), (3, ["K 2"])]


def test_blank_lines_and_empty_trailing_columns_are_passed_over():
    assert rows_of("\nNumber,Title,,\n\nK 1,jar,,\n,,,\nK 2,bowl,,\n") == [(4, ["K 1", "jar"]), (6, ["K 2", "bowl"])]


def test_a_person_chooses_encoding_and_delimiter():
    assert rows_of("Number:Title\nK 1:Krüge\n".encode("mac-roman"), encoding="mac-roman", delimiter=":") == [
        (2, ["K 1", "Krüge"])
    ]
    assert "Choose one of utf-8" in str(refusal("a,b\n1,2\n", encoding="rot13"))
    with pytest.raises(ValueError, match="delimiter"):
        opened("a,b\n1,2\n", delimiter='"')


@pytest.mark.parametrize(
    ("content", "row", "column", "words"),
    [
        (b"", None, None, "empty"),
        (b" \r\n\n", None, None, "empty"),
        (codecs.BOM_UTF8, None, None, "empty"),
        ("Number,Title\n", None, None, "no rows below"),
        ("Number,,Title\nK 1,a,b\n", 1, "column 2", "no heading"),
        ("Number,Title,title \nK 1,a,b\n", 1, "title", "Columns 2 and 3"),
        ("Number,Title,Note\nK 1,a,b\nK 2,a\n", 3, "Note", "2 fields but there are 3"),
        ('Number,Title\n"K 1\n",a\nK 2,a,b\n', 4, "column 3", "more fields than the 2"),
        (b"Number,Title\nK 1,a\nK 2,b\x00c\n", 3, "Title", "NUL"),
        (f"Number,Title\nK 1,a\nK 2,{'x' * 70_000}\n", 3, "Title", "longer than 65536"),
        (f"Number,Title\nK 1,{'x' * 10_000_000}\n", 2, "Title", "longer than 65536"),
        (f'Number,Title\nK 1,"jar\n{"K 2,bowl" * 30_000}', 2, "Title", "never closed"),
        ('Number,Title\nK 1,"jar\nK 2,bowl\n', 2, None, "never closed"),
        ('Number,Title\nK 1,"Old" jar\n', 2, None, "Double each quotation mark"),
        (",".join(f"c{i}" for i in range(501)) + "\n" + "," * 500 + "1\n", None, None, "501 columns"),
        ("Number,Title\n\nK 1,é\n".encode() + b"K 2,\xc3\xa9\xc3\xa9 \xff\n", 4, None, "UTF-8 but damaged"),
        (b"Number,Title\nK 1,\xe9\nK 2,\x81\n", 3, None, "cannot be read as cp1252"),
        (codecs.BOM_UTF16_LE + "Number,Title\nK 1,a".encode("utf-16-le") + b"\x00", 2, None, "read as utf-16"),
        ("Number,Title\nK 1,a\n".encode("utf-16-le"), None, None, "UTF-16 without a mark"),
    ],
)  # fmt: skip
def test_what_cannot_be_taken_in_is_refused_in_one_line_with_its_place(content, row, column, words):
    error = refusal(content)
    assert (error.row, error.column) == (row, column)
    assert words in error.problem
    assert len(str(error).splitlines()) == 1
    assert str(row or "") in str(error)


@pytest.mark.parametrize(
    ("head", "what"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(500), "old .xls workbook"),
        (b"%PDF-1.7\n%\xe2\xe3", "PDF"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "image"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "image"),
        (b"  <!DOCTYPE html><html><table><tr><td>Number</td></tr></table>", "web page"),
        (b"\xef\xbb\xbf<table><tr><td>a,b</td></tr></table>", "web page"),
        (b"<?xml version='1.0'?><objects/>", "XML"),
        (b'[{"number": "K 1"}]', "JSON"),
        (b"\x1f\x8b\x08\x00", "compressed"),
        (bytes(range(256)) * 20, "binary"),
    ],
)
def test_what_is_no_table_is_named(head, what):
    assert what in refusal(head).problem


def test_too_many_rows_are_refused_at_the_first_too_many():
    error = refusal("Number,Title\nK 1,a\nK 2,b\nK 3,c\n", limits=Limits(rows=2))
    assert (error.row, "more than 2 rows" in error.problem) == (4, True)


def test_rows_can_be_gone_through_again_after_a_sample():
    table = opened("Number,Title\n" + "".join(f"K {i},jar\n" for i in range(1000)))
    assert len(sample_of(table, 10)) == 10
    assert [row.number for row in table.rows()] == list(range(2, 1002))


CELLS = st.text(st.characters(exclude_categories=("Cs", "Cc")) | st.sampled_from('\n\r\t",;|'), max_size=30)


@settings(deadline=None)
@given(
    cells=st.integers(1, 6).flatmap(
        lambda n: st.lists(st.lists(CELLS, min_size=n, max_size=n), min_size=1, max_size=8)
    ),
    delimiter=st.sampled_from(",;\t|"),
    quoting=st.sampled_from([csv.QUOTE_ALL, csv.QUOTE_MINIMAL, csv.QUOTE_NONNUMERIC]),
    ending=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
def test_what_a_csv_writer_wrote_is_read_back(cells, delimiter, quoting, ending, encoding):
    header = [f"heading {i}" for i in range(len(cells[0]))]
    if quoting == csv.QUOTE_MINIMAL:
        ending = (
            "\r\n"  # the writer quotes only line breaks made of this; others it leaves bare, for nobody to tell apart
        )
    written = io.StringIO(newline="")
    csv.writer(written, delimiter=delimiter, quoting=quoting, lineterminator=ending).writerows([header, *cells])
    kept = [tuple(row) for row in cells if any(cell.strip() for cell in row)]
    content = written.getvalue().encode(encoding)
    if kept:
        given_delimiter = [row.values for row in opened(content, delimiter=delimiter).rows()]
        assert given_delimiter == kept
        if len(header) > 1 and quoting == csv.QUOTE_ALL:
            assert [row.values for row in opened(content).rows()] == kept
    else:
        assert "no rows" in refusal(content, delimiter=delimiter).problem


@settings(deadline=None, max_examples=400)
@given(
    st.one_of(
        st.binary(max_size=400),
        st.text(max_size=200).map(str.encode),
        st.text('",;\t|\n\rab\0', max_size=60).map(str.encode),
    )
)
@example(b"\xff\xfe\x00\xd8")
@example(b'"')
@example(b'a,b\n"c')
@example(b"sep=;")
@example(b"PK\x03\x04")
def test_any_bytes_are_read_or_refused(content):
    try:
        for row in opened(content).rows():
            assert row.number > 0
    except RegisterFileError as error:
        assert len(str(error).splitlines()) == 1
