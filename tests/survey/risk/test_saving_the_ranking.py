"""The ranking as files that a spreadsheet reads: all of it, numbers as numbers, nothing that starts to compute."""

from __future__ import annotations

import csv
import io
from datetime import date, datetime
from itertools import product

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from survey.register.exporting import restored
from survey.risk.db.selectors.exports import HEADINGS
from tests import builders
from tests.survey.risk import scores

PAGE = "/ranking/export/"
# What starts a formula: OWASP ASVS 5.0, 1.2.10, with the full-width forms that some programs read alike.
STARTS = ("=", "+", "-", "@", "\t=", "\r=", "\n=", "＝", "＋", "－", "＠", "'=")
BODIES = ("1+1", "cmd|'/C calc'!A0", 'HYPERLINK("http://example.org","open")', "SUM(A1:A9)*2", 'DDE("a";"b";"c")')
PAYLOADS = [start + body for start, body in product(STARTS, BODIES)]


@pytest.fixture
def exhibition(db):
    return builders.an_exhibition()


@pytest.fixture
def run(exhibition):
    return scores.a_run(exhibition=exhibition)


def as_csv(client, **asked) -> list[dict[str, str]]:
    response = client.get(PAGE, {"format": "csv"} | asked)
    text = b"".join(response.streaming_content).decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def as_book(client, **asked):
    response = client.get(PAGE, {"format": "xlsx"} | asked)
    return load_workbook(io.BytesIO(b"".join(response.streaming_content)))


def test_both_files_hold_the_list_in_its_order_and_the_same_numbers(reader, run):
    for n, chance in enumerate((0.125, 0.9, 0.333)):
        scores.a_score(run, builders.an_object(number=f"K {n}"), chance=chance)
    rows = as_csv(reader)
    sheet = as_book(reader)["Ranking"]
    cells = list(sheet.iter_rows(values_only=True))
    assert [row["number"] for row in rows] == [row[2] for row in cells[1:]] == ["K 1", "K 2", "K 0"]
    assert tuple(rows[0]) == cells[0] == HEADINGS
    column = HEADINGS.index("chance_before_opening")
    assert [float(row["chance_before_opening"]) for row in rows] == [row[column] for row in cells[1:]]
    assert all(isinstance(row[column], float) for row in cells[1:])


def test_filters_hold_for_files_too(reader, run):
    scores.a_score(run, builders.an_object(number="K 1"), band="do_not_lift")
    scores.a_score(run, builders.an_object(number="K 2"))
    assert [row["number"] for row in as_csv(reader, band="do_not_lift")] == ["K 1"]
    assert as_book(reader, q="K 2")["Ranking"].max_row == 2


def test_what_is_not_known_is_empty_and_dates_are_dates(reader, run, exhibition):
    thing = builders.an_object()
    builders.an_entry(exhibition, thing, need_by=date(2026, 5, 1), use="travels", section="3. The wall")
    scores.a_score(run, thing, worst_stage=None)
    row = as_csv(reader)[0]
    assert (row["significance"], row["worst_stage"], row["place"]) == ("", "", "")
    assert (row["need_by"], row["use"], row["section"]) == ("2026-05-01", "Travels", "3. The wall")
    cells = dict(zip(HEADINGS, list(as_book(reader)["Ranking"].iter_rows(values_only=True))[1], strict=True))
    assert cells["need_by"] == datetime(2026, 5, 1) and cells["significance"] is None


@pytest.fixture
def hostile(run, exhibition):
    """Sixty objects whose name, section, reason and place would compute if a spreadsheet let them."""
    for n, payload in enumerate(PAYLOADS):
        place = builders.a_place(name=f"Shelf {n}")
        type(place).objects.filter(pk=place.pk).update(full_name=payload)
        place.refresh_from_db()
        thing = builders.an_object(number=f"K {n:02d}", simple_name=payload, place=place)
        builders.an_entry(exhibition, thing, section=payload)
        scores.a_score(run, thing, chance=0.5, reasons=[{"code": "told", "text": payload}], warnings=[payload])


def test_sixty_formulas_come_back_from_csv_as_text_and_whole(reader, hostile):
    rows = {row["number"]: row for row in as_csv(reader)}
    assert len(PAYLOADS) == len(rows) == 60
    for n, payload in enumerate(PAYLOADS):
        row = rows[f"K {n:02d}"]
        for column in ("simple_name", "section", "place", "reasons", "warnings"):
            assert row[column].startswith("'") and restored(row[column]) == payload, (column, payload)


def test_sixty_formulas_come_back_from_a_workbook_as_text(reader, hostile):
    sheet = as_book(reader)["Ranking"]
    assert sheet.max_row == 61
    live = [cell for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
    assert live == []
    names = {row[2]: row[3] for row in sheet.iter_rows(min_row=2, values_only=True)}
    for n, payload in enumerate(PAYLOADS):
        as_xml_keeps_it = payload.replace("\r", "\n")  # line ends, XML 1.0, 2.11
        assert restored(names[f"K {n:02d}"]).replace("\r", "\n") == as_xml_keeps_it


def test_characters_that_no_workbook_holds_are_left_out(reader, run):
    scores.a_score(run, builders.an_object(simple_name="jar\x01 of\x0b salt"))
    assert as_book(reader)["Ranking"]["D2"].value == "jar of salt"


def test_every_column_is_explained_in_the_workbook_and_in_a_text(reader, run):
    scores.a_score(run)
    explained = [row[0] for row in as_book(reader)["What the columns mean"].iter_rows(min_row=2, values_only=True)]
    readme = reader.get(PAGE, {"format": "readme"}).content.decode()
    assert explained[: len(HEADINGS)] == list(HEADINGS)
    assert all(f"\n{heading} " in f"\n{readme}" for heading in HEADINGS)
    assert "replace none" in readme and "Shipped defaults" in readme


def test_a_file_is_read_in_as_many_queries_for_one_row_as_for_fifty(reader, run):
    asked = []
    for more in (1, 49):
        for _ in range(more):
            scores.a_score(run, builders.an_object(place=builders.a_place()))
        with CaptureQueriesContext(connection) as queries:
            rows = as_csv(reader)
        asked.append(len(queries))
    assert len(rows) == 50 and asked[0] == asked[1]


@pytest.mark.parametrize("asked", [{"format": "pdf"}, {"format": "csv", "band": "purple"}], ids=["format", "band"])
def test_a_file_that_cannot_be_made_is_refused_in_one_line(reader, run, asked):
    assert reader.get(PAGE, asked).status_code == 400


def test_before_the_first_run_there_is_nothing_to_save(reader, db):
    assert reader.get(PAGE).status_code == 404


def test_nobody_saves_it_without_signing_in(client, run):
    assert client.get(PAGE).status_code == 302
