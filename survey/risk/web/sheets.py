"""Scores as files: CSV as it is read from the database, a workbook row by row, and what the columns mean."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.http import FileResponse, HttpResponse, StreamingHttpResponse
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.utils.exceptions import IllegalCharacterError

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
Meanings = Sequence[tuple[str, str]]


class _Echo:
    """A file that hands back what is written to it."""

    def write(self, text: str) -> str:
        return text


def as_csv(headings: Sequence[str], rows: Iterable[Sequence[Any]], name: str) -> StreamingHttpResponse:
    """UTF-8 with a mark at the start, so that spreadsheet programs read the accents."""

    def made() -> Iterator[str]:
        writer = csv.writer(_Echo())
        yield "\ufeff" + writer.writerow(headings)
        for row in rows:
            yield writer.writerow(row)

    return StreamingHttpResponse(made(), content_type="text/csv; charset=utf-8", headers=_saved_as(name))


def as_readme(meanings: Meanings, name: str) -> HttpResponse:
    """What each column means, as plain text."""
    wide = max(len(column) for column, _ in meanings)
    text = "".join(f"{column.ljust(wide)}  {meaning}\n" for column, meaning in meanings)
    return HttpResponse(text, content_type="text/plain; charset=utf-8", headers=_saved_as(name))


def as_xlsx(headings: Sequence[str], rows: Iterable[Sequence[Any]], meanings: Meanings, name: str) -> FileResponse:
    """A workbook with the ranking and a sheet that says what its columns mean; every text is stored as text."""
    book = Workbook(write_only=True)
    _fill(book.create_sheet("Ranking"), headings, rows)
    _fill(book.create_sheet("What the columns mean"), ("Column", "Meaning"), meanings)
    file = tempfile.TemporaryFile()  # noqa: SIM115  # the response closes it when it has been sent
    book.save(file)
    file.seek(0)
    return FileResponse(file, as_attachment=True, filename=name, content_type=XLSX)


def _fill(sheet: Any, headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    sheet.freeze_panes = "A2"
    sheet.append(list(headings))
    for row in rows:
        sheet.append([_cell(sheet, value) for value in row])


def _cell(sheet: Any, value: Any) -> Any:
    """Texts as cells of text, without the characters that a workbook cannot hold; all else as it is."""
    if not isinstance(value, str):
        return value
    cell = WriteOnlyCell(sheet)
    try:
        cell.value = value
    except IllegalCharacterError:
        cell.value = "".join(c for c in value if c >= " " or c in "\t\n\r")
    if cell.data_type == "f":
        cell.data_type = "s"
    return cell


def _saved_as(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}
