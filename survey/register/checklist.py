"""A curator's list of objects: one number a line, or a table with section, use, need-by date and importance."""

from __future__ import annotations

import csv
import datetime
import difflib
import io
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from survey.register.dates import parse_day
from survey.register.deciding import clean_text, number_key
from survey.register.table import plain

MOST_LINES = 5_000
MOST_CHARACTERS = 1_000_000
NEAR = 400

HEADINGS: Mapping[str, frozenset[str]] = {
    "number": frozenset(
        {"accession number", "accession no", "number", "object number", "inventory number", "inventory no", "no", "nr"}
    ),
    "section": frozenset({"section", "part", "theme", "group", "case", "room"}),
    "use": frozenset({"use", "display", "how shown", "shown"}),
    "need_by": frozenset({"need by", "needed by", "needby", "need by date", "needed on", "wanted by", "date"}),
    "importance": frozenset({"importance", "priority", "weight"}),
}
"""Headings as `survey.register.table.plain` leaves them, hyphens and underscores as spaces (common practice)."""


@dataclass(frozen=True)
class Line:
    """One line of a list, read. What the list does not say is None; ``problem`` says why a line cannot be taken."""

    line: int
    number: str
    key: str
    section: str | None = None
    use: str | None = None
    need_by: datetime.date | None = None
    importance: int | None = None
    problem: str = ""


@dataclass
class _Columns:
    positions: dict[str, int] = field(default_factory=lambda: {"number": 0})

    def text(self, cells: Sequence[str], name: str) -> str | None:
        at = self.positions.get(name)
        return clean_text(cells[at]) if at is not None and at < len(cells) else None


def read_checklist(text: str, uses: Mapping[str, str]) -> list[Line]:
    """Read a pasted or uploaded list.

    Parameters
    ----------
    text : str
        One accession number a line; or columns apart by comma, semicolon or tab under headings.
    uses : mapping of str to str
        Words for a use, plain and in lower case, to what is stored.

    Returns
    -------
    list of Line
        In order, blank lines passed over.

    Raises
    ------
    ValueError
        The list is empty, too long, or not readable as a table; one line that says what to do.

    Examples
    --------
    >>> [line.key for line in read_checklist("K 00412\\nK  00413", {})]
    ['K 00412', 'K 00413']
    """
    if len(text) > MOST_CHARACTERS or text.count("\n") > 2 * MOST_LINES:
        raise ValueError(f"The list is too long: at most {MOST_LINES:,} lines are taken. Split it.")
    records = _records(text)
    if not records:
        raise ValueError("The list is empty: paste accession numbers, one to a line.")
    columns = _columns(records[0][1])
    if columns is not None:
        records = records[1:]
    if not records:
        raise ValueError("The list has headings but nothing below them: add the accession numbers.")
    if len(records) > MOST_LINES:
        raise ValueError(f"The list has {len(records):,} lines: at most {MOST_LINES:,} are taken. Split it.")
    first: dict[str, int] = {}
    return [_line(number, cells, columns or _Columns(), uses, first) for number, cells in records]


def _records(text: str) -> list[tuple[int, list[str]]]:
    text = text.removeprefix("\ufeff")
    if "\0" in text:
        raise ValueError("The list is not text: paste it, or save it as CSV (UTF-8).")
    start = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(("\t", ";", ","), key=start.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records = []
    line = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                records.append((line, cells))
            line = reader.line_num + 1
    except csv.Error as error:
        raise ValueError(
            f"Line {line} cannot be read as a table: look for a quotation mark that is not closed."
        ) from error
    return records


def _columns(cells: Sequence[str]) -> _Columns | None:
    """The columns that a first line names; None if it is a line like the others."""
    positions: dict[str, int] = {}
    for at, cell in enumerate(cells):
        heading = plain(cell.replace("_", " ").replace("-", " "))
        for name, words in HEADINGS.items():
            if heading in words:
                positions.setdefault(name, at)
    return _Columns(positions) if "number" in positions else None


def _line(number: int, cells: Sequence[str], columns: _Columns, uses: Mapping[str, str], first: dict[str, int]) -> Line:
    written = (columns.text(cells, "number") or "")[:120]
    key = number_key(written)
    problems = []
    if not key:
        problems.append("no accession number stands here")
    elif first.setdefault(key, number) != number:
        problems.append(f"the number stands in line {first[key]} already")
    section = columns.text(cells, "section")
    if section and len(section) > 120:
        problems.append("the section has more than 120 characters")
    use, wrong_use = _use(columns.text(cells, "use"), uses)
    need_by, wrong_day = _day(columns.text(cells, "need_by"))
    importance, wrong_importance = _importance(columns.text(cells, "importance"))
    problems += [problem for problem in (wrong_use, wrong_day, wrong_importance) if problem]
    return Line(number, written, key, section, use, need_by, importance, "; ".join(problems))


def _use(text: str | None, uses: Mapping[str, str]) -> tuple[str | None, str]:
    if not text:
        return None, ""
    found = uses.get(plain(text.replace("_", " ")))
    return found, "" if found else f"“{text[:40]}” is no use that is known"


def _day(text: str | None) -> tuple[datetime.date | None, str]:
    if not text:
        return None, ""
    written = parse_day(text)
    if written is None or len(written) != 10:
        return None, f"“{text[:40]}” is no clear date: write it as 2026-06-08"
    return datetime.date.fromisoformat(written), ""


def _importance(text: str | None) -> tuple[int | None, str]:
    if not text:
        return None, ""
    return (int(text), "") if text in {"1", "2", "3", "4", "5"} else (None, f"importance “{text[:20]}” is not 1 to 5")


def near_numbers(key: str, keys: Sequence[str], *, most: int = 3) -> list[str]:
    """Numbers of the register that a number may have been meant for, the likeliest first.

    Looked for among the neighbours in order of number, so that a long list against a large register stays quick: a slip
    in the first characters is not found. ``keys`` must be sorted.

    Examples
    --------
    >>> near_numbers("K 0412", ["J 1", "K 00412", "K 04120", "M 9"])
    ['K 04120', 'K 00412']
    """
    at = bisect_left(keys, key)
    around = keys[max(0, at - NEAR) : at + NEAR]
    return difflib.get_close_matches(key, around, n=most, cutoff=0.75)
