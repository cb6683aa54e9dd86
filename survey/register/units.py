"""Sizes and weights as registers write them, to millimetres and kilograms.

Exact factors: international inch 25.4 mm, foot 304.8 mm, pound 0.45359237 kg (NIST Special Publication 811,
appendix B.8); the ounce is 1/16 pound.
"""

import re
import unicodedata
from fractions import Fraction
from functools import lru_cache

LENGTHS: dict[str, Fraction] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": Fraction(254, 10),
    "ft": Fraction(3048, 10),
}
"""Unit to millimetres."""
WEIGHTS: dict[str, Fraction] = {
    "g": Fraction(1, 1000),
    "kg": Fraction(1),
    "lb": Fraction(45359237, 100_000_000),
    "oz": Fraction(45359237, 1_600_000_000),
}
"""Unit to kilograms."""
LONGEST_MM = 20_000.0
HEAVIEST_KG = 20_000.0

_WORDS: dict[str, str] = {
    **dict.fromkeys(("mm", "millimetre", "millimeter", "millimetres", "millimeters"), "mm"),
    **dict.fromkeys(("cm", "cms", "centimetre", "centimeter", "centimetres", "centimeters", "zentimeter"), "cm"),
    **dict.fromkeys(("m", "metre", "meter", "metres", "meters"), "m"),
    **dict.fromkeys(("in", "ins", "inch", "inches", "zoll", '"', "″", "”", "''"), "in"),
    **dict.fromkeys(("ft", "foot", "feet", "'", "′", "’"), "ft"),
    **dict.fromkeys(("g", "gr", "gram", "grams", "gramm", "grammes"), "g"),
    **dict.fromkeys(("kg", "kgs", "kilo", "kilogram", "kilograms", "kilogramm"), "kg"),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), "lb"),
    **dict.fromkeys(("oz", "ounce", "ounces"), "oz"),
}
_NOT_RECORDED = re.compile(r"[-–—.?]*|n/?a|n/?k|none|null|nil|unknown|not (?:recorded|known|measured)", re.IGNORECASE)
_NUMBER = r"(?:\d+(?:[.,'\u2019]\d+| \d{3}(?![\d/]))*|[.,]\d+)[.,]?"
_SIZE = re.compile(
    r"(?:(?:c|ca|circa|approx|about)\.?\s*|~\s*)?"
    r"(?P<sign>[-−+]?)\s*"
    rf"(?:(?P<number>{_NUMBER})(?:(?:\s+|\s*-\s*)(?P<mixed>\d+\s*/\s*\d+))?|(?P<fraction>\d+\s*/\s*\d+))"
    r"\s*(?P<unit>[a-z\"″”'′’]*)\.?",
    re.IGNORECASE,
)
_FEET_INCHES = re.compile(
    r"(\d+)\s*(?:'|′|’|ft\.?|feet|foot)\s*(\d.*?)\s*(?:\"|″|”|''|in\.?|ins\.?|inch|inches)", re.IGNORECASE
)


def unit_in(text: str, units: dict[str, Fraction] = LENGTHS) -> str | None:
    """The unit that a heading names, as in "item_height (in)" or "Breite [cm]"; None if none or several.

    Examples
    --------
    >>> unit_in("item_height (in)"), unit_in("Height"), unit_in("HeightCm")
    ('in', None, 'cm')
    """
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    found = {_WORDS[word] for word in re.findall(r"[a-z]+|\"|″", apart.casefold()) if word in _WORDS}
    named = found & units.keys()
    return named.pop() if len(named) == 1 else None


def parse_length(
    text: str, unit: str | None, *, zero_is_missing: bool = False, decimal: str | None = None
) -> float | None:
    """A size in millimetres, or None where none was recorded.

    Parameters
    ----------
    text : str
        As written: "13 5/8", "12,5 cm", "5' 3\\"". A unit in the text goes before the column's.
    unit : str or None
        Unit of the column, a key of `LENGTHS`.
    zero_is_missing : bool
        Whether the register writes 0 for "not recorded".
    decimal : "." or "," or None
        The column's decimal mark. None: told from each value, and refused where it could be either ("1,234").

    Returns
    -------
    float or None
        Millimetres, to the nearest micrometre.

    Raises
    ------
    ValueError
        What is wrong with the value, and what to write instead.

    Examples
    --------
    >>> parse_length("13 5/8", "in"), parse_length("12,5 cm", None), parse_length("0.0", "in", zero_is_missing=True)
    (346.075, 125.0, None)
    """
    return _parse(_bounded(text), unit, zero_is_missing, decimal, False)


def parse_weight(
    text: str, unit: str | None, *, zero_is_missing: bool = False, decimal: str | None = None
) -> float | None:
    """A weight in kilograms, or None where none was recorded. Arguments and errors as for `parse_length`."""
    return _parse(_bounded(text), unit, zero_is_missing, decimal, True)


