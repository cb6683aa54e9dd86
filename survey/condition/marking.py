"""What is drawn on photographs of objects, and which facts of their parts it measures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from media.markup import geometry
from media.markup.geometry import BadMarkup, Drawing

SHAPES = {"joint": "line", "fill": "area", "overpaint": "area", "sample": "point", "test": "point"}
"""Terms, and the shape that each is drawn as."""
MEASURES = {"joint": "length_mm", "fill": "area_cm2", "overpaint": "area_cm2"}
"""Parts, and the fact of each that its marks measure."""
UNITS = {"length_mm": "mm", "area_cm2": "cm²"}
NAMES = {"joint": "Joint", "fill": "Fill", "overpaint": "Overpaint", "sample": "Sample", "test": "Test"}


def read(value: Any) -> Drawing:
    """A drawing from outside, of our own terms only. Raises ``BadMarkup``."""
    drawing = geometry.read(value)
    for i, mark in enumerate(drawing.marks):
        if SHAPES.get(mark.term) != mark.shape:
            raise BadMarkup(f"marks[{i}]: a joint is a line, a fill or overpaint an area, a sample or test a point")
        if (mark.term in MEASURES) != (mark.target is not None):
            raise BadMarkup(f"marks[{i}].target: a joint, fill or overpaint names itself, a sample or test nothing")
    return drawing


def parts_in(drawing: Drawing) -> dict[str, str]:
    """The parts that a drawing speaks of: id to kind. Raises ``BadMarkup`` for one id of two kinds."""
    kinds: dict[str, str] = {}
    for mark in drawing.marks:
        if mark.target and kinds.setdefault(mark.target, mark.term) != mark.term:
            raise BadMarkup("marks: one part is drawn as two kinds")
    return kinds


def facts(drawing: Drawing) -> Mapping[str, tuple[str, float]]:
    """Part to the fact that its marks measure and its value: mm or cm², to a tenth. Nothing without a known size."""
    found = {}
    for (kind, part), told in geometry.measured(drawing).items():
        value = told.length_mm if kind == "joint" else told.area_cm2
        rounded = round(value, 1) if value else 0
        if rounded:
            found[part] = (MEASURES[kind], rounded)
    return found
