"""Lines, areas and points drawn on a photograph, in pixels of the upright original, and what they measure."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from media.outside import UNWRITABLE, is_key

SHAPES = {"line": 2, "area": 3, "point": 1}
"""Shapes and the fewest points of each."""
MOST_POINTS, MOST_MARKS, LARGEST_SIDE = 500, 200, 100_000
MOST_MM = 10_000.0  # of a known size
_CODE = re.compile(r"[a-z][a-z_]{0,39}")


class BadMarkup(ValueError):
    """What came is no markup that can be kept; the message names the place and what is wanted there."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One shape. ``term`` says what it shows; ``target`` is the key of the thing it belongs to, None for none."""

    id: str
    shape: str
    points: tuple[tuple[float, float], ...]
    term: str
    target: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Scale:
    """A known size: from one point to another are so many millimetres."""

    start: tuple[float, float]
    end: tuple[float, float]
    mm: float

    @property
    def mm_per_pixel(self) -> float:
        return self.mm / math.dist(self.start, self.end)


@dataclass(frozen=True, slots=True)
class Drawing:
    """All that one person drew on one photograph at one time; ``width`` and ``height`` of the original in pixels."""

    width: int
    height: int
    scale: Scale | None
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Measure:
    """What the marks of one thing come to; None where there are none of that shape or no size is known."""

    length_mm: float | None
    area_cm2: float | None


def _points(points: ArrayLike, least: int) -> NDArray[np.float64]:
    found = np.asarray(points, float)
    if found.ndim != 2 or found.shape[1:] != (2,) or len(found) < least:
        raise ValueError(f"points must be at least {least} pairs")
    return found


def length(points: ArrayLike) -> float:
    """Length of a line through ``points`` [n, 2], n >= 2, in the unit of the points.

    Raises ValueError for fewer points.

    Examples
    --------
    >>> length([(0, 0), (3, 4), (3, 10)])
    11.0
    """
    return float(np.linalg.norm(np.diff(_points(points, 2), axis=0), axis=1).sum())


def area(points: ArrayLike) -> float:
    """Area within a simple outline through ``points`` [n, 2], n >= 3, closed by itself, in squares of their unit.

    The trapezoid ("shoelace") formula, whichever way round the points go; taken from the first point, so that an
    outline far from the origin loses no digits. Source: Meister 1769, as in any textbook of surveying. Raises
    ValueError for fewer points.

    Examples
    --------
    >>> area([(0, 0), (4, 0), (4, 3)])
    6.0
    """
    x, y = (_points(points, 3) - np.asarray(points, float)[0]).T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def bounds(points: ArrayLike) -> tuple[float, float, float, float]:
    """Left, top, width and height of the upright box around ``points`` [n, 2], n >= 1."""
    found = _points(points, 1)
    (left, top), (right, bottom) = found.min(axis=0), found.max(axis=0)
    return float(left), float(top), float(right - left), float(bottom - top)


def crosses_itself(points: ArrayLike) -> bool:
    """Whether a closed outline through ``points`` [n, 2] meets itself other than where neighbours join.

    Proper crossings by the signs of cross products, and corners that lie on another edge. All pairs at once: n is at
    most ``MOST_POINTS``. Source: segment intersection by orientation, Cormen et al., Introduction to Algorithms.
    """
    start = _points(points, 3)
    end = np.roll(start, -1, axis=0)
    n = len(start)

    def turn(a: Any, b: Any, c: Any) -> NDArray[np.float64]:
        first, second = b - a, c - a
        return np.asarray(first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0])

    a, b, c, d = start[:, None], end[:, None], start[None], end[None]
    across = (turn(a, b, c) * turn(a, b, d) <= 0) & (turn(c, d, a) * turn(c, d, b) <= 0)
    near = (np.minimum(a, b) <= np.maximum(c, d)).all(-1) & (np.minimum(c, d) <= np.maximum(a, b)).all(-1)
    i = np.arange(n)
    apart = np.abs(i[:, None] - i[None])
    return bool((across & near & (apart > 1) & (apart < n - 1)).any())


def measured(drawing: Drawing) -> dict[tuple[str, str], Measure]:
    """What the marks of each thing come to, by term and target; lengths in mm and areas in cm².

    They hold in the plane of the known size: along a curved wall they come out short.
    """
    unit = drawing.scale.mm_per_pixel if drawing.scale else None
    found: dict[tuple[str, str], Measure] = {}
    for term, target in dict.fromkeys((mark.term, mark.target) for mark in drawing.marks if mark.target):
        mine = [mark for mark in drawing.marks if (mark.term, mark.target) == (term, target)]
        lines = [length(mark.points) for mark in mine if mark.shape == "line"]
        areas = [area(mark.points) for mark in mine if mark.shape == "area"]
        found[term, str(target)] = Measure(
            sum(lines) * unit if lines and unit else None,
            sum(areas) * unit**2 / 100 if areas and unit else None,
        )
    return found


