"""Open a registrar's file, whatever it is called, as a table of texts that streams."""

from contextlib import closing
from itertools import islice
from typing import BinaryIO

from survey.register.delimited import DelimitedTable, open_delimited
from survey.register.sniffing import kind_of
from survey.register.table import Limits, RegisterFileError, Row, Table
from survey.register.workbook import SheetTable, open_workbook

SAMPLE_ROWS = 200


def open_table(
    file: BinaryIO,
    name: str,
    *,
    encoding: str | None = None,
    delimiter: str | None = None,
    sheet: str | None = None,
    limits: Limits | None = None,
) -> DelimitedTable | SheetTable:
    """Tell by its content what a file is, and open it with headings checked and at least one row below them.

    Parameters
    ----------
    file : binary file object, seekable
        Stays open. Its reading position belongs to the table while the table is read.
    name : str
        What the person calls it; for labels only, never trusted.
    encoding, delimiter, sheet : str, optional
        A person's choice instead of what is found. `sheet` is a tab of a workbook.
    limits : Limits, optional

    Returns
    -------
    DelimitedTable or SheetTable
        ``.header`` (texts), ``.rows()`` (each call starts anew), ``.kind`` "csv" or "xlsx", ``.encoding``,
        ``.delimiter``, ``.sheet``, ``.sheets``, ``.header_row``.

    Raises
    ------
    RegisterFileError
        One clear line with row and column: here, or while rows are read.
    """
    limits = limits or Limits()
    size = file.seek(0, 2)
    if size > limits.file_bytes:
        raise RegisterFileError(
            f"The file has {size / 1e6:,.0f} MB; at most {limits.file_bytes / 1e6:,.0f} MB are taken. Split it."
        )
    if kind_of(file) == "zip":
        table: DelimitedTable | SheetTable = open_workbook(file, name, sheet=sheet, limits=limits)
    else:
        table = open_delimited(file, name, encoding=encoding, delimiter=delimiter, limits=limits)
    if not sample_of(table, 1):
        raise RegisterFileError("The file has headings but no rows below them. Export the register again.")
    return table


def sample_of(table: Table, size: int = SAMPLE_ROWS) -> list[Row]:
    """The first rows, to guess columns from and to show in a preview."""
    with closing(table.rows()) as rows:
        return list(islice(rows, size))
