"""Lists as files: CSV as it is read from the database, workbooks row by row, and what columns mean as plain text.

Rows come as they are to be written: whoever makes them sees to it that no text can start to compute in a spreadsheet.
"""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import FileResponse, HttpResponse, StreamingHttpResponse
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.utils.exceptions import IllegalCharacterError

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
Row = Sequence[Any]


@dataclass(frozen=True)
class Sheet:
    """One sheet of a workbook; ``rows`` may be a generator."""

    title: str
    headings: Sequence[str]
    rows: Iterable[Row]


class _Echo:
    """A file that hands back what is written to it."""

    def write(self, text: str) -> str:
        return text


def as_csv(headings: Sequence[str], rows: Iterable[Row], name: str) -> StreamingHttpResponse:
    """UTF-8 with a mark at the start, so that spreadsheet programs read the accents."""

    def lines() -> Iterator[str]:
        writer = csv.writer(_Echo())
        yield "\ufeff" + writer.writerow(headings)
        for row in rows:
            yield writer.writerow(row)

    return StreamingHttpResponse(lines(), content_type="text/csv; charset=utf-8", headers=_saved_as(name))


def as_readme(meanings: Sequence[tuple[str, str]], name: str) -> HttpResponse:
    """What each column means, as plain text."""
    wide = max((len(column) for column, _ in meanings), default=0)
    text = "".join(f"{column.ljust(wide)}  {meaning}\n" for column, meaning in meanings)
    return HttpResponse(text, content_type="text/plain; charset=utf-8", headers=_saved_as(name))


def as_xlsx(sheets: Sequence[Sheet], name: str) -> FileResponse:
    """A workbook, written row by row through a temporary file; every text is stored as text."""
    book = Workbook(write_only=True)
    for sheet in sheets:
        page = book.create_sheet(sheet.title)
        page.freeze_panes = "A2"
        page.append(list(sheet.headings))
        for row in sheet.rows:
            page.append([_cell(page, value) for value in row])
    file = tempfile.TemporaryFile()  # noqa: SIM115  # the response closes it when it has been sent
    book.save(file)
    file.seek(0)
    return FileResponse(file, as_attachment=True, filename=name, content_type=XLSX)


def _saved_as(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}


def _cell(page: Any, value: Any) -> Any:
    """Texts as cells of text, without the characters that a workbook cannot hold; all else as it is."""
    if not isinstance(value, str):
        return value
    cell = WriteOnlyCell(page)
    try:
        cell.value = value
    except IllegalCharacterError:
        cell.value = "".join(c for c in value if c >= " " or c in "\t\n\r")
    if cell.data_type == "f":
        cell.data_type = "s"
    return cell
