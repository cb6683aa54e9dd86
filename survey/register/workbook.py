"""A sheet of an .xlsx workbook as a table. Formulas are never evaluated: their stored results are read, and marked."""

import contextlib
import datetime
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, BinaryIO
from xml.etree.ElementTree import ParseError
from xml.parsers.expat import ExpatError

import openpyxl
from defusedxml.common import DefusedXmlException

from survey.register.package import SHEET_COLUMNS, check_package, sheet_facts, sheet_parts
from survey.register.table import Limits, RegisterFileError, Row, checked_header, counted, fitted

_DAMAGED = "The workbook is damaged. Open it, save it again and choose the new file."
# openpyxl has no error of its own for parts that break the standard: it lets these through.
_UNREADABLE = (
    DefusedXmlException,
    ParseError,
    ExpatError,
    zipfile.BadZipFile,
    zlib.error,
    ArithmeticError,
    AssertionError,
    AttributeError,
    EOFError,
    LookupError,
    NotImplementedError,
    OSError,
    TypeError,
    ValueError,
)


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

    def rows(self) -> Iterator[Row]:
        """Every row below the headings that is not blank, from the start of the sheet."""
        return counted(self._rows(), self.limits)

    def _rows(self) -> Iterator[Row]:
        width = len(self.header)
        for number, cells in _sheet_rows(self.file, self.sheet, self.limits):
            if number <= self.header_row:
                continue
            texts = [as_text(cell) for cell in cells]
            if not any(text.strip() for text in texts):
                continue
            texts += [""] * (width - len(texts))
            rounded = frozenset(i for i, cell in enumerate(cells[:width]) if isinstance(cell, float))
            computed = frozenset(self.computed.get(number, ()))
            yield Row(number, fitted(texts, self.header, row=number, limits=self.limits), computed, rounded)


def open_workbook(file: BinaryIO, name: str, *, sheet: str | None, limits: Limits) -> SheetTable:
    """Check the package, choose the sheet (the first with anything in it) and read its headings."""
    check_package(file)
    with _readable(), zipfile.ZipFile(file) as archive:
        parts = sheet_parts(archive)
        if sheet is not None and sheet not in parts:
            raise RegisterFileError(f"The workbook has no sheet “{sheet}”. It has: {', '.join(parts) or 'none'}.")
        if not parts:
            raise RegisterFileError("The workbook has no sheet that can be read. Save it as .xlsx or CSV (UTF-8).")
        for candidate in [sheet] if sheet is not None else parts:
            if parts[candidate] not in archive.namelist():
                raise RegisterFileError(_DAMAGED)
            facts = sheet_facts(archive, parts[candidate])
            for number, cells in _sheet_rows(file, candidate, limits):
                texts = [as_text(cell) for cell in cells]
                if any(text.strip() for text in texts):
                    header = checked_header(texts, row=number, limits=limits)
                    return SheetTable(file, name, candidate, tuple(parts), header, number, dict(facts.computed), limits)
    raise RegisterFileError("The workbook has no sheet with anything in it. Choose the file that holds the register.")


@contextlib.contextmanager
def _readable() -> Iterator[None]:
    """Whatever a broken or hostile workbook makes the reading libraries raise becomes one clear line."""
    try:
        yield
    except RegisterFileError:
        raise
    except _UNREADABLE as error:
        raise RegisterFileError(_DAMAGED) from error


def _sheet_rows(file: BinaryIO, sheet: str, limits: Limits) -> Iterator[tuple[int, Sequence[Any]]]:
    """Row number and values; one column more than allowed is read, so that it is seen and refused."""
    with _readable():
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
