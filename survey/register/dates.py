"""Years out of the dates that registers write: "c. 1860", "18th century", "1880-1890", "206 BCE-220 CE".

Years before the common era are negative as historians count: -500 is 500 BCE and there is no year 0. "18th century" is
1700 to 1799 and "c. 1860" is 1855 to 1865; early, mid and late take the first, the middle two and the last quarter.
These are common practice in registers; the tests measure them against an open one. What is not understood gives no
years, never an error: the text itself is always kept.
"""

import datetime
import re
from functools import lru_cache
from typing import NamedTuple

CIRCA_YEARS = 5


class Years(NamedTuple):
    """First and last possible year; None where open or not known."""

    earliest: int | None = None
    latest: int | None = None


_ROMAN = {"I": 1, "V": 5, "X": 10}
_CE = r"B\.?\s?C\.?(?:\s?E\.?)?|C\.?E\.?|A\.?D\.?"
_ERA = rf"(?:\s*(?P<era>{_CE}|v\.\s?Chr\.|n\.\s?Chr\.)(?![a-z]))?"
_CIRCA = r"(?P<circa>\b(?:c|ca|circa|cca|um|vers|about|around|approximately|probably|possibly)\b\.?,?\s*)?"
_SPAN = (
    r"(?P<span>\b(?:early|mid|middle|late|(?:first|second|last|third|fourth|1st|2nd|3rd|4th)\s+(?:half|quarter))"
    r"(?:\s+of)?(?:\s+the)?[\s-]*)?"
)
_CENTURY = re.compile(
    _CIRCA + _SPAN + r"(?:(?P<number>\b\d{1,2})(?:st|nd|rd|th|\.)\s*(?:century|cent\.?|c\.|jahrhunderts?|jh\.?)"
    r"|(?P<roman>\b[IVX]{1,5})\s?(?:e|ème|°|º)?\s*(?:siècle|secolo|s\.)"
    r"|(?:siglo|secolo|sec\.)\s+(?P<latin>[IVX]{1,5})\b)" + _ERA,
    re.IGNORECASE,
)
_DECADE = re.compile(_CIRCA + _SPAN + r"\b(?P<decade>\d{3}0)['’]?s\b", re.IGNORECASE)
_YEARS = re.compile(
    _CIRCA + r"(?<![\d,])(?P<first>\d{1,4})(?![\d,]*\d)" + rf"(?:\s?(?P<first_era>{_CE})(?![a-z]))?"
    r"(?:\s*[-–—/]+\s*(?:c\.\s*|ca\.\s*)?(?P<second>\d{1,4})(?![\d,]*\d))?" + _ERA + r"(?P<doubt>\s?\?)?",
    re.IGNORECASE,
)
_OPEN_START = re.compile(r"\b(?:before|by|vor|avant|no later than|or earlier|or before)\b", re.IGNORECASE)
_OPEN_END = re.compile(r"\b(?:after|from|nach|après|no earlier than|or later|or after|since)\b", re.IGNORECASE)
_SHARED_CENTURY = re.compile(
    r"(\d{1,2}(?:st|nd|rd|th))"
    r"(?=\s*(?:-|–|to|or|and|/)\s*(?:early|mid|late)?[-\s]*\d{1,2}(?:st|nd|rd|th)[\s-]+centur)",
    re.IGNORECASE,
)
_SHARED_SPAN = re.compile(
    r"\b(early|mid|late)[\s-]*(?:-|to|–)+\s*(early|mid|late)[\s-]+(\d{1,2}(?:st|nd|rd|th)\s+century)", re.IGNORECASE
)
_SPANS = {"early": (0, 25), "mid": (25, 75), "middle": (25, 75), "late": (75, 99)}
_ORDER = {"first": 0, "1st": 0, "second": 1, "2nd": 1, "third": 2, "3rd": 2, "fourth": 3, "4th": 3, "last": -1}
_DAY = re.compile(
    r"(?P<month_first>\d{1,2})/(?:\d{1,2}/)?(?P<year>\d{4})(?!\d)"
    r"|(?P<iso>-?\d{4})-(?:0[1-9]|1[0-2])(?:-\d{2}(?:[T ].*)?)?"
    r"|(?P<dotted>\d{1,2}\.\s?\d{1,2}\.\s?\d{4})",
)


def parse_years(text: str) -> Years:
    """First and last year that a written date allows. Never raises.

    Examples
    --------
    >>> parse_years("c. 1860"), parse_years("18th century"), parse_years("undated")
    (Years(earliest=1855, latest=1865), Years(earliest=1700, latest=1799), Years(earliest=None, latest=None))
    """
    return _parse_years(" ".join(text[:300].split()))


@lru_cache(maxsize=20_000)
def _parse_years(written: str) -> Years:
    whole = _whole_date(written)
    if whole is not None:
        return Years(whole, whole)
    outside = re.sub(r"\([^()]*\)", " ", written)
    found = _intervals(outside) or _intervals(written)
    if not found:
        return Years()
    earliest, latest = min(low for low, _ in found), max(high for _, high in found)
    starts_open, ends_open = bool(_OPEN_START.search(written)), bool(_OPEN_END.search(written))
    if starts_open and not ends_open and len(found) == 1:
        return Years(None, latest)
    if ends_open and not starts_open and len(found) == 1:
        return Years(earliest, None)
    return Years(earliest, latest)


def parse_year(text: str) -> int | None:
    """The one year of a column that holds years or full dates ("1855-01-01", "-0500-01-01", "1855.0"); None if none."""
    written = text.strip()
    found = re.fullmatch(r"([+-]?\d{1,4})(?:\.0*|-\d{2}(?:-\d{2}(?:[T ].*)?)?)?", written)
    if found:
        return int(found[1]) or None
    years = parse_years(written)
    return years.earliest if years.earliest == years.latest else None


