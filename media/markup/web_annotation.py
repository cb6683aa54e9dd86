"""Markup as W3C Web Annotations in JSON-LD, so that any reader of that standard can draw it again."""

from __future__ import annotations

import base64
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from media.markup.geometry import Drawing, Mark

CONTEXT = "http://www.w3.org/ns/anno.jsonld"
SVG = "http://www.w3.org/2000/svg"
MEDIA_FRAGMENTS = "http://www.w3.org/TR/media-frags/"


@dataclass(frozen=True, slots=True)
class Told:
    """One version of markup, a UUID, and who drew it."""

    id: str
    author: str
    made: datetime
    drawing: Drawing


def named_by_content(sha256: str) -> str:
    """A name for bytes by their hash. Source: RFC 6920, section 3 (ni, sha-256 in base64url without padding)."""
    return "ni:///sha-256;" + base64.urlsafe_b64encode(bytes.fromhex(sha256)).rstrip(b"=").decode("ascii")


def page(sha256: str, kind: str, versions: Sequence[Told], *, words: Callable[[Mark], str]) -> dict[str, Any]:
    """All marks of some versions of markup on one photograph as one AnnotationPage.

    Parameters
    ----------
    sha256, kind : str
        Of the original: its hash in hexadecimal digits, and its media type.
    versions : sequence of Told
        Those that stand, of whoever drew.
    words : callable
        What a mark shows, for its body.

    Notes
    -----
    Coordinates are pixels of the upright original, which is the target's source, named by its content; the photograph
    itself holds nothing of this. Source: W3C Web Annotation Data Model, Recommendation of 23 February 2017, sections
    3.1 (annotations), 3.2.4 (embedded text), 4.2.1 and 4.2.7 (fragment and SVG selectors), 5 (collections and pages).
    """
    source = {"id": named_by_content(sha256), "type": "Image", "format": kind}
    items = [_annotation(source, told, mark, words(mark)) for told in versions for mark in told.drawing.marks]
    whole = f"{source['id']}#markup"
    return {
        "@context": CONTEXT,
        "id": f"{whole}-1",
        "type": "AnnotationPage",
        "partOf": {"id": whole, "type": "AnnotationCollection", "label": "Markup", "total": len(items)},
        "startIndex": 0,
        "items": items,
    }


def _annotation(source: Mapping[str, str], told: Told, mark: Mark, words: str) -> dict[str, Any]:
    bodies = [_text(words, "tagging")]
    if mark.note:
        bodies.append(_text(mark.note, "describing"))
    scale = told.drawing.scale
    if scale:
        bodies.append(_text(f"Scale: {scale.mm_per_pixel:.6g} mm to a pixel", "describing"))
    return {
        "id": f"urn:uuid:{mark.id}",
        "type": "Annotation",
        "motivation": "describing",
        "creator": {"type": "Person", "name": told.author},
        "created": f"{told.made.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}",
        "body": bodies,
        "target": {"source": dict(source), "selector": _selector(told.drawing, mark)},
    }


def _text(value: str, purpose: str) -> dict[str, str]:
    return {"type": "TextualBody", "value": value, "format": "text/plain", "language": "en-GB", "purpose": purpose}


def _selector(drawing: Drawing, mark: Mark) -> dict[str, str]:
    if mark.shape == "point":
        x, y = (int(each) for each in mark.points[0])
        x, y = min(x, drawing.width - 1), min(y, drawing.height - 1)
        return {"type": "FragmentSelector", "conformsTo": MEDIA_FRAGMENTS, "value": f"xywh=pixel:{x},{y},1,1"}
    points = " ".join(f"{x:.10g},{y:.10g}" for x, y in mark.points)
    shape = f'<polyline fill="none" points="{points}"/>' if mark.shape == "line" else f'<polygon points="{points}"/>'
    box = f'viewBox="0 0 {drawing.width} {drawing.height}"'
    return {"type": "SvgSelector", "value": f'<svg xmlns="{SVG}" {box}>{shape}</svg>'}
