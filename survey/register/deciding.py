"""What an import will do with each row: create, change, leave the same, pass over or refuse. Nothing is written."""

import datetime
import hashlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache
from operator import itemgetter
from types import MappingProxyType
from typing import Any, Literal, NamedTuple

from survey.register.cells import Problem, Record, RowReader, Value, clean_text, number_key
from survey.register.fields import BY_NAME
from survey.register.filtering import Condition, keeper
from survey.register.matching import Matching
from survey.register.table import Row, Table

__all__ = [
    "Change",
    "Decision",
    "Kind",
    "Problem",
    "Snapshot",
    "Summary",
    "Value",
    "clean_text",
    "decide",
    "fingerprint_of",
    "number_key",
    "same_value",
]
_NOTHING: Mapping[str, Value] = MappingProxyType({})


class Kind(StrEnum):
    """What happens to a row."""

    CREATE = "create"
    CHANGE = "change"
    SAME = "same"
    LEFT = "left"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Change:
    """One value of an object: what it was and what it becomes."""

    name: str
    was: Value
    becomes: Value


@dataclass(frozen=True, slots=True)
class Snapshot:
    """An object as it now stands: its values by name (`fields.VALUES`), and the fingerprint that its last import left.

    The fingerprint tells what the register said last time. A row that says the same again changes nothing, so that
    what a person corrected here since then stays.
    """

    values: Mapping[str, Any]
    fingerprint: str = ""


class Decision(NamedTuple):
    """What will be done with one row.

    Attributes
    ----------
    row : int
        Where a person finds it in the file.
    kind : Kind
    number : str
        The accession number as written, without outer spaces.
    key : str
        `number_key` of it, by which objects are found.
    values : dict
        For create and change: all mapped values by name. Sizes in mm, mass in kg, years as integers, texts.
    changes : tuple of Change
        For change: only what differs.
    fingerprint : str
        To be stored with the object when the decision is carried out; also for "same" (it may be new).
    problems : tuple of Problem
        Why the row is refused.
    notes : tuple of Problem
        What did not stop the row but should be seen in the preview.
    """

    row: int
    kind: Kind
    number: str = ""
    key: str = ""
    values: Mapping[str, Value] = _NOTHING
    changes: tuple[Change, ...] = ()
    fingerprint: str = ""
    problems: tuple[Problem, ...] = ()
    notes: tuple[Problem, ...] = ()

    @property
    def reason(self) -> str:
        """The refusal in one line of at most 500 characters that names row and column; empty if not refused."""
        parts = [f"{p.column}: {p.message}" if p.column else p.message for p in self.problems]
        line = f"Row {self.row}, {'; '.join(parts)}." if parts else ""
        return line if len(line) <= 500 else f"{line[:499]}…"


