"""A sheet of an .xlsx workbook as a table. Formulas are never evaluated: their stored results are read, and marked."""

import datetime
import warnings
import zipfile
from collections.abc import Generator, Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import Any, BinaryIO

import openpyxl

from survey.register.package import SHEET_COLUMNS, check_package, readable, sheet_facts, sheet_parts
from survey.register.table import Limits, RegisterFileError, Row, checked_header, counted, fitted


@dataclass(frozen=True)
class SheetTable:
    """One sheet. The file's reading position is this table's own while it is read."""

    file: BinaryIO
    name: str
    sheet: str
    sheets: tuple[str, ...]
    header: tuple[str, ...]
    header_row: int
    computed: dict[int, set[int]]
    limits: Limits
    kind: str = "xlsx"
    encoding: None = None
    delimiter: None = None

    def rows(self) -> Generator[Row, None, None]:
        """Every row below the headings that is not blank, from the start of the sheet."""
        return counted(self._rows(), self.limits)

    def _rows(self) -> Generator[Row, None, None]:
        width = len(self.header)
        with closing(_sheet_rows(self.file, self.sheet, self.limits)) as sheet:
            for number, cells in sheet:
                texts = [as_text(cell) for cell in cells]
                if number <= self.header_row or not any(text.strip() for text in texts):
                    continue
                texts += [""] * (width - len(texts))
                rounded = frozenset(i for i, cell in enumerate(cells[:width]) if isinstance(cell, float))
                computed = frozenset(self.computed.get(number, ()))
                yield Row(number, fitted(texts, self.header, row=number, limits=self.limits), computed, rounded)


def open_workbook(file: BinaryIO, name: str, *, sheet: str | None, limits: Limits) -> SheetTable:
    """Check the package, choose the sheet (the first with anything in it) and read its headings."""
    check_package(file)
    with readable(), zipfile.ZipFile(file) as archive:
        parts = sheet_parts(archive)
        if sheet is not None and sheet not in parts:
            raise RegisterFileError(f"The workbook has no sheet “{sheet}”. It has: {', '.join(parts) or 'none'}.")
        if not parts:
            raise RegisterFileError("The workbook has no sheet that can be read. Save it as .xlsx or CSV (UTF-8).")
        for candidate in [sheet] if sheet is not None else parts:
            facts = sheet_facts(archive, parts[candidate])
            number, texts = _first_row(file, candidate, limits)
            if texts:
                header = checked_header(texts, row=number, limits=limits)
                return SheetTable(file, name, candidate, tuple(parts), header, number, dict(facts.computed), limits)
    raise RegisterFileError("The workbook has no sheet with anything in it. Choose the file that holds the register.")


def _first_row(file: BinaryIO, sheet: str, limits: Limits) -> tuple[int, list[str]]:
    """The first row with anything in it; no texts if there is none."""
    with closing(_sheet_rows(file, sheet, limits)) as rows:
        for number, cells in rows:
            texts = [as_text(cell) for cell in cells]
            if any(text.strip() for text in texts):
                return number, texts
    return 0, []


def _sheet_rows(file: BinaryIO, sheet: str, limits: Limits) -> Generator[tuple[int, Sequence[Any]], None, None]:
    """Row number and values; one column more than allowed is read, so that it is seen and refused."""
    with readable():
        file.seek(0)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and validation, which are of no interest here
            book = openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
        try:
            source = book[sheet]
            source.reset_dimensions()  # some programs write a wrong size, which would cut rows off
            wide = min(limits.columns + 1, SHEET_COLUMNS)
            yield from enumerate(source.iter_rows(max_col=wide, values_only=True), start=1)
        finally:
            book.close()


def as_text(cell: Any) -> str:
    """A cell's value as a person would write it: whole numbers without a point, dates as ISO 8601."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime.datetime):
        midnight = cell.time() == datetime.time()
        return cell.date().isoformat() if midnight else cell.isoformat(sep=" ", timespec="seconds")
    if isinstance(cell, (datetime.date, datetime.time)):
        return cell.isoformat()
    return str(cell)
