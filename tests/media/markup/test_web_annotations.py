"""Markup given away as W3C Web Annotations, held against what the Recommendation requires."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import uuid
import xml.etree.ElementTree as ElementTree
from datetime import datetime, timedelta, timezone

import pytest

from media.markup import geometry, web_annotation
from media.markup.web_annotation import Told
from tests.media.markup.test_measuring_shapes import SCALE, a_drawing, a_mark

NAME = hashlib.sha256(b"a photograph").hexdigest()
IRI = re.compile(r"[a-z][a-z0-9+.-]*:\S+")
SVG = "{http://www.w3.org/2000/svg}"
SQUARE = ((0, 0), (9, 0), (9, 9), (0, 9))


def a_page(*marks, scale=None) -> dict:
    made = datetime(2026, 3, 2, 10, tzinfo=timezone(timedelta(hours=1)))
    versions = [Told(str(uuid.uuid4()), "Ana", made, geometry.read(a_drawing(*marks, scale=scale)))]
    return web_annotation.page(NAME, "image/jpeg", versions, words=lambda mark: mark.term)


def lacking(page: dict) -> list[str]:
    """What the Web Annotation Data Model (W3C Recommendation, 23 February 2017) requires and this lacks, by section."""
    found = []

    def must(holds: bool, what: str) -> None:
        if not holds:
            found.append(what)

    must(page.get("@context") == "http://www.w3.org/ns/anno.jsonld", "5.2: a page has the context")
    must(page.get("type") == "AnnotationPage", "5.2: a page has the class AnnotationPage")
    must(bool(IRI.fullmatch(page.get("id", ""))), "5.2: a page has exactly one IRI")
    must(isinstance(page.get("items"), list), "5.2: a page holds its annotations as an ordered list")
    must(isinstance(page.get("startIndex"), int) and page["startIndex"] >= 0, "5.2: startIndex is a number from 0")
    whole = page.get("partOf", {})
    must(bool(IRI.fullmatch(whole.get("id", ""))), "5.1: a collection has exactly one IRI")
    must("AnnotationCollection" in whole.get("type", ""), "5.1: a collection has its class")
    must(isinstance(whole.get("total"), int), "5.1: total is a number")
    for each in page.get("items", []):
        must(bool(IRI.fullmatch(each.get("id", ""))), "3.1: an annotation has exactly one IRI")
        must(each.get("type") == "Annotation", "3.1: an annotation has the class Annotation")
        must("target" in each, "3.1: an annotation has a target")
        created = each.get("created", "")
        must(bool(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", created)), "3.3.1: created is xsd:dateTime in UTC")
        must(each.get("creator", {}).get("type") in {"Person", "Organization", "Software"}, "3.3.2: who made it")
        must(each.get("motivation") in MOTIVATIONS, "3.3.5: a motivation of the model")
        for body in each.get("body", []):
            must(body.get("type") == "TextualBody", "3.2.4: the class TextualBody")
            must(isinstance(body.get("value"), str), "3.2.4: exactly one value")
            must(body.get("purpose") in MOTIVATIONS, "3.3.5: a purpose of the model")
        target = each.get("target", {})
        must(bool(IRI.fullmatch(target.get("source", {}).get("id", ""))), "4: exactly one source with an IRI")
        must(target["source"].get("type") == "Image", "3.2.2: the class of an external resource")
        selector = target.get("selector", {})
        must(selector.get("type") in {"SvgSelector", "FragmentSelector"}, "4.2: a class of selector")
        must(isinstance(selector.get("value"), str), "4.2.1, 4.2.7: exactly one value")
        if selector.get("type") == "FragmentSelector":
            must(
                selector.get("conformsTo") == "http://www.w3.org/TR/media-frags/", "4.2.1: what a fragment conforms to"
            )
    return found


MOTIVATIONS = {
    "assessing", "bookmarking", "classifying", "commenting", "describing", "editing", "highlighting", "identifying",
    "linking", "moderating", "questioning", "replying", "tagging",
}  # fmt: skip


def test_every_required_field_is_there():
    page = a_page(a_mark(note="lifting"), a_mark("area", SQUARE, term="fill"), a_mark("point", ((3, 4),)), scale=SCALE)
    assert lacking(json.loads(json.dumps(page))) == []
    assert page["partOf"]["total"] == len(page["items"]) == 3
    assert page["items"][0]["created"] == "2026-03-02T09:00:00Z"


@pytest.mark.parametrize("name", ["@context", "id", "type", "items", "startIndex", "partOf"])
def test_the_check_finds_what_is_missing(name):
    page = a_page(a_mark())
    del page[name]
    assert lacking(page)


def test_the_drawing_can_be_drawn_again_from_the_selector():
    line, outline = ((10, 10), (110.25, 10)), SQUARE
    page = a_page(a_mark(points=line), a_mark("area", outline), a_mark("point", ((400, 300),)))
    kept = []
    for item in page["items"][:2]:
        drawing = ElementTree.fromstring(item["target"]["selector"]["value"])  # noqa: S314 our own
        assert drawing.tag == f"{SVG}svg" and drawing.attrib["viewBox"] == "0 0 400 300"
        (shape,) = drawing
        kept.append((shape.tag, [tuple(map(float, pair.split(","))) for pair in shape.attrib["points"].split()]))
    assert kept == [(f"{SVG}polyline", list(line)), (f"{SVG}polygon", list(outline))]
    # A point at the far edge names the last pixel: media fragments count pixels within the picture (section 4.2.2).
    assert page["items"][2]["target"]["selector"]["value"] == "xywh=pixel:399,299,1,1"


def test_the_source_is_named_by_the_bytes():
    """RFC 6920, section 9.1 gives this name for the hash of "Hello World!"."""
    name = hashlib.sha256(b"Hello World!").hexdigest()
    assert web_annotation.named_by_content(name) == "ni:///sha-256;f4OxZX_x_FO5LcGBSKHWXfwtSx-j1ncoSt3SABJtkGk"
    back = a_page(a_mark())["items"][0]["target"]["source"]["id"].removeprefix("ni:///sha-256;")
    assert base64.urlsafe_b64decode(back + "=").hex() == NAME


def test_nothing_drawn_is_an_empty_page():
    page = web_annotation.page(NAME, "image/jpeg", [], words=str)
    assert lacking(page) == [] and page["items"] == []
    assert page["partOf"]["total"] == 0