@dataclass
class Summary:
    """Counts over decisions, kept while they stream by."""

    counts: Counter[Kind] = field(default_factory=Counter)
    changed: Counter[str] = field(default_factory=Counter)
    """How many objects change in each value."""
    noted: int = 0

    def add(self, decision: Decision) -> Decision:
        """Count a decision and hand it on."""
        self.counts[decision.kind] += 1
        self.changed.update(change.name for change in decision.changes)
        self.noted += bool(decision.notes)
        return decision

    @property
    def total(self) -> int:
        """All rows seen."""
        return sum(self.counts.values())

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON, every kind named even at nought."""
        counts = {kind.value: self.counts[kind] for kind in Kind}
        return {"total": self.total, **counts, "changed": dict(self.changed), "noted": self.noted}


def decide(
    table: Table,
    matching: Matching,
    existing: Mapping[str, Snapshot],
    *,
    conditions: Sequence[Condition] = (),
    blanks: Literal["keep", "clear"] = "keep",
) -> Iterator[Decision]:
    """Decide about every row of a table, in its order.

    Goes through the table twice, since a number that occurs twice refuses both of its rows.

    Parameters
    ----------
    table : Table
    matching : Matching
        Must give the accession number a column.
    existing : mapping of `number_key` to Snapshot
        All objects that the file may be about.
    conditions : sequence of Condition
        Only rows that meet one of them are taken; none: all.
    blanks : "keep" or "clear"
        Whether an empty cell leaves what an object has, or empties it.

    Yields
    ------
    Decision

    Raises
    ------
    ValueError
        `matching` without accession number or for another header, `conditions` or `blanks` that make no sense.
    RegisterFileError
        As the table is read.
    """
    if matching.missing:
        raise ValueError(f"matching gives no column for: {', '.join(matching.missing)}")
    if matching.header != table.header:
        raise ValueError("matching was made for other headings than the table has")
    if blanks not in ("keep", "clear"):
        raise ValueError("blanks must be “keep” or “clear”")
    keeps = keeper(conditions, table.header)
    return _decisions(table, RowReader(matching), existing, keeps, blanks == "keep")


def _decisions(
    table: Table, reader: RowReader, existing: Mapping[str, Snapshot], keeps: Callable[[Row], bool], keep_blanks: bool
) -> Iterator[Decision]:
    twice = _occurring_twice(filter(keeps, table.rows()), reader.number_position)
    for row in table.rows():
        number = clean_text(row.values[reader.number_position])
        key = number_key(number)
        if not keeps(row):
            yield Decision(row.number, Kind.LEFT, _short(number), _short(key))
        elif key in twice:
            message = f"“{_short(key)}” stands {_rows_in_words(twice[key])}. Keep one of them"
            problem = Problem(reader.number_column, message)
            yield Decision(row.number, Kind.REFUSED, _short(number), _short(key), problems=(problem,))
        else:
            yield _decision(reader.record(row), number, key, existing.get(key), keep_blanks)


def _occurring_twice(rows: Iterable[Row], position: int) -> dict[str, list[int]]:
    """Accession numbers of more than one row, with the rows."""
    first: dict[str, int] = {}
    twice: dict[str, list[int]] = {}
    for row in rows:
        key = number_key(clean_text(row.values[position]))
        if key and first.setdefault(key, row.number) != row.number:
            twice.setdefault(key, [first[key]]).append(row.number)
    return twice


def _rows_in_words(rows: list[int]) -> str:
    """All rows of a number that occurs twice; of a number that occurs often, the first few and the count."""
    if len(rows) <= 5:
        return f"in rows {', '.join(map(str, rows[:-1]))} and {rows[-1]}"
    return f"in {len(rows)} rows, first in {', '.join(map(str, rows[:3]))}"


def _short(text: str) -> str:
    """A number for display; only a refused or left one can be longer than is kept."""
    text, longest = text.strip(), BY_NAME["accession_number"].longest
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


def _decision(record: Record, number: str, key: str, now: Snapshot | None, keep_blanks: bool) -> Decision:
    notes = tuple(record.notes)
    if record.problems:
        problems = tuple(record.problems)
        return Decision(record.row, Kind.REFUSED, _short(number), _short(key), problems=problems, notes=notes)
    values, fingerprint = record.values, fingerprint_of(record.values)
    if now is None:
        return Decision(record.row, Kind.CREATE, number, key, values, fingerprint=fingerprint, notes=notes)
    changes = tuple(
        Change(name, _plain_value(now.values.get(name)), value)
        for name, value in values.items()
        if not (keep_blanks and value in (None, "")) and not same_value(now.values.get(name), value)
    )
    if now.fingerprint == fingerprint and changes:
        edited = ", ".join(change.name for change in changes)
        notes += (Problem(None, f"corrected here since the last import and left so: {edited}"),)
        changes = ()
    kind = Kind.CHANGE if changes else Kind.SAME
    return Decision(record.row, kind, number, key, values, changes, fingerprint, notes=notes)


def fingerprint_of(values: Mapping[str, Value]) -> str:
    """What a row says, as 64 hexadecimal digits; the same for the same values in any order."""
    head, pick = _in_order(tuple(values))
    # No text holds this separator: a control character refuses the row.
    return hashlib.sha256("\x1f".join([head, *map(str, pick(values))]).encode()).hexdigest()


@lru_cache(maxsize=100)
def _in_order(names: tuple[str, ...]) -> tuple[str, Callable[[Mapping[str, Value]], tuple[Value, ...]]]:
    """The names in one order, and how to take their values out in that order."""
    ordered = sorted(names)
    if len(ordered) < 2:
        return "\x1f".join(ordered), lambda values: tuple(values[name] for name in ordered)
    return "\x1f".join(ordered), itemgetter(*ordered)


def same_value(was: Any, becomes: Value) -> bool:
    """Whether two values mean the same: nothing and "" do; numbers within the precision of reading (0.0005) do."""
    was = _plain_value(was)
    if was in (None, "") or becomes in (None, ""):
        return was in (None, "") and becomes in (None, "")
    if isinstance(was, (int, float)) and isinstance(becomes, (int, float)):
        return abs(was - becomes) <= 5e-4
    return bool(was == becomes)


def _plain_value(value: Any) -> Value:
    """A stored value as one that a row could have."""
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, (datetime.date, datetime.datetime)):
        return value.isoformat()[:10]
    return value if isinstance(value, (str, int, float)) or value is None else str(value)
