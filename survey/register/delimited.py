"""Delimited text (RFC 4180 and its cousins) as a table, streamed, with the line a person sees as row number."""

import csv
import io
import re
from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from typing import BinaryIO

from survey.register.sniffing import check_encoding, delimiter_of, encoding_of
from survey.register.table import (
    Limits,
    RegisterFileError,
    Row,
    checked_header,
    column_label,
    counted,
    fitted,
    refuse_long_field,
)

_SAMPLE = 262_144


@dataclass(frozen=True)
class DelimitedTable:
    """A text file with one record per row. The file's reading position is this table's own while it is read."""

    file: BinaryIO
    name: str
    encoding: str
    delimiter: str
    header: tuple[str, ...]
    header_row: int
    limits: Limits
    kind: str = "csv"
    sheet: None = None
    sheets: tuple[str, ...] = ()

    def rows(self) -> Generator[Row, None, None]:
        """Every record below the headings, from the start of the file; blank lines are passed over."""
        return counted(self._rows(), self.limits)

    def _rows(self) -> Generator[Row, None, None]:
        with closing(_records(self.file, self.encoding, self.delimiter, self.header, self.limits)) as records:
            for number, cells in records:
                if number > self.header_row:
                    yield Row(number, fitted(cells, self.header, row=number, limits=self.limits))


def open_delimited(
    file: BinaryIO, name: str, *, encoding: str | None, delimiter: str | None, limits: Limits
) -> DelimitedTable:
    """Find encoding, delimiter and headings. A delimiter or encoding given by a person is taken as given."""
    if delimiter is not None and (len(delimiter) != 1 or delimiter in '"\r\n\0'):
        raise ValueError("delimiter must be one character and neither a quotation mark nor a line break")
    if encoding is None:
        encoding = encoding_of(file)
    else:
        check_encoding(file, encoding)
    if delimiter is None:
        delimiter = _found_delimiter(file, encoding)
    with closing(_records(file, encoding, delimiter, (), limits)) as records:
        number, cells = next(records, (0, []))
    if not cells:
        raise RegisterFileError("The file is empty. Export the register again and choose that file.")
    header = checked_header(cells, row=number, limits=limits)
    return DelimitedTable(file, name, encoding, delimiter, header, number, limits)


def _found_delimiter(file: BinaryIO, encoding: str) -> str:
    with _text(file, encoding) as lines:
        sample = lines.read(_SAMPLE)
        complete = not lines.read(1)
    named = re.match(r"sep=(.)\r?\n", sample)
    return named[1] if named else delimiter_of(sample, complete=complete)


class _text:
    """The file as text from its start; leaves the file open and usable behind it."""

    def __init__(self, file: BinaryIO, encoding: str) -> None:
        file.seek(0)
        self.wrapper = io.TextIOWrapper(file, encoding=encoding, newline="")

    def __enter__(self) -> io.TextIOWrapper:
        return self.wrapper

    def __exit__(self, *_: object) -> None:
        if not self.wrapper.closed:
            self.wrapper.detach()


class _Lines:
    """Lines for the csv reader. Keeps those of the record being read, to say where in it the trouble is."""

    def __init__(self, text: io.TextIOWrapper, limits: Limits) -> None:
        self.text, self.limits = text, limits
        self.record: list[str] = []
        self.size = 0

    def __iter__(self) -> Iterator[str]:
        while line := self.text.readline(self.limits.record_characters + 1):
            self.record.append(line)
            self.size += len(line)
            if self.size > self.limits.record_characters:
                raise csv.Error("record too long")
            if "\0" in line:
                raise csv.Error("NUL")
            yield line

    def start(self) -> None:
        self.record.clear()
        self.size = 0


def _records(
    file: BinaryIO, encoding: str, delimiter: str, header: tuple[str, ...], limits: Limits
) -> Generator[tuple[int, list[str]], None, None]:
    """Line number and fields of every record that is not blank."""
    with _text(file, encoding) as text:
        lines = _Lines(text, limits)
        reader = csv.reader(iter(lines), delimiter=delimiter, strict=True)
        number = 1
        while True:
            try:
                cells = next(reader, None)
            except csv.Error as error:
                _refuse_record("".join(lines.record), number, delimiter, header, limits, error)
            if cells is None:
                return
            named_delimiter = number == 1 and len(lines.record) == 1 and _names_delimiter(lines.record[0])
            if not named_delimiter and any(map(str.strip, cells)):
                yield number, cells
            number = reader.line_num + 1
            lines.start()


def _names_delimiter(line: str) -> bool:
    """A first line "sep=;" as spreadsheet programs write it: a remark, no headings."""
    return re.fullmatch(r"sep=.(\r\n?|\n)", line) is not None


def _refuse_record(
    record: str, row: int, delimiter: str, header: tuple[str, ...], limits: Limits, error: csv.Error
) -> None:
    """Turn what the csv reader met into one line with row and column."""
    for position, field in enumerate(_rough_fields(record, delimiter)):
        if "\0" in field:
            raise RegisterFileError(
                "The field holds a NUL character, so the file is damaged. Export it again.",
                row=row,
                column=column_label(header, position),
            )
        if len(field) > limits.field_characters:
            refuse_long_field(header, position, row=row, limits=limits)
    if "unexpected end" in str(error):
        problem = (
            "A quotation mark opened in this row is never closed. Close it, or double it if it is part of the text."
        )
    elif "expected after" in str(error):
        problem = (
            "Text follows a closing quotation mark. Double each quotation mark inside a quoted field, "
            "or choose another delimiter."
        )
    elif "too long" in str(error):
        problem = f"The row is longer than {limits.record_characters:,} characters. Shorten it."
    else:
        problem = f"The row cannot be read ({error}). Save the file again as CSV (UTF-8)."
    raise RegisterFileError(problem, row=row) from error


def _rough_fields(record: str, delimiter: str) -> Iterator[str]:
    """The fields of a record that may be broken; only used to find a column for an error."""
    mark = re.escape(delimiter)
    field = re.compile(rf'"(?:[^"]|"")*(?:"[^{mark}\r\n]*|\Z)|[^{mark}\r\n]*')
    at = 0
    while at <= len(record):
        found = field.match(record, at)
        if found is None:
            return
        yield found[0]
        at = found.end() + 1
