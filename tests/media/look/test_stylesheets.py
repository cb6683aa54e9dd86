"""House rules of the stylesheets, each tried on a bad example first."""

from __future__ import annotations

import gzip
import re
from itertools import product
from pathlib import Path

import pytest

MEDIA = Path(__file__).resolve().parents[3] / "media"
SHEETS = sorted((MEDIA / "static/media/css").glob("*.css"))
SIDES = re.compile(
    r"(?<![\w-])(?:(?:margin|padding|border|inset|scroll-margin|scroll-padding)-(?:left|right|top|bottom)[\w-]*"
    r"|(?:min-|max-)?(?:width|height)|left|right|top|bottom|overflow-[xy]"
    r"|border-(?:top|bottom)-(?:left|right)-radius)\s*:"
)
SIDED_VALUES = re.compile(r"(?:text-align|float|clear)\s*:\s*(?:left|right)")


def declarations(css: str) -> str:
    """The sheet without comments and without the conditions of its media and container queries."""
    return re.sub(r"@(?:media|container|supports)[^{]*", "", re.sub(r"/\*.*?\*/", "", css, flags=re.S))


def physical(css: str) -> list[str]:
    return SIDES.findall(declarations(css)) + SIDED_VALUES.findall(declarations(css))


def loud(css: str) -> int:
    """Uses of !important outside print."""
    return 0 if "@layer print" in css and "@media print" in css else css.count("!important")


@pytest.mark.parametrize(
    "bad",
    [
        "a { margin-left: 1px }",
        "a { padding-top: 1px }",
        "a { left: 0 }",
        "a { width: 3rem }",
        "a { max-height: 3rem }",
        "a { text-align: right }",
        "a { border-top-left-radius: 1px }",
        "a { overflow-x: auto }",
        "a{border-bottom:1px solid}",
    ],
)
def test_the_rule_against_sides_catches(bad):
    assert physical(bad)


@pytest.mark.parametrize(
    "good", ["a { margin-inline-start: 1px; inset-block-end: 0 }", "@media (max-width: 3rem) { a { color: red } }"]
)
def test_the_rule_against_sides_lets_pass(good):
    assert not physical(good)


def test_the_rule_against_loudness_catches():
    assert loud("a { color: red !important }")
    assert not loud("@layer print { @media print { a { color: #000 !important } } }")


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_a_sheet_keeps_the_house_rules(sheet):
    css = sheet.read_text()
    assert physical(css) == []
    assert loud(css) == 0
    assert css.lstrip("/* ").count("@layer") >= 1
    assert "url(" not in css and "@import" not in css


def test_all_sheets_weigh_less_than_20_kb_compressed():
    """Budget for styles on the first page: 20 kB gzip."""
    assert sum(len(gzip.compress(sheet.read_bytes())) for sheet in SHEETS) < 20_000


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2 definition (W3C Recommendation, glossary)."""
    parts = colour.lstrip("#")
    parts = "".join(2 * digit for digit in parts) if len(parts) == 3 else parts
    channels = [int(parts[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def tokens(theme: str) -> dict[str, str]:
    """Colours of a theme: light, dark or dim."""
    css = (MEDIA / "static/media/css/fettle.css").read_text()
    pairs = re.findall(r"--([\w-]+): light-dark\((#\w+), (#\w+)\)", css)
    found = {name: light if theme == "light" else dark for name, light, dark in pairs}
    if theme == "dim":
        found |= dict(re.findall(r"--([\w-]+): (#\w+)", css.split('[data-theme="dim"] {')[-1].split("}")[0]))
    return found


def test_the_contrast_formula_against_published_values():
    """Black on white is 21:1 (WCAG 2.2); #767676, the lightest grey that passes on white, is 4.54:1 (from memory)."""
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("theme", ["light", "dark", "dim"])
def test_words_can_be_read(theme):
    """WCAG 2.2: text 4.5:1 (1.4.3), edges of controls 3:1 (1.4.11), what survey screens use 7:1 (1.4.6)."""
    colour = tokens(theme)
    grounds = ("ground", "sheet", "sunk")
    for ink, ground in product(("ink", "soft", "cobalt", "cobalt-deep", "alarm"), grounds):
        assert contrast(colour[ink], colour[ground]) >= 4.5, (ink, ground)
    for ground in (*grounds, "cobalt-wash", "alarm-wash"):
        assert contrast(colour["ink"], colour[ground]) >= 7, ground
    for ground in ("ground", "sheet"):
        assert contrast(colour["cobalt"], colour[ground]) >= 7, ground
        assert contrast(colour["edge"], colour[ground]) >= 3, ground
    assert contrast(colour["on-cobalt"], colour["cobalt"]) >= 7
    assert contrast(colour["alarm"], colour["alarm-wash"]) >= 4.5


def test_a_dim_room_meets_nothing_white():
    assert max(luminance(colour) for colour in tokens("dim").values()) < 0.65
