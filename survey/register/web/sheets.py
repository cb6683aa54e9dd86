"""Lists as files: CSV as it is read from the database, workbooks row by row."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.http import FileResponse, StreamingHttpResponse
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.utils.exceptions import IllegalCharacterError

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class _Echo:
    """A file that hands back what is written to it."""

    def write(self, text: str) -> str:
        return text


def as_csv(headings: Sequence[str], rows: Iterable[Sequence[Any]], name: str) -> StreamingHttpResponse:
    """UTF-8 with a mark at the start, so that spreadsheet programs read the accents."""

    def lines() -> Iterator[str]:
        writer = csv.writer(_Echo())
        yield "\ufeff" + writer.writerow(headings)
        for row in rows:
            yield writer.writerow(row)

    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingHttpResponse(lines(), content_type="text/csv; charset=utf-8", headers=disposition)


def as_xlsx(sheet: str, headings: Sequence[str], rows: Iterable[Sequence[Any]], name: str) -> FileResponse:
    """A workbook of one sheet, written through a temporary file; every text is stored as text."""
    book = Workbook(write_only=True)
    page = book.create_sheet(sheet)
    page.freeze_panes = "A2"
    page.append(list(headings))
    for row in rows:
        page.append([_cell(page, value) for value in row])
    file = tempfile.TemporaryFile()  # noqa: SIM115  # the response closes it when it has been sent
    book.save(file)
    file.seek(0)
    return FileResponse(file, as_attachment=True, filename=name, content_type=XLSX)


def _cell(page: Any, value: Any) -> Any:
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
