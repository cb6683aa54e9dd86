"""Drawings as paths, for pages that show them and cannot change them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from media.markup.geometry import Drawing, Mark


@dataclass(frozen=True, slots=True)
class Trace:
    """One mark: its path in SVG's own words (SVG 2, section 9.3), where its word stands, and the word."""

    path: str
    shape: str
    term: str
    x: float
    y: float
    word: str


def traced(drawing: Drawing, names: Mapping[str, str], *, spot: float) -> list[Trace]:
    """Marks as paths; ``names`` gives the word of a target, ``spot`` the half size of a point's sign in pixels."""
    return [_trace(mark, names.get(str(mark.target), mark.term.capitalize()), spot) for mark in drawing.marks]


def _trace(mark: Mark, word: str, spot: float) -> Trace:
    x, y = mark.points[(len(mark.points) - 1) // 2]
    if mark.shape == "point" and mark.term == "sample":
        path = f"M{x:g} {y - spot:g}L{x + spot:g} {y + spot:g}H{x - spot:g}Z"
    elif mark.shape == "point":
        round_it = f"a{spot:g} {spot:g} 0 1 0 {2 * spot:g} 0a{spot:g} {spot:g} 0 1 0 {-2 * spot:g} 0"
        path = f"M{x - spot:g} {y:g}{round_it}M{x - spot:g} {y:g}h{2 * spot:g}M{x:g} {y - spot:g}v{2 * spot:g}"
    else:
        path = "M" + "L".join(f"{u:g} {v:g}" for u, v in mark.points) + ("Z" if mark.shape == "area" else "")
    return Trace(path, mark.shape, mark.term, x + spot, y - spot, word)