def parse_day(text: str) -> str | None:
    """A calendar date as ISO 8601, as exact as it was written ("1979", "1979-12", "1979-12-06"); None if in doubt.

    03/04/1979 is in doubt: it may be March or April.
    """
    written = text.strip()
    found = re.fullmatch(r"(\d{4})(?:-(\d{1,2})(?:-(\d{1,2})(?:[T ].*)?)?)?", written)
    if found:
        return _iso(found[1], found[2], found[3])
    found = re.fullmatch(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", written)
    if found:
        return _iso(found[3], found[2], found[1])
    found = re.fullmatch(r"(\d{1,2})/(\d{1,2})/(\d{4})", written)
    if found and (int(found[1]) > 12 or int(found[2]) > 12 or found[1] == found[2]):
        day, month = (found[1], found[2]) if int(found[1]) > 12 else (found[2], found[1])
        return _iso(found[3], month, day)
    for pattern in ("%d %B %Y", "%B %d, %Y", "%d %b %Y", "%b %d, %Y"):
        try:
            return datetime.datetime.strptime(written, pattern).date().isoformat()
        except ValueError:
            continue
    return None


def _iso(year: str, month: str | None, day: str | None) -> str | None:
    try:
        checked = datetime.date(int(year), int(month or 1), int(day or 1))
    except ValueError:
        return None
    return checked.isoformat()[: 10 if day else 7 if month else 4]


def _whole_date(written: str) -> int | None:
    found = _DAY.fullmatch(written)
    if found is None:
        return None
    return int(found["year"] or found["iso"] or found["dotted"][-4:]) or None


def _intervals(written: str) -> list[tuple[int, int]]:
    """Every century, decade and year in a text as an interval. Each is taken out before the next kind is looked for."""
    rest = _SHARED_SPAN.sub(r"\1 \3 - \2 \3", written)
    rest = _SHARED_CENTURY.sub(r"\1 century", rest)
    found: list[tuple[int, int]] = []
    centuries = list(_CENTURY.finditer(rest))
    era = next((m["era"] for m in reversed(centuries) if m["era"]), None)
    found += [_century(m, m["era"] or era) for m in centuries]
    rest = _CENTURY.sub(" ", rest)
    rest = re.sub(r"\b\d{1,2}(?:st|nd|rd|th)\b", " ", rest)
    rest = re.sub(r"\b((?:c\.?\s*)?\d{3}0)(?=\s*[-–]\s*\d{3}0s)", r"\1s", rest)
    found += [_decade(m) for m in _DECADE.finditer(rest)]
    rest = _DECADE.sub(" ", rest)
    alone = re.fullmatch(r"\D*\d{1,4}\D*|.*(?:BC|CE|AD).*", rest) is not None
    found += [pair for m in _YEARS.finditer(rest) if (pair := _year_pair(m, short_counts=alone))]
    return [(low, high) for low, high in found if low <= high]


def _century(found: re.Match[str], era: str | None) -> tuple[int, int]:
    number = int(found["number"]) if found["number"] else _roman(found["roman"] or found["latin"])
    number = min(max(number, 1), 30)
    low, high = _part_of(found["span"], 100)
    if _is_before(era):
        start = -number * 100
        return start + max(low, 1), min(start + high + 1, -1)
    start = (number - 1) * 100
    return max(start + low, 1), start + high


def _part_of(span: str | None, length: int) -> tuple[int, int]:
    """First and last year, counted from 0, of a part of a century or decade."""
    words = (span or "").casefold().replace("-", " ").split()
    if not words:
        return 0, length - 1
    if words[0] in _SPANS:
        low, high = _SPANS[words[0]]
        return low * length // 100, high * length // 100
    size = length // (2 if words[1] == "half" else 4)
    start = _ORDER[words[0]] * size if words[0] != "last" else length - size
    return min(start, length - size), min(start + size, length) - 1


def _roman(text: str) -> int:
    values = [_ROMAN[letter] for letter in text.upper()]
    return sum(-v if v < following else v for v, following in zip(values, [*values[1:], 0], strict=True))


def _decade(found: re.Match[str]) -> tuple[int, int]:
    start, slack = int(found["decade"]), CIRCA_YEARS if found["circa"] else 0
    low, high = _part_of(found["span"], 10)
    return start + low - slack, start + high + slack


def _year_pair(found: re.Match[str], *, short_counts: bool) -> tuple[int, int] | None:
    """A year or a range of years; numbers of one to three digits only where the text holds nothing else or an era."""
    first, second, era = found["first"], found["second"], found["era"]
    plainly = (short_counts and (era or len(first) == 3)) or (len(first) == 3 and len(second or "") >= 3)
    if len(first) < 4 and not found["first_era"] and not plainly:
        return None
    low = int(first)
    if _is_before(found["first_era"] or era):
        low = -low
    high = low
    if second:
        high = int(second)
        if len(second) < len(first) and low > 0 and len(second) == 2 and not era:
            high = low - low % 100 + high  # 1966-80
        elif _is_before(era):
            high = -high
    if low == 0 or high == 0 or high < low or max(abs(low), high) > 9999:
        return None if low == 0 else (low, low)
    slack = CIRCA_YEARS if found["circa"] or found["doubt"] else 0
    return _step(low, -slack), _step(high, slack)


def _step(year: int, by: int) -> int:
    """Move along the years; there is no year 0."""
    moved = year + by
    return moved + (1 if by > 0 else -1) if (year < 0) != (moved < 0) or moved == 0 else moved


def _is_before(era: str | None) -> bool:
    return (era or "").casefold().startswith(("b", "v"))
