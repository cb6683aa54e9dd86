"""A registrar's table: headings, numbered rows, the limits it must keep, and the one error that refuses it."""

import unicodedata
from collections.abc import Generator, Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import NamedTuple, Protocol


class RegisterFileError(ValueError):
    """A file that is not taken in. Says where the trouble is, as a person sees the file, and what to do.

    Attributes
    ----------
    problem : str
        What is wrong and what to do, without the place.
    row : int or None
        Line of the text file, or row of the sheet, counted from 1.
    column : str or None
        Heading of the column, or "column 7" where it has none.
    """

    def __init__(self, problem: str, *, row: int | None = None, column: str | None = None) -> None:
        self.problem, self.row, self.column = problem, row, column
        place = [f"row {row}"] if row is not None else []
        place += [column if column.startswith("column ") else f"column “{column}”"] if column is not None else []
        where = ", ".join(place)
        super().__init__(f"{where[0].upper()}{where[1:]}: {problem}" if where else problem)


@dataclass(frozen=True)
class Limits:
    """What a register file may hold at most; far beyond any real register, near enough to stop a hostile one."""

    file_bytes: int = 200_000_000
    rows: int = 500_000
    columns: int = 500
    field_characters: int = 65_536
    record_characters: int = 4_000_000


class Row(NamedTuple):
    """One record. ``number`` is where a person finds it in the file; ``values`` are texts, one per heading."""

    number: int
    values: tuple[str, ...]
    computed: frozenset[int] = frozenset()
    """Positions whose text is the stored result of a formula (workbooks only)."""
    rounded: frozenset[int] = frozenset()
    """Positions stored as a number with decimals, so that 12.10 and 12.1 cannot be told apart (workbooks only)."""


class Table(Protocol):
    """What deciding reads: headings, and rows that can be gone through again from the start."""

    @property
    def header(self) -> tuple[str, ...]: ...

    def rows(self) -> Generator[Row, None, None]: ...


def column_label(header: Sequence[str], position: int) -> str:
    """The heading at a position from 0, or "column 7" where there is none."""
    return header[position] if position < len(header) and header[position] else f"column {position + 1}"


def plain(text: str) -> str:
    """Case, accents and spacing taken off, to compare headings."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return " ".join("".join(c for c in apart if not unicodedata.combining(c)).split())


def checked_header(cells: Sequence[str], *, row: int, limits: Limits) -> tuple[str, ...]:
    """Headings without outer spaces and without the empty ones at the end; each must be there and differ."""
    names = [" ".join(cell.split()) for cell in cells]
    while names and not names[-1]:
        names.pop()
    if len(names) > limits.columns:
        raise RegisterFileError(f"The file has {len(names)} columns; at most {limits.columns} are taken. Remove some.")
    first: dict[str, int] = {}
    for position, name in enumerate(names):
        if not name:
            raise RegisterFileError(
                "This column has no heading. Name it or remove it.", row=row, column=f"column {position + 1}"
            )
        if len(name) > 200:
            raise RegisterFileError(
                f"The heading has {len(name)} characters; is the first row really the headings?",
                row=row,
                column=f"column {position + 1}",
            )
        seen = first.setdefault(plain(name), position)
        if seen != position:
            raise RegisterFileError(
                f"Columns {seen + 1} and {position + 1} have the same heading. Rename one of them.",
                row=row,
                column=name,
            )
    return tuple(names)


def fitted(cells: Sequence[str], header: Sequence[str], *, row: int, limits: Limits) -> tuple[str, ...]:
    """The cells of a row, one per heading. Refuses what would shift texts into a wrong column."""
    width = len(header)
    if len(cells) < width:
        raise RegisterFileError(
            f"The row has {len(cells)} fields but there are {width} headings: fields are missing from here on. "
            "Check this row for a missing delimiter or a line break outside quotation marks.",
            row=row,
            column=header[len(cells)],
        )
    for position in range(width, len(cells)):
        if cells[position].strip():
            raise RegisterFileError(
                f"The row has more fields than the {width} headings. Put quotation marks round the text that holds "
                "the delimiter, or give this column a heading.",
                row=row,
                column=f"column {position + 1}",
            )
    if max(map(len, cells), default=0) > limits.field_characters:
        position = next(i for i, text in enumerate(cells) if len(text) > limits.field_characters)
        refuse_long_field(header, position, row=row, limits=limits)
    return tuple(cells[:width])


def refuse_long_field(header: Sequence[str], position: int, *, row: int, limits: Limits) -> None:
    """Raise the one line about a field that is too long."""
    raise RegisterFileError(
        f"The field is longer than {limits.field_characters} characters. Shorten it; if it should be short, "
        "a quotation mark opened in this row is never closed.",
        row=row,
        column=column_label(header, position),
    )


def counted(rows: Generator[Row, None, None], limits: Limits) -> Generator[Row, None, None]:
    """The rows as they come, refused once there are too many."""
    with closing(rows):
        for count, row in enumerate(rows, start=1):
            if count > limits.rows:
                raise RegisterFileError(
                    f"The file has more than {limits.rows:,} rows. Split it and import the parts one after another.",
                    row=row.number,
                )
            yield row
