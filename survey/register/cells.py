"""The cells of a row as values: texts cleaned, sizes and years read, and what is wrong or doubtful said of each.

Registers repeat themselves, so what a column's text means is looked up when the text comes again.
"""

import re
import unicodedata
from dataclasses import dataclass, field

from survey.register.dates import parse_day, parse_year, parse_years
from survey.register.exporting import restored
from survey.register.fields import BY_NAME, Field
from survey.register.matching import Matching
from survey.register.table import Row
from survey.register.units import parse_length, parse_weight

Value = str | int | float | None
_SPREADSHEET_ERRORS = frozenset({"#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NULL!", "#NUM!"})
_CONTROLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_REMEMBERED = 5_000  # texts of one column
_SHORT = 100  # characters of a text worth remembering
_UNKNOWN = object()


@dataclass(frozen=True, slots=True)
class Problem:
    """Why a row is refused, or what it is worth knowing of it: heading (None: the row as a whole) and one line."""

    column: str | None
    message: str


@dataclass(slots=True)
class Record:
    """A row as values, with what was wrong or doubtful in it."""

    row: int
    values: dict[str, Value] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    notes: list[Problem] = field(default_factory=list)


def clean_text(text: str) -> str:
    """A cell's text: composed characters (NFC), outer spaces gone, line breaks as \\n, an export's apostrophe off."""
    if not text.isascii():
        text = unicodedata.normalize("NFC", text)
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if text[:1] == "'":
        text = restored(text)
    return text.strip()


def number_key(text: str) -> str:
    """An accession number for comparing: composed characters (NFC), outer spaces gone, inner ones single.

    Examples
    --------
    >>> number_key("  K  12 a ")
    'K 12 a'
    """
    return " ".join((text if text.isascii() else unicodedata.normalize("NFC", text)).split())


class RowReader:
    """Turns rows into records, after one matching."""

    def __init__(self, matching: Matching) -> None:
        positions = {name: matching.header.index(column) for name, column in matching.columns.items()}
        columns = [_Column(BY_NAME[name], at, matching) for name, at in positions.items()]
        self.columns = [(column.wanted.value, column.position, column.known, column) for column in columns]
        self.number_position = positions["accession_number"]
        self.number_column = matching.header[self.number_position]
        self.has_date_text = "date_text" in positions

    def record(self, row: Row) -> Record:
        """All mapped values of a row. One wrong value does not hide the next: every problem is found."""
        record = Record(row.number)
        values, cells = record.values, row.values
        for name, position, known, column in self.columns:
            raw = cells[position]
            value = known.get(raw, _UNKNOWN)
            if value is _UNKNOWN:
                column.read(raw, record)
            else:
                values[name] = value  # type: ignore[assignment]  # what is known is a value
        if row.rounded and self.number_position in row.rounded:
            message = "stored as a number, so zeros at its end may be lost. Format the column as text in the workbook"
            record.notes.append(Problem(self.number_column, message))
        self._add_years(record)
        return record

    def _add_years(self, record: Record) -> None:
        """The register's own years go before those read out of the date as written."""
        values = record.values
        written = parse_years(str(values.get("date_text") or "")) if self.has_date_text else None
        earliest, latest = values.get("date_earliest"), values.get("date_latest")
        if isinstance(earliest, int) and isinstance(latest, int) and earliest > latest:
            message = f"the earliest year {earliest} is after the latest {latest}: neither is taken"
            record.notes.append(Problem(None, message))
            values["date_earliest"] = values["date_latest"] = None
        if written is None:
            return
        if values.get("date_earliest") is None and values.get("date_latest") is None:
            values["date_earliest"], values["date_latest"] = written.earliest, written.latest


class _Column:
    """One mapped column: how its texts become values."""

    def __init__(self, wanted: Field, position: int, matching: Matching) -> None:
        self.wanted, self.position, self.heading = wanted, position, matching.header[position]
        self.unit = matching.units.get(wanted.name)
        self.zero_is_missing, self.decimal = matching.zero_is_missing, matching.decimal
        self.known: dict[str, Value] = {}

    def read(self, raw: str, record: Record) -> None:
        """Put the value of a text into a record, or the problem with it; remember what gave rise to no remark."""
        remarks = len(record.notes)
        try:
            value = record.values[self.wanted.value] = self._value(clean_text(raw), record)
        except ValueError as error:
            record.problems.append(Problem(self.heading, str(error)))
            return
        if len(self.known) < _REMEMBERED and len(raw) <= _SHORT and len(record.notes) == remarks:
            self.known[raw] = value

    def _value(self, text: str, record: Record) -> Value:
        kind = self.wanted.kind
        if text[:1] == "#" and text in _SPREADSHEET_ERRORS:
            raise ValueError(f"{text} is an error of the spreadsheet. Correct its formula or leave the cell empty")
        if kind == "length" or kind == "weight":
            parse = parse_length if kind == "length" else parse_weight
            return parse(text, self.unit, zero_is_missing=self.zero_is_missing, decimal=self.decimal)
        if len(text) > self.wanted.longest:
            raise ValueError(f"{len(text)} characters; at most {self.wanted.longest} are kept. Shorten it")
        if not text.isprintable() and _CONTROLS.search(text):
            raise ValueError("holds a control character. Delete it")
        if kind == "number" and not text:
            raise ValueError("the accession number is missing. Fill it in, or leave the row out")
        if kind == "year":
            return self._year(text, record)
        return self._day(text, record) if kind == "day" else text

    def _year(self, text: str, record: Record) -> int | None:
        year = parse_year(text) if text else None
        if text and year is None:
            record.notes.append(Problem(self.heading, f"“{text[:60]}” is no year and is not taken"))
        return year

    def _day(self, text: str, record: Record) -> str:
        day = parse_day(text) if text else ""
        if day is None:
            message = f"“{text[:60]}” is no clear date and is kept as it is written"
            record.notes.append(Problem(self.heading, message))
        return text if day is None else day
