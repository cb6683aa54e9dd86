"""How a logger's file is laid out: where its headings stand, which column is what, in which units and order.

Loggers write a few lines about themselves, headings, then readings, in any delimiter, decimal mark, unit and order of
day and month. What a column is, is guessed from its heading and values, shown, and corrected by a person.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import islice
from typing import Any, BinaryIO, get_args

import numpy as np

from survey.register.sniffing import ENCODINGS, encoding_of, kind_of
from survey.risk.stamps import Order, guess_order

HEAD_LINES = 80  # among which the headings must stand
SAMPLE = 400
MOST_COLUMNS = 200
LONGEST_LINE = 1_000_000
_TEMPERATURE = re.compile(r"temp|celsius|fahrenheit|°\s*[cf]|\bt\b|\bt[ _]*\(", re.IGNORECASE)
_HUMIDITY = re.compile(r"\br\.?\s*h\b|\br\.?f\.?\b|humid|feucht|%", re.IGNORECASE)
_NEITHER = re.compile(r"dew|frost|taupunkt|ros[ée]e|abs|g/m|mixing|volt|batter", re.IGNORECASE)
_STAMP = re.compile(r"date|time|stamp|datum|zeit|fecha|heure|\bwhen\b", re.IGNORECASE)
_FAHRENHEIT = re.compile(r"fahrenheit|°\s*f\b|\(\s*f\s*\)|\bdeg\.?\s*f\b|[_ ]f$", re.IGNORECASE)
_CELSIUS = re.compile(r"celsius|°\s*c\b|\(\s*c\s*\)|\bdeg\.?\s*c\b|[_ ]c$", re.IGNORECASE)


class LoggerFileError(ValueError):
    """A file that is not taken in, in one line that says what to do."""


@dataclass(frozen=True)
class Layout:
    """How a file is read. Columns count from 0; ``clock`` is a column of times of day apart from the date, or -1;
    ``header`` the row of headings, from 1."""

    encoding: str
    delimiter: str
    header: int
    headings: tuple[str, ...]
    stamp: int
    clock: int
    temperature: int
    humidity: int
    fahrenheit: bool
    decimal: str
    order: Order

    def as_saved(self) -> dict[str, Any]:
        return {**asdict(self), "headings": list(self.headings)}

    @classmethod
    def of(cls, saved: Mapping[str, Any]) -> Layout:
        """From ``as_saved``, checked. Raises ``ValueError``, named."""
        made = cls(**{**saved, "headings": tuple(saved["headings"])})
        made.check()
        return made

    def check(self) -> None:
        """Raise ``ValueError`` for columns that are not there or are named twice, or ways that there are not."""
        count = len(self.headings)
        for name, least in (("stamp", 0), ("temperature", 0), ("humidity", 0), ("clock", -1)):
            if not least <= getattr(self, name) < count:
                raise ValueError(f"{name}: choose one of the columns")
        columns = [self.stamp, self.temperature, self.humidity, *([self.clock] if self.clock >= 0 else [])]
        if len(set(columns)) < len(columns):
            raise ValueError("humidity: choose a different column for each")
        if self.decimal not in {".", ","} or self.order not in get_args(Order) or self.encoding not in ENCODINGS:
            raise ValueError("order: choose how dates and decimals are written")


@dataclass(frozen=True)
class Guess:
    """A layout, the first rows as they stand, and what a person should make sure of."""

    layout: Layout
    rows: list[list[str]]
    unsure: list[str]


def guess_layout(file: BinaryIO) -> Guess:
    """Find headings, columns, units and the order of day and month. Raises ``LoggerFileError``."""
    try:
        if kind_of(file) == "zip":
            raise LoggerFileError("The file is a workbook. Save its readings as CSV (UTF-8) and choose that file.")
        _refuse_long_lines(file)
        encoding = encoding_of(file)
    except LoggerFileError:
        raise
    except ValueError as error:
        raise LoggerFileError(str(error)) from error
    with as_text(file, encoding) as text:
        lines = [line[:20_000] for line in islice(text, HEAD_LINES + SAMPLE)]
    for delimiter in (";", "\t", ",", "|"):
        found = _headings(lines, delimiter)
        if found is not None:
            number, cells, rows = found
            return _guess(encoding, delimiter, number, cells, rows)
    raise LoggerFileError(
        "No row of headings names a temperature and a humidity among the first "
        f"{HEAD_LINES} lines. Export the readings as CSV with headings such as “Date”, “Temperature (°C)”, “RH (%)”."
    )


def _refuse_long_lines(file: BinaryIO) -> None:
    """No line of readings is a megabyte long; one that is would be held whole in memory."""
    file.seek(0)
    while len(piece := file.read(LONGEST_LINE)) == LONGEST_LINE:
        if b"\n" not in piece and b"\r" not in piece:
            raise LoggerFileError("The file has a line of more than a million characters. Export the readings again.")


def _headings(lines: Sequence[str], delimiter: str) -> tuple[int, list[str], list[list[str]]] | None:
    """Row number of the headings, the headings, and the rows below that have as many fields."""
    split = list(_cells(lines, delimiter))
    for number, cells in enumerate(split[:HEAD_LINES], start=1):
        wide = len(cells)
        if 3 <= wide <= MOST_COLUMNS and _column(cells, _TEMPERATURE) >= 0 and _column(cells, _HUMIDITY) >= 0:
            below = [row for row in split[number:] if len(row) >= wide - 1]
            if below and any(_is_number(cell) for cell in below[-1]):
                return number, [" ".join(cell.split())[:120] for cell in cells], below[:SAMPLE]
    return None


def _cells(lines: Sequence[str], delimiter: str) -> Iterator[list[str]]:
    try:
        yield from csv.reader((line.replace("\0", "") for line in lines), delimiter=delimiter)
    except csv.Error as error:
        raise LoggerFileError(f"The file cannot be read as a table ({error}). Export it again as CSV.") from error


def _column(cells: Sequence[str], words: re.Pattern[str]) -> int:
    """The first column whose heading names the one quantity before the other, and nothing else; -1 if none."""
    other = _HUMIDITY if words is _TEMPERATURE else _TEMPERATURE
    for place, cell in enumerate(cells):
        found, rival = words.search(cell), other.search(cell)
        named = found is not None and (rival is None or found.start() <= rival.start())
        if named and not _NEITHER.search(cell) and not _is_number(cell):
            return place
    return -1


def _guess(encoding: str, delimiter: str, number: int, cells: list[str], rows: list[list[str]]) -> Guess:
    unsure = []
    temperature, humidity = _column(cells, _TEMPERATURE), _column(cells, _HUMIDITY)
    stamps = [
        place for place, cell in enumerate(cells) if _STAMP.search(cell) and place not in {temperature, humidity}
    ]  # fmt: skip
    stamp = next((p for p in stamps if _looks_dated(rows, p)), next(iter(stamps), 0))
    clock = -1
    if not any(":" in row[stamp] for row in rows if len(row) > stamp):
        clock = next((p for p in stamps if p != stamp and any(":" in row[p] for row in rows if len(row) > p)), -1)
    values = [row[temperature].strip() for row in rows if len(row) > temperature]
    decimal = "," if delimiter != "," and any(re.fullmatch(r"-?\d+,\d+", value) for value in values) else "."
    if delimiter == "," and any("," in value for value in values):
        decimal = ","
    fahrenheit = bool(_FAHRENHEIT.search(cells[temperature]))
    if not fahrenheit and not _CELSIUS.search(cells[temperature]):
        numbers = [float(v.replace(decimal, ".")) for v in values if _is_number(v.replace(decimal, "."))]
        fahrenheit = bool(numbers) and float(np.median(numbers)) > 45
        unsure.append("The heading does not say whether degrees are Celsius or Fahrenheit.")
    order, sure = guess_order(re.split(r"[T ]", row[stamp].strip())[0] for row in rows if len(row) > stamp)
    if not sure:
        unsure.append("The dates do not say which number is the day and which the month.")
    layout = Layout(
        encoding, delimiter, number, tuple(cells), stamp, clock, temperature, humidity, fahrenheit, decimal, order
    )
    return Guess(layout, rows[:5], unsure)


def _looks_dated(rows: Sequence[Sequence[str]], place: int) -> bool:
    return any(len(row) > place and re.search(r"\d[-./ ]\w+[-./ ]\d", row[place]) for row in rows[:20])


def _is_number(text: str) -> bool:
    return re.fullmatch(r"\s*-?\d+(?:[.,]\d+)?\s*", text) is not None


class as_text:
    """The file as lines of text from its start; leaves the file open behind it."""

    def __init__(self, file: BinaryIO, encoding: str) -> None:
        file.seek(0)
        self.wrapper = io.TextIOWrapper(file, encoding=encoding, errors="replace", newline=None)

    def __enter__(self) -> io.TextIOWrapper:
        return self.wrapper

    def __exit__(self, *_: object) -> None:
        self.wrapper.detach()