def _bounded(text: str) -> str:
    """Refuse what is too long for a size before it is taken apart, and before it is kept among those seen."""
    if len(text) > 200:
        raise ValueError(f"“{_short(text)}” is not one size. Write one number, as 12.5 or 13 5/8")
    return text


@lru_cache(maxsize=20_000)
def _parse(text: str, unit: str | None, zero_is_missing: bool, decimal: str | None, weight: bool) -> float | None:
    units, most, base = (WEIGHTS, HEAVIEST_KG, "kg") if weight else (LENGTHS, LONGEST_MM, "mm")
    if unit is not None and unit not in units:
        raise ValueError(f"unit must be one of {', '.join(units)}")
    written = _fractions_apart(text)
    if _NOT_RECORDED.fullmatch(written):
        return None
    value = _in_base(written, unit, units, decimal)
    shown = _short(text.strip())
    if value < 0:
        raise ValueError(f"“{shown}” is negative. Correct it or leave it empty")
    if value == 0:
        if zero_is_missing:
            return None
        raise ValueError(f"“{shown}” is no size. Leave it empty, or say that 0 means “not recorded” here")
    if value > most:
        raise ValueError(f"“{shown}” is more than {most:,.0f} {base}. Check the number and the unit of the column")
    rounded = round(float(value), 6 if weight else 3)
    if rounded <= 0:
        raise ValueError(f"“{shown}” is too small to be true. Check the number and the unit of the column")
    return rounded


def _fractions_apart(text: str) -> str:
    """Characters like ⅝ written out, with a space before, and one kind of space."""
    spread = "".join(f" {c}" if "VULGAR FRACTION" in unicodedata.name(c, "") else c for c in text)
    return " ".join(unicodedata.normalize("NFKC", spread).replace("⁄", "/").split())


def _in_base(written: str, unit: str | None, units: dict[str, Fraction], decimal: str | None) -> Fraction:
    if units is LENGTHS and (both := _FEET_INCHES.fullmatch(written)):
        return int(both[1]) * LENGTHS["ft"] + _in_base(both[2], "in", units, decimal)
    found = _SIZE.fullmatch(written)
    if found is None or not (found["number"] or found["fraction"]):
        raise ValueError(f"“{_short(written)}” is not one size. Write one number, as 12.5 or 13 5/8")
    value = sum(
        (_fraction(part) for part in (found["mixed"], found["fraction"]) if part),
        _decimal(found["number"], decimal) if found["number"] else Fraction(0),
    )
    if found["unit"]:
        word = found["unit"].casefold()
        if _WORDS.get(word) not in units:
            raise ValueError(f"“{_short(written)}” has a unit that is not known. Use one of {', '.join(units)}")
        unit = _WORDS[word]
    if unit is None:
        raise ValueError(f"“{_short(written)}” has no unit. Say which unit this column is in")
    return value * units[unit] * (-1 if found["sign"] in ("-", "−") else 1)


def _short(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:57]}…"


def _fraction(text: str) -> Fraction:
    above, below = (int(part) for part in text.split("/"))
    if below == 0 or above >= below * 100 or below > 1000:
        raise ValueError(f"“{_short(text)}” is no fraction of a unit. Write it as 12.5 or 13 5/8")
    return Fraction(above, below)


def _decimal(text: str, decimal: str | None) -> Fraction:
    """A number with point or comma; thousands may be set apart by the other of the two, a space or an apostrophe."""
    bare = re.sub(r"[' ’]", "", text)
    if len(bare) > 30:
        raise ValueError(f"“{_short(text)}” has too many digits. Write one number, as 12.5")
    marks = [c for c in bare if c in ".,"]
    if decimal is None and marks:
        decimal = _decimal_mark(bare, marks)
    thousands = "," if decimal == "." else "."
    whole, _, part = bare.partition(decimal) if decimal else (bare, "", "")
    grouped = re.fullmatch(rf"\d*|\d{{1,3}}(?:{re.escape(thousands)}\d{{3}})+", whole)
    if not grouped or not re.fullmatch(r"\d*", part) or not (whole or part):
        raise ValueError(f"“{_short(text)}” is not one number. Write it as 12.5 or 13 5/8")
    return Fraction(f"{whole.replace(thousands, '') or '0'}.{part or '0'}")


def _decimal_mark(bare: str, marks: list[str]) -> str:
    last = marks[-1]
    if len(set(marks)) == 2:
        return last
    if len(marks) > 1:
        return "." if last == "," else ","
    if last == "," and re.fullmatch(r"[1-9]\d{0,2},\d{3}", bare):
        raise ValueError(f"“{bare}” may be a thousand or less. Say whether the comma is the decimal mark here")
    return last


def decimal_mark_of(texts: list[str]) -> str | None:
    """The decimal mark that a column's values leave no doubt about; None where they do not tell."""
    found = (re.search(r"\d([.,])(?:\d{1,2}|\d{4,})(?!\d)", text) for text in texts)
    marks = {mark[1] for mark in found if mark is not None}
    return marks.pop() if len(marks) == 1 else None
