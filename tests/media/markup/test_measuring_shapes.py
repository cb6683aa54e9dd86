"""Lengths, areas and crossings against worked examples and an independent library; hostile geometry refused."""

from __future__ import annotations

import math
import uuid
from contextlib import suppress

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from media.markup import geometry
from media.markup.geometry import BadMarkup, Drawing, Mark, Scale


def test_areas_of_figures_worked_by_hand():
    """Figures whose area elementary geometry gives (Euclid, Elements I.36 to I.41; common practice)."""
    assert geometry.area([(0, 0), (10, 0), (10, 5), (0, 5)]) == 50  # rectangle, base times height
    assert geometry.area([(0, 0), (7, 0), (2, 6)]) == 21  # triangle, half base times height
    assert geometry.area([(0, 0), (8, 0), (6, 3), (1, 3)]) == (8 + 5) / 2 * 3  # trapezoid, mean of the sides
    assert geometry.area([(0, 0), (0, 4), (2, 4), (2, 2), (4, 2), (4, 0)]) == 12  # an L, 16 less a square of 4


def test_a_worked_example_of_the_shoelace_formula():
    """The pentagon of the usual textbook example: area 30 (from memory; twice the sum written out below is 60)."""
    corners = [(3, 4), (5, 11), (12, 8), (9, 5), (5, 6)]
    down = 3 * 11 + 5 * 8 + 12 * 5 + 9 * 6 + 5 * 4
    up = 4 * 5 + 11 * 12 + 8 * 9 + 5 * 5 + 6 * 3
    assert geometry.area(corners) == abs(down - up) / 2 == 30


def test_a_regular_polygon_against_its_closed_form():
    """Area n r² sin(2π/n) / 2 and perimeter 2 n r sin(π/n): Abramowitz and Stegun, section 4.3 (from memory)."""
    n, r = 360, 250.0
    turn = 2 * np.pi * np.arange(n) / n
    corners = np.column_stack([1000 + r * np.cos(turn), 2000 + r * np.sin(turn)])
    assert geometry.area(corners) == pytest.approx(n * r**2 * math.sin(2 * math.pi / n) / 2, rel=1e-12)
    around = geometry.length(np.vstack([corners, corners[:1]]))
    assert around == pytest.approx(2 * n * r * math.sin(math.pi / n), rel=1e-12)


def test_a_zigzag_of_pythagorean_triples():
    assert geometry.length([(0, 0), (3, 4), (8, 16), (16, 31)]) == 5 + 13 + 17


PAIRS = st.tuples(st.integers(0, 60), st.integers(0, 60))


@given(st.lists(PAIRS, min_size=3, max_size=9))
def test_outlines_against_shapely(corners):
    """shapely (GEOS) as the reference: whether an outline is a simple ring, and then its area and bounds."""
    repeated = any(a == b for a, b in zip(corners, [*corners[1:], corners[0]], strict=True))
    if repeated:
        return
    ring = shapely.LinearRing(corners)
    polygon = shapely.Polygon(corners)
    if geometry.crosses_itself(corners):
        assert not ring.is_simple
    elif polygon.is_valid:
        assert geometry.area(corners) == pytest.approx(polygon.area, rel=1e-12)
    else:
        # What is left are edges that fold back on their neighbour: nothing is counted twice by that.
        assert ring.is_simple or _folds_back(corners)
    left, top, right, bottom = polygon.bounds
    assert geometry.bounds(corners) == (left, top, right - left, bottom - top)
    assert geometry.length(corners) == pytest.approx(shapely.LineString(corners).length, rel=1e-12)


def _folds_back(corners) -> bool:
    points = np.asarray(corners, float)
    one, two = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
    along = one[:, 0] * two[:, 1] == one[:, 1] * two[:, 0]
    return bool((along & ((one * two).sum(axis=1) < 0)).any())


@pytest.mark.parametrize(
    ("corners", "crosses"),
    [
        ([(0, 0), (10, 10), (10, 0), (0, 10)], True),  # a bow tie
        ([(0, 0), (10, 0), (10, 10), (5, 0), (0, 10)], True),  # a corner on another edge
        ([(0, 0), (10, 0), (10, 10), (0, 10)], False),
        ([(0, 0), (10, 0), (10, 10), (9, 1), (0, 10)], False),  # deep but simple
    ],
)
def test_crossing_outlines_are_known(corners, crosses):
    assert geometry.crosses_itself(corners) is crosses
    assert shapely.LinearRing(corners).is_simple is not crosses


def a_mark(shape: str = "line", points=((10, 10), (110, 10)), **fields) -> dict:
    given = {"id": str(uuid.uuid4()), "shape": shape, "points": [list(p) for p in points], "term": "joint",
             "target": None, "note": ""}  # fmt: skip
    return given | fields


def a_drawing(*marks: dict, scale=None, **fields) -> dict:
    return {"width": 400, "height": 300, "scale": scale, "marks": list(marks)} | fields


SCALE = {"from": [0, 0], "to": [0, 100], "mm": 50}