def read(value: Any) -> Drawing:
    """A drawing from outside: ``{"width", "height", "scale", "marks"}`` as JSON holds it.

    ``scale`` is None or ``{"from": [x, y], "to": [x, y], "mm"}``; each mark is ``{"id", "shape", "points", "term",
    "target", "note"}``. Raises `BadMarkup` with one line for anything else: points beyond the picture, numbers that are
    none, outlines that cross themselves, too much of anything.
    """
    table = _table(value, "markup", ("width", "height", "scale", "marks"))
    width, height = (_side(table[name], name) for name in ("width", "height"))
    scale = None if table["scale"] is None else _scale(table["scale"], width, height)
    rows = table["marks"]
    if not isinstance(rows, list) or len(rows) > MOST_MARKS:
        raise BadMarkup(f"marks: must be a list of at most {MOST_MARKS}")
    marks = tuple(_mark(row, f"marks[{i}]", width, height) for i, row in enumerate(rows))
    if len({mark.id for mark in marks}) != len(marks):
        raise BadMarkup("marks: two have the same id")
    return Drawing(width, height, scale, marks)


def write(drawing: Drawing) -> dict[str, Any]:
    """A drawing as JSON holds it; `read` gives it back."""
    scale = drawing.scale
    return {
        "width": drawing.width,
        "height": drawing.height,
        "scale": scale and {"from": list(scale.start), "to": list(scale.end), "mm": scale.mm},
        "marks": [
            {
                "id": mark.id, "shape": mark.shape, "points": [list(point) for point in mark.points],
                "term": mark.term, "target": mark.target, "note": mark.note,
            }
            for mark in drawing.marks
        ],
    }  # fmt: skip


def _table(value: Any, where: str, names: Sequence[str]) -> Mapping[str, Any]:
    if not isinstance(value, dict) or set(value) != set(names):
        raise BadMarkup(f"{where}: must be an object with {', '.join(names)}")
    return value


def _number(value: Any, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not -1e9 < value < 1e9:
        raise BadMarkup(f"{where}: must be a number")
    return float(value)


def _side(value: Any, where: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= LARGEST_SIDE:
        raise BadMarkup(f"{where}: must be a whole number of pixels from 1 to {LARGEST_SIDE}")
    return value


def _point(value: Any, where: str, width: int, height: int) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise BadMarkup(f"{where}: must be a pair [x, y]")
    x, y = (_number(each, where) for each in value)
    if not (0 <= x <= width and 0 <= y <= height):
        raise BadMarkup(f"{where}: lies outside the photograph")
    return x, y


def _scale(value: Any, width: int, height: int) -> Scale:
    row = _table(value, "scale", ("from", "to", "mm"))
    start, end = (_point(row[name], f"scale.{name}", width, height) for name in ("from", "to"))
    mm = _number(row["mm"], "scale.mm")
    if not 0 < mm <= MOST_MM:
        raise BadMarkup(f"scale.mm: must be more than 0 and at most {MOST_MM:g}")
    if math.dist(start, end) < 1:
        raise BadMarkup("scale: its two ends must lie apart")
    return Scale(start, end, mm)


def _mark(value: Any, where: str, width: int, height: int) -> Mark:
    row = _table(value, where, ("id", "shape", "points", "term", "target", "note"))
    shape, points, note = row["shape"], row["points"], row["note"]
    if not isinstance(shape, str) or shape not in SHAPES:
        raise BadMarkup(f"{where}.shape: must be one of {', '.join(SHAPES)}")
    if not isinstance(points, list) or not SHAPES[shape] <= len(points) <= (1 if shape == "point" else MOST_POINTS):
        raise BadMarkup(f"{where}.points: a {shape} has {SHAPES[shape]} to {MOST_POINTS} points, a point one")
    found = tuple(_point(each, f"{where}.points[{i}]", width, height) for i, each in enumerate(points))
    if shape == "line" and length(found) <= 0:
        raise BadMarkup(f"{where}.points: the line has no length")
    if shape == "area" and (area(found) <= 0 or crosses_itself(found)):
        raise BadMarkup(f"{where}.points: the outline crosses itself or holds nothing: draw it again")
    if not isinstance(row["term"], str) or not _CODE.fullmatch(row["term"]):
        raise BadMarkup(f"{where}.term: must be a code in small letters")
    if not isinstance(note, str) or len(note) > 500 or UNWRITABLE.search(note):
        raise BadMarkup(f"{where}.note: must be a text of at most 500 characters")
    target = None if row["target"] is None else _key(row["target"], f"{where}.target")
    return Mark(_key(row["id"], f"{where}.id"), shape, found, row["term"], target, note)


def _key(value: Any, where: str) -> str:
    if is_key(value):
        return value
    raise BadMarkup(f"{where}: must be a UUID in lower case with its hyphens")
