"""Reading the file of a temperature and humidity logger, row by refused row."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from survey.risk.ageing import TEMPERATURE_RANGE_C
from survey.risk.climate import DAY, LONGEST_GAP
from survey.risk.logger_layout import Layout, LoggerFileError, as_text
from survey.risk.stamps import Clock

BLOCK = 500  # rows at once, fewer than the 700 new lists at which garbage is collected: three times faster (measured)
TELL = 100_000
MOST_REFUSED = 500  # rows told one by one
MOST_GAPS = 100
MOST_ROWS = 20_000_000
ABOVE_HUNDRED = 105.0  # % that a wet sensor may show; counted as 100
_MISSED = frozenset({"", "-", "--", "---", "nan", "n/a", "na", "null", "none", "err", "error", "lo", "hi", "*", "#n/a"})


@dataclass
class Readings:
    """What a file holds, in order of time: ``seconds`` since 1970 in the clock of the place, °C, %.

    ``refused`` [(row, reason)] are the first that were not taken, ``counts`` all: rows, readings, missed (the logger
    wrote nothing), refused, repeated (the same moment again), wet (above 100 %, counted as 100)."""

    seconds: NDArray[np.int64]
    temperature: NDArray[np.float32]
    humidity: NDArray[np.float32]
    refused: list[tuple[int, str]] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)

    def gaps(self, longest: float = LONGEST_GAP) -> list[tuple[int, int]]:
        """Pauses longer than ``longest`` days, as (last before, first after), the longest ``MOST_GAPS`` in time."""
        pauses = np.diff(self.seconds)
        at = np.flatnonzero(pauses > longest * DAY)
        at = np.sort(at[np.argsort(-pauses[at], kind="stable")[:MOST_GAPS]])
        return [(int(self.seconds[place]), int(self.seconds[place + 1])) for place in at]

    @property
    def interval(self) -> int:
        """Usual seconds from one reading to the next; 0 with fewer than two."""
        return int(np.median(np.diff(self.seconds))) if self.seconds.size > 1 else 0


def read_file(
    file: BinaryIO, layout: Layout, *, latest: int, tell: Callable[[int], None] = lambda rows: None
) -> Readings:
    """All readings of a file; rows that cannot be are refused one by one.

    Parameters
    ----------
    file : binary file object, seekable
    layout : Layout
    latest : int, seconds since 1970 after which no reading can be
    tell : called with the rows read so far, now and then

    Raises
    ------
    LoggerFileError
        A file that holds no reading, or is mostly refused, or cannot be read as a table.
    """
    reader = _Reader(layout, latest)
    with as_text(file, layout.encoding) as text:
        lines = csv.reader(text, delimiter=layout.delimiter)
        try:
            for _ in range(layout.header):
                next(lines, None)
            row = layout.header
            while block := list(islice(lines, BLOCK)):
                reader.take(block, row)
                row += len(block)
                if row > MOST_ROWS:
                    raise LoggerFileError(f"The file has more than {MOST_ROWS:,} rows. Split it.")
                if (row - layout.header) % TELL < BLOCK:
                    tell(row - layout.header)
        except csv.Error as error:
            raise LoggerFileError(
                f"Near row {lines.line_num} the file is no table ({error}). Export it again."
            ) from error
    return reader.whole()


class _Reader:
    """Collects the readings of blocks of rows."""

    def __init__(self, layout: Layout, latest: int) -> None:
        self.layout, self.latest = layout, latest
        self.clock = Clock(layout.order)
        self.parts: list[tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]] = []
        self.refused: list[tuple[int, str]] = []
        self.counts: Counter[str] = Counter()

    def take(self, block: Sequence[list[str]], before: int) -> None:
        """Read rows; ``before`` is the number of the row in front of them."""
        self.counts["rows"] += sum(map(bool, block))
        try:
            seconds, temperature, humidity = self._all(block)
            numbers = np.arange(before + 1, before + 1 + len(block))
        except (ValueError, IndexError):
            numbers, seconds, temperature, humidity = self._one_by_one(block, before)
        kept = self._possible(numbers, seconds, temperature, humidity)
        wet = humidity[kept] > 100.0
        self.counts["wet"] += int(wet.sum())
        self.parts.append((seconds[kept], temperature[kept], np.where(wet, 100.0, humidity[kept])))

    def _all(self, block: Sequence[list[str]]) -> tuple[Any, Any, Any]:
        """A block without a fault, the quick way. Raises ``ValueError`` or ``IndexError`` for any fault."""
        layout, clock = self.layout, self.clock
        at, apart = layout.stamp, layout.clock
        if apart >= 0:
            day, time = clock.day, clock.clock
            seconds = [day(row[at]) + time(row[apart]) for row in block]
        else:
            seconds = list(map(clock.seconds, (row[at] for row in block)))
        columns = []
        for place in (layout.temperature, layout.humidity):
            texts = [row[place] for row in block]
            if layout.decimal == ",":
                texts = [text.replace(",", ".") for text in texts]
            columns.append(np.array(list(map(float, texts))))
        temperature, humidity = columns
        if not (np.isfinite(temperature).all() and np.isfinite(humidity).all()):
            raise ValueError("not every value is a number")
        return np.array(seconds, dtype=np.int64), self._celsius(temperature), humidity

    def _celsius(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        return (values - 32.0) / 1.8 if self.layout.fahrenheit else values

    def _one_by_one(self, block: Sequence[list[str]], before: int) -> tuple[Any, Any, Any, Any]:
        """A block with faults: each row that cannot be read is told with its reason."""
        numbers, seconds, temperature, humidity = [], [], [], []
        for number, row in enumerate(block, start=before + 1):
            if not any(cell.strip() for cell in row):
                continue
            try:
                moment = self._moment(row)
                warmth, damp = (self._value(row, name) for name in ("temperature", "humidity"))
            except ValueError as error:
                self._refuse(number, str(error))
                continue
            if warmth is None or damp is None:
                self.counts["missed"] += 1
                continue
            numbers.append(number)
            seconds.append(moment)
            temperature.append(warmth)
            humidity.append(damp)
        return (
            np.array(numbers, dtype=np.int64), np.array(seconds, dtype=np.int64),
            self._celsius(np.array(temperature, dtype=np.float64)), np.array(humidity, dtype=np.float64),
        )  # fmt: skip

    def _moment(self, row: Sequence[str]) -> int:
        layout = self.layout
        if layout.clock >= 0:
            return self.clock.day(_cell(row, layout.stamp)) + self.clock.clock(_cell(row, layout.clock))
        return self.clock.seconds(_cell(row, layout.stamp))

    def _value(self, row: Sequence[str], name: str) -> float | None:
        """A number, or None where the logger wrote that it had none."""
        text = _cell(row, getattr(self.layout, name)).strip()
        if text.lower() in _MISSED:
            return None
        try:
            value = float(text.replace(self.layout.decimal, "."))
        except ValueError:
            raise ValueError(f"{name}: “{text[:40]}” is no number") from None
        if not np.isfinite(value):
            return None
        return value

    def _possible(
        self,
        numbers: NDArray[np.int64],
        seconds: NDArray[np.int64],
        temperature: NDArray[np.float64],
        humidity: NDArray[np.float64],
    ) -> NDArray[np.bool_]:
        """Which readings a room can have; the others are refused."""
        low, high = TEMPERATURE_RANGE_C
        warm, damp = (temperature >= low) & (temperature <= high), (humidity >= 0) & (humidity <= ABOVE_HUNDRED)
        past = seconds <= self.latest
        for place in np.flatnonzero(~(warm & damp & past)):
            if not warm[place]:
                reason = f"temperature: {temperature[place]:g} °C is none of a room (−{-low:g} to {high:g} °C)"
            elif not damp[place]:
                reason = f"humidity: {humidity[place]:g} % cannot be (0 to 100 %)"
            else:
                reason = "time: this moment is still to come"
            self._refuse(int(numbers[place]), reason)
        return np.asarray(warm & damp & past)

    def _refuse(self, number: int, reason: str) -> None:
        self.counts["refused"] += 1
        if len(self.refused) < MOST_REFUSED:
            self.refused.append((number, reason))

    def whole(self) -> Readings:
        """Everything in order of time, each moment once."""
        seconds = np.concatenate([part[0] for part in self.parts]) if self.parts else np.zeros(0, dtype=np.int64)
        if self.counts["refused"] > max(1, seconds.size):
            row, reason = self.refused[0]
            raise LoggerFileError(
                f"More rows are refused than taken, the first is row {row}: {reason}. Check columns, units and dates."
            )
        if seconds.size < 2:
            raise LoggerFileError("The file holds fewer than two readings. Check its columns and dates.")
        temperature = np.concatenate([part[1] for part in self.parts]).astype(np.float32)
        humidity = np.concatenate([part[2] for part in self.parts]).astype(np.float32)
        if np.any(np.diff(seconds) <= 0):
            seconds, first = np.unique(seconds, return_index=True)
            self.counts["repeated"] = temperature.size - first.size
            temperature, humidity = temperature[first], humidity[first]
        self.counts["readings"] = seconds.size
        return Readings(seconds, temperature, humidity, self.refused, self.counts)


def _cell(row: Sequence[str], place: int) -> str:
    if place >= len(row):
        raise ValueError("the row is too short")
    return row[place]
