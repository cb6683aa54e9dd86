"""The sprite holds every symbol that a page asks for."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

from media.base.navigation import WAYS
from media.templatetags import fettle

ROOT = Path(__file__).resolve().parents[3]
SPRITE = ROOT / "media/static/media/symbols.svg"
SVG = "{http://www.w3.org/2000/svg}"
NAMED = re.compile(r"""\{%\s*(?:symbol|empty_state)\s+["']([\w-]+)["']""")


def known() -> set[str]:
    return {symbol.attrib["id"] for symbol in ElementTree.parse(SPRITE).getroot().iter(f"{SVG}symbol")}  # noqa: S314  # our own file


def templates() -> list[Path]:
    return [page for app in ("media", "survey", "treatments", "tests") for page in (ROOT / app).rglob("*.html")]


def test_a_name_in_a_template_is_found_by_the_search():
    assert NAMED.findall("{% symbol 'print' %}{% symbol \"no-such\" \"Word\" %}{% empty_state 'survey' 'x' %}") == [
        "print",
        "no-such",
        "survey",
    ]


@pytest.mark.parametrize("page", templates(), ids=lambda page: str(page.relative_to(ROOT)))
def test_every_symbol_that_a_template_names_exists(page):
    assert set(NAMED.findall(page.read_text())) <= known()


def test_every_symbol_that_code_names_exists():
    names = {symbol for _, _, symbol in WAYS}
    names |= {fettle.stage(state)["name"] for state in (None, 0, 1, 2, 3, 4)}
    names |= {fettle.grade(number)["name"] for number in (1, 2, 3, 4)}
    names |= {f"certainty-{level}" for level in fettle.CERTAINTIES}
    mark = {"name": "PT 1", "seen": True}
    for extra in ({}, {"seen": False}, {"stage": 4}, {"misplaced": True}, {"do_not_lift": True}):
        names |= {drawn["shape"] for drawn in fettle.shelf_row("Shelf", [mark | extra])["marks"]}
    assert names <= known()


def test_symbols_are_plain_drawings():
    """Nothing that a content policy would stop, and no colour of their own: they take the ink of the words beside."""
    text = SPRITE.read_text()
    assert not re.search(r"<style|style=|<script|\son\w+=|href=|<image", text)
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', text)) <= {"none", "currentColor", "var(--symbol-ground, #fff)"}


def test_no_two_stages_or_grades_are_drawn_alike():
    shapes = {
        symbol.attrib["id"]: ElementTree.tostring(symbol).decode().split(">", 1)[1]
        for symbol in ElementTree.parse(SPRITE).getroot().iter(f"{SVG}symbol")  # noqa: S314  # our own file
    }
    assert len(set(shapes.values())) == len(shapes)


def test_the_sprite_and_the_mark_are_served():
    assert finders.find("media/symbols.svg") and finders.find("media/mark.svg")
