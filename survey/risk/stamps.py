"""Dates and times of day as loggers write them, to seconds; each text is worked out once."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from itertools import pairwise
from typing import Literal

Order = Literal["ymd", "dmy", "mdy"]
ORDERS: dict[Order, str] = {"ymd": "year, month, day", "dmy": "day, month, year", "mdy": "month, day, year"}
DAY = 86_400
FIRST_YEAR, LAST_YEAR = 1950, 2100
_EPOCH = date(1970, 1, 1).toordinal()
_DATE = re.compile(r"(\d{1,4})[-./ ](\d{1,2})[-./ ](\d{1,4})\.?")
_WITH_NAME = re.compile(
    r"(?:(\d{1,2})\.?[-/ ]([a-z]{3,9})\.?|([a-z]{3,9})\.?[-/ ](\d{1,2}),?)[-/ ,]*(\d{2,4})", re.IGNORECASE
)
_CLOCK = re.compile(
    r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?\s*(?:([ap])\.?m\.?)?\s*(?:z|utc|gmt|[+-]\d{2}:?\d{2})?", re.IGNORECASE
)
_MONTHS = {name: n for n, name in enumerate(
    ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"), start=1)}  # fmt: skip


class Clock:
    """Reads the stamps of one file, whose order of day and month is known."""

    def __init__(self, order: Order) -> None:
        if order not in ORDERS:
            raise ValueError(f"order must be one of {', '.join(ORDERS)}")
        self.order = order
        self.between = " "
        self.dates: dict[str, int] = {}
        self.clocks: dict[str, int] = {}

    def seconds(self, stamp: str) -> int:
        """Seconds since 1970 of a stamp that holds date and time of day. Raises ``ValueError``."""
        day, _, clock = stamp.partition(self.between)
        try:
            return self.dates[day] + self.clocks[clock]
        except KeyError:
            return self._first_met(stamp)

    def _first_met(self, stamp: str) -> int:
        """A stamp whose date or time of day has not been met yet, or stands in another way than those before."""
        self.between = "T" if stamp[10:11] == "T" else " "
        day, found, clock = stamp.partition(self.between)
        if not found or ":" not in clock or not day[:1].isdigit() or len(day) < 6:
            day, clock = _apart(stamp)
        return self.day(day) + self.clock(clock)

    def day(self, text: str) -> int:
        """Seconds since 1970 at which a written day begins. Raises ``ValueError``."""
        found = self.dates.get(text)
        if found is None:
            found = self.dates[text] = (read_date(text, self.order).toordinal() - _EPOCH) * DAY
        return found

    def clock(self, text: str) -> int:
        """Seconds since midnight of a written time of day. Raises ``ValueError``."""
        found = self.clocks.get(text)
        if found is None:
            found = read_clock(text)
            if len(self.clocks) < 2 * DAY:
                self.clocks[text] = found
        return found


def _apart(stamp: str) -> tuple[str, str]:
    """Date and time of day of a stamp, where blanks are in both."""
    found = re.search(r"\d{1,2}:\d{2}", stamp)
    if found is None:
        raise ValueError(f"“{stamp[:40]}” holds no date with a time of day")
    return stamp[: found.start()].replace("T", " ").strip(" ,"), stamp[found.start() :].strip()


def read_date(text: str, order: Order) -> date:
    """A written day. Raises ``ValueError`` in one line."""
    bare = text.strip()
    if found := _DATE.fullmatch(bare):
        year, month, day = _numbers(found, order)
    elif found := _WITH_NAME.fullmatch(bare):
        name = (found[2] or found[3]).lower()[:3]
        year, month, day = int(found[5]), _MONTHS.get(name, 0), int(found[1] or found[4])
    else:
        raise ValueError(f"“{bare[:40]}” is no date")
    if year < 100:
        year += 1900 if year >= 70 else 2000
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise ValueError(f"“{bare[:40]}” is not of a year from {FIRST_YEAR} to {LAST_YEAR}")
    try:
        return date(year, month, day)
    except ValueError:
        raise ValueError(f"“{bare[:40]}” is no day as {ORDERS[order]}") from None


def _numbers(found: re.Match[str], order: Order) -> tuple[int, int, int]:
    """Year, month, day; a first number of four digits is the year whatever the order."""
    one, two, three = int(found[1]), int(found[2]), int(found[3])
    if len(found[1]) == 4 or order == "ymd":
        return one, two, three
    return (three, two, one) if order == "dmy" else (three, one, two)


def read_clock(text: str) -> int:
    """Seconds since midnight of a written time of day; an offset from universal time is passed over."""
    found = _CLOCK.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"“{text[:40]}” is no time of day")
    hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
    half = (found[4] or "").lower()
    past = hour > 23 and (hour, minute, second) != (24, 0, 0)
    if (half and not 1 <= hour <= 12) or past or minute > 59 or second > 59:
        raise ValueError(f"“{text[:40]}” is no time of day")
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    return hour * 3600 + minute * 60 + second


def guess_order(dates: Iterable[str]) -> tuple[Order, bool]:
    """The order of day, month and year of some dates in the order of a file, and whether it is sure.

    A number above twelve decides; else the order in which time goes on in the smallest steps is taken, and is not sure.
    """
    texts = [text.strip() for text in dates]
    found = [match for match in map(_DATE.fullmatch, texts) if match]
    if not found:
        return "ymd", all(_WITH_NAME.fullmatch(text) for text in texts)
    if any(len(match[1]) == 4 for match in found):
        return "ymd", True
    if any(int(match[1]) > 31 for match in found):
        return "ymd", True
    if any(int(match[1]) > 12 for match in found):
        return "dmy", True
    if any(int(match[2]) > 12 for match in found):
        return "mdy", True
    return min(("dmy", "mdy"), key=lambda order: _steps(texts, order)), False


def _steps(texts: list[str], order: Order) -> int:
    """How far apart the days lie that follow each other."""
    try:
        days = [read_date(text, order).toordinal() for text in dict.fromkeys(texts)]
    except ValueError:
        return 10**9
    return max((abs(after - before) for before, after in pairwise(days)), default=0)