def test_a_known_size_turns_pixels_into_millimetres_and_square_centimetres():
    joint, fill = str(uuid.uuid4()), str(uuid.uuid4())
    square = ((0, 0), (40, 0), (40, 40), (0, 40))
    drawing = geometry.read(
        a_drawing(
            a_mark(target=joint), a_mark(points=((0, 0), (30, 40)), target=joint),
            a_mark("area", square, term="fill", target=fill), a_mark("point", ((5, 5),), term="sample"),
            scale=SCALE,
        )
    )  # fmt: skip
    told = geometry.measured(drawing)
    assert told["joint", joint].length_mm == pytest.approx((100 + 50) / 2)  # 100 pixels are 50 mm
    assert told["fill", fill].area_cm2 == pytest.approx(20 * 20 / 100)  # 40 pixels are 20 mm
    assert set(told) == {("joint", joint), ("fill", fill)}


def test_without_a_known_size_nothing_is_measured():
    joint = str(uuid.uuid4())
    told = geometry.measured(geometry.read(a_drawing(a_mark(target=joint))))
    assert told["joint", joint].length_mm is None and told["joint", joint].area_cm2 is None


def test_what_is_written_is_read_back():
    drawing = geometry.read(a_drawing(a_mark(), a_mark("area", ((0, 0), (9, 0), (4, 8)), note="a"), scale=SCALE))
    assert geometry.read(geometry.write(drawing)) == drawing
    assert drawing.scale == Scale((0, 0), (0, 100), 50) and isinstance(drawing.marks[0], Mark)
    assert isinstance(drawing, Drawing)


ONE = a_mark()
HOSTILE = {
    "no object": [1, 2],
    "lacks a name": {"width": 1, "height": 1, "marks": []},
    "one name more": a_drawing() | {"x": 1},
    "a side of nothing": a_drawing(width=0),
    "a side that is no number": a_drawing(width="400"),
    "a side that is true": a_drawing(width=True),
    "a giant side": a_drawing(width=10**9),
    "marks that are no list": a_drawing() | {"marks": {}},
    "too many marks": a_drawing(*(a_mark() for _ in range(geometry.MOST_MARKS + 1))),
    "one id twice": a_drawing(ONE, ONE),
    "an unknown shape": a_drawing(a_mark("circle")),
    "a shape that is no text": a_drawing(a_mark() | {"shape": ["line"]}),
    "too few points": a_drawing(a_mark("area", ((0, 0), (1, 1)))),
    "two points of one": a_drawing(a_mark("point")),
    "too many points": a_drawing(a_mark(points=[(i % 400, 0) for i in range(geometry.MOST_POINTS + 1)])),
    "beyond the picture": a_drawing(a_mark(points=((0, 0), (401, 0)))),
    "left of the picture": a_drawing(a_mark(points=((-1, 0), (4, 0)))),
    "no number": a_drawing(a_mark() | {"points": [[0, 0], [float("nan"), 1]]}),
    "endless": a_drawing(a_mark() | {"points": [[0, 0], [float("inf"), 1]]}),
    "a number in words": a_drawing(a_mark() | {"points": [["0", 0], [1, 1]]}),
    "a huge whole number": a_drawing(a_mark() | {"points": [[0, 0], [10**400, 1]]}),
    "three of a pair": a_drawing(a_mark() | {"points": [[0, 0, 0], [1, 1, 1]]}),
    "no length": a_drawing(a_mark(points=((5, 5), (5, 5)))),
    "no area": a_drawing(a_mark("area", ((0, 0), (5, 5), (9, 9)))),
    "an outline that crosses itself": a_drawing(a_mark("area", ((0, 0), (9, 9), (9, 0), (0, 9)))),
    "a term that is markup": a_drawing(a_mark(term="<b>")),
    "a target that is no key": a_drawing(a_mark(target="J1")),
    "an id that is no key": a_drawing(a_mark(id="1")),
    "a note without end": a_drawing(a_mark(note="x" * 501)),
    "a note nobody can write": a_drawing(a_mark(note="\x00")),
    "a scale of nothing": a_drawing(scale=SCALE | {"mm": 0}),
    "a scale below nothing": a_drawing(scale=SCALE | {"mm": -5}),
    "a scale between one point": a_drawing(scale=SCALE | {"to": [0, 0]}),
    "a scale beyond the picture": a_drawing(scale=SCALE | {"to": [0, 301]}),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_geometry_is_refused_in_one_line(name):
    with pytest.raises(BadMarkup) as why:
        geometry.read(HOSTILE[name])
    assert "\n" not in str(why.value) and len(str(why.value)) < 200


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(
            ["width", "height", "scale", "marks", "id", "shape", "points", "term", "target", "note", "mm"]), inner),
    )
)  # fmt: skip
def test_anything_at_all_is_read_or_refused(value):
    with suppress(BadMarkup):
        geometry.read(value)


@pytest.mark.parametrize("points", [[], [(0, 0)], [(0, 0, 0)] * 3, 5])
def test_the_core_names_what_is_wrong(points):
    for function in (geometry.length, geometry.area):
        with pytest.raises(ValueError, match="points"):
            function(points)
