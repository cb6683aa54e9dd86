"""Drawing sheets of labels as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import segno
from fpdf import FPDF

from survey.register.labels import PAPERS, SIZES, Label, Sheet, pages, said_by

POINT = 25.4 / 72  # millimetres
QUIET = 4  # modules left white around a square: ISO/IEC 18004, 5.3.8
SIZES_OF_TYPE = {"small": (13.0, 7.5), "middle": (18.0, 10.0), "large": (28.0, 14.0)}
"""Points: the number at most, and the words."""
LEAST = 6.0  # points; what does not fit then is cut
WARNED = "Do not lift"


@dataclass(frozen=True, slots=True)
class Fonts:
    """Files of the letters, upright and bold."""

    plain: str
    bold: str


def draw(labels: Sequence[Label], sheet: Sheet, fonts: Fonts, *, made: datetime) -> bytes:
    """Sheets as a PDF. Hairlines say where to cut; nothing but black, so that any printer will do.

    Parameters
    ----------
    labels : sequence of Label
        In the order in which they are to come.
    made : datetime
        When; a sign that says what must not be lifted says as of which day.
    """
    pdf = FPDF(unit="mm", format=PAPERS[sheet.paper])
    pdf.set_auto_page_break(False)
    pdf.set_creation_date(made)
    pdf.set_title("Labels")
    pdf.set_lang("en-GB")
    pdf.add_font("label", "", fonts.plain)
    pdf.add_font("label", "B", fonts.bold)
    for page in pages(labels, sheet):
        pdf.add_page()
        for label, (x, y) in page:
            _label(pdf, label, x, y, sheet, made.date())
    return bytes(pdf.output())


def _label(pdf: FPDF, label: Label, x: float, y: float, sheet: Sheet, day: date) -> None:
    width, height = SIZES[sheet.size]
    pdf.set_draw_color(150)
    pdf.set_line_width(0.1)
    pdf.rect(x, y, width, height)
    pad = height * 0.06
    square = min(height - 2 * pad, width * 0.45)
    _square(pdf, said_by(label.id), x + pad, y + (height - square) / 2, square)
    left, room = x + 2 * pad + square, width - square - 3 * pad
    number, words = SIZES_OF_TYPE[sheet.size]
    at = _line(pdf, label.number, left, y + pad, room, number, bold=True)
    bottom = y + height - pad
    if label.do_not_lift:
        bottom = _warning(pdf, left, bottom, room, words, day)
    for text in (label.name, label.where):
        at = _lines(pdf, text, left, at, room, words, bottom)


def _square(pdf: FPDF, said: str, x: float, y: float, side: float) -> None:
    """A QR code of level M with its quiet zone, in vectors: sharp on any printer."""
    rows = segno.make(said, error="m", micro=False).matrix
    step = side / (len(rows) + 2 * QUIET)
    pdf.set_fill_color(0)
    for i, row in enumerate(rows):
        start = None
        for j, dark in enumerate([*row, 0]):
            if dark and start is None:
                start = j
            elif not dark and start is not None:
                # A hair wider and higher than the module, so that neighbours leave no white line between them.
                pdf.rect(x + (QUIET + start) * step, y + (QUIET + i) * step, (j - start) * step, step * 1.02, style="F")
                start = None


def _fit(pdf: FPDF, text: str, room: float, size: float) -> tuple[str, float]:
    """The text and the largest size up to ``size`` at which it fits; cut with an ellipsis where none does."""
    while size > LEAST:
        pdf.set_font_size(size)
        if pdf.get_string_width(text) <= room:
            return text, size
        size -= 0.5
    pdf.set_font_size(LEAST)
    while text and pdf.get_string_width(text + "…") > room:
        text = text[:-1]
    return text + "…", LEAST


def _line(pdf: FPDF, text: str, x: float, y: float, room: float, size: float, *, bold: bool = False) -> float:
    """One line of text; where the next begins."""
    pdf.set_font("label", "B" if bold else "")
    shown, fits = _fit(pdf, _plain(text), room, size)
    height = fits * POINT * 1.2
    pdf.text(x, y + height * 0.8, shown)
    return y + height


def _lines(pdf: FPDF, text: str, x: float, y: float, room: float, size: float, bottom: float) -> float:
    """Text in as many lines as there is height for, broken between words; where the next begins."""
    pdf.set_font("label", "", size)
    height, words = size * POINT * 1.2, _plain(text).split()
    while words and y + height <= bottom:
        count = 1
        while count < len(words) and pdf.get_string_width(" ".join(words[: count + 1])) <= room:
            count += 1
        last = y + 2 * height > bottom
        shown = " ".join(words if last else words[:count])
        words = [] if last else words[count:]
        if last or pdf.get_string_width(shown) > room:
            shown = _cut(pdf, shown, room)
        pdf.text(x, y + height * 0.8, shown)
        y += height
    return y


def _cut(pdf: FPDF, text: str, room: float) -> str:
    if pdf.get_string_width(text) <= room:
        return text
    while text and pdf.get_string_width(text + "…") > room:
        text = text[:-1]
    return text.rstrip() + "…"


def _warning(pdf: FPDF, x: float, bottom: float, room: float, size: float, day: date) -> float:
    """The words in a heavy frame at the foot of a label, with the day; where it begins."""
    small, inset = max(LEAST, size * 0.7), size * POINT * 0.35
    height = (size + small) * POINT * 1.2 + 2 * inset
    top = bottom - height
    pdf.set_draw_color(0)
    pdf.set_line_width(size * POINT * 0.18)
    pdf.rect(x, top, room, height)
    side = height - 2 * inset
    _barred_hand(pdf, x + inset, top + inset, side)
    left, inner = x + 2 * inset + side, room - side - 3 * inset
    at = _line(pdf, WARNED, left, top + inset, inner, size, bold=True)
    _line(pdf, f"{day.day} {day:%b %Y}", left, at, inner, small)
    return top - inset


def _barred_hand(pdf: FPDF, x: float, y: float, side: float) -> None:
    """A hand under a pot, barred: the sign of the pages, in strokes on a square of 48."""
    unit = side / 48
    pdf.set_line_width(3 * unit)
    for stroke in (POT, HAND, PALM):
        points = [(x + a * unit, y + b * unit) for a, b in stroke]
        pdf.polyline(points)
    (a, b), (c, d) = BAR
    for shade, width in ((255, 8.5), (0, 4.5)):
        pdf.set_draw_color(shade)
        pdf.set_line_width(width * unit)
        pdf.line(x + a * unit, y + b * unit, x + c * unit, y + d * unit)


def _plain(text: str) -> str:
    """Without what no line can hold: breaks, and signs beyond the font's plane."""
    return "".join(letter for letter in " ".join(text.split()) if letter.isprintable() and ord(letter) < 0x10000)


POT = ((19, 5), (29, 5), (27.5, 5), (30, 9), (33, 12.5), (34, 17.5), (32.5, 23.5), (28.5, 28), (19.5, 28), (15.5, 23.5),
       (14, 17.5), (15, 12.5), (18, 9), (20.5, 5))  # fmt: skip
HAND = ((5, 27.5), (9, 33), (16, 35.5), (20, 36))
PALM = ((2, 31.5), (8, 39), (18, 42), (30, 42), (39, 38), (46, 30.5), (43, 29), (39, 30.5), (34.5, 35), (23, 35))
BAR = ((6, 44), (42, 4))
