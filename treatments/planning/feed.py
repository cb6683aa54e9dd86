"""Writing a calendar as text/calendar. Source: RFC 5545, sections 3.1 (folding), 3.3.11 (escaping), 3.6.1 (events)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

OCTETS = 75  # to a line, its end not counted
PRODUCT = "-//Fettle//Plan of the work//EN"


@dataclass(frozen=True)
class Sitting:
    """One entry of a calendar. Times carry a zone; they are written in UTC, so that no zone table is needed."""

    uid: str
    starts: datetime
    ends: datetime
    summary: str
    description: str = ""
    location: str = ""


def calendar_text(name: str, sittings: Iterable[Sitting], *, stamp: datetime) -> str:
    """A whole calendar, its lines folded and ended by CR LF.

    Parameters
    ----------
    name : what a program shows for the calendar
    stamp : when the plan was made, with a zone

    Raises
    ------
    ValueError
        A time without a zone, or an entry that does not end after it starts.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}", "CALSCALE:GREGORIAN", "METHOD:PUBLISH"]
    lines.append(f"X-WR-CALNAME:{escaped(name)}")
    for sitting in sittings:
        lines += _event(sitting, stamp)
    lines.append("END:VCALENDAR")
    return "".join(f"{folded(line)}\r\n" for line in lines)


def _event(sitting: Sitting, stamp: datetime) -> list[str]:
    if sitting.ends <= sitting.starts:
        raise ValueError(f"ends of {sitting.uid} must lie after its start")
    lines = [
        "BEGIN:VEVENT",
        f"UID:{escaped(sitting.uid)}",
        f"DTSTAMP:{_utc(stamp)}",
        f"DTSTART:{_utc(sitting.starts)}",
        f"DTEND:{_utc(sitting.ends)}",
        f"SUMMARY:{escaped(sitting.summary)}",
    ]
    lines += [f"DESCRIPTION:{escaped(sitting.description)}"] if sitting.description else []
    lines += [f"LOCATION:{escaped(sitting.location)}"] if sitting.location else []
    return [*lines, "END:VEVENT"]


def _utc(moment: datetime) -> str:
    if moment.tzinfo is None:
        raise ValueError("times must carry a zone")
    return f"{moment.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def escaped(text: str) -> str:
    """TEXT as section 3.3.11 has it; control characters that it forbids are left out."""
    for mark in "\\;,":
        text = text.replace(mark, f"\\{mark}")
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\n", "\\n")
    return "".join(letter for letter in text if letter == "\t" or (letter >= " " and letter != "\x7f"))


def folded(line: str) -> str:
    """A line cut so that no part is longer than 75 octets, never within a character; parts begin with one space."""
    parts, part, length = [], "", 0
    for letter in line:
        size = len(letter.encode())
        if length + size > OCTETS:
            parts.append(part)
            part, length = " ", 1
        part, length = part + letter, length + size
    return "\r\n".join([*parts, part])
