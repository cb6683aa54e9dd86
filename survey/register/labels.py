"""Labels for shelves and objects: what their square says, and how they lie on a sheet."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height in millimetres. Source: ISO 216; ANSI/ASME Y14.1."""
SIZES = {"small": (47.0, 25.0), "middle": (63.0, 38.0), "large": (95.0, 65.0)}
"""Width and height of a label in millimetres."""
MARGIN = 8.0  # millimetres that printers may leave white
_NAME = re.compile(r"urn:uuid:([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Label:
    """One label. ``number`` is large, ``name`` and ``where`` small; empty where not known."""

    id: uuid.UUID
    number: str
    name: str = ""
    where: str = ""
    do_not_lift: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """Labels of one size on one paper, in rows, centred; all in millimetres."""

    paper: str
    size: str

    def __post_init__(self) -> None:
        if self.paper not in PAPERS:
            raise ValueError(f"paper must be one of {', '.join(PAPERS)}")
        if self.size not in SIZES:
            raise ValueError(f"size must be one of {', '.join(SIZES)}")

    @property
    def columns(self) -> int:
        return int((PAPERS[self.paper][0] - 2 * MARGIN) // SIZES[self.size][0])

    @property
    def rows(self) -> int:
        return int((PAPERS[self.paper][1] - 2 * MARGIN) // SIZES[self.size][1])

    @property
    def each(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows

    def corners(self) -> list[tuple[float, float]]:
        """Where each label of a sheet begins, from the upper left, row by row."""
        (width, height), (across, down) = PAPERS[self.paper], SIZES[self.size]
        left, top = (width - self.columns * across) / 2, (height - self.rows * down) / 2
        return [
            (left + column * across, top + row * down) for row in range(self.rows) for column in range(self.columns)
        ]


def said_by(thing: uuid.UUID) -> str:
    """What a label's square says: the name of the row as a URN.

    In capitals, which the scheme allows and which take a smaller square. Source: RFC 9562, section 4 (urn:uuid, its
    letters of either case); RFC 8141, section 3.1; ISO/IEC 18004, alphanumeric mode.
    """
    return f"urn:uuid:{thing}".upper()


def read(said: str) -> uuid.UUID | None:
    """The row that a label names; none if it is no label of ours."""
    found = _NAME.fullmatch(said.strip()) if len(said) < 100 else None
    return uuid.UUID(found[1]) if found else None


def pages(labels: Sequence[Label], sheet: Sheet) -> Iterator[list[tuple[Label, tuple[float, float]]]]:
    """Labels with their corners, sheet by sheet."""
    left, corners = iter(labels), sheet.corners()
    while here := list(islice(left, sheet.each)):
        yield list(zip(here, corners, strict=False))
