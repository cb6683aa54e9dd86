"""Texts that leave for a spreadsheet: none may start to compute there."""

import re
from typing import TypeVar

Cell = TypeVar("Cell")

# The signs a formula starts with, their full-width forms, and the blanks that some programs skip before one.
_LIVE = re.compile(r"'*[=+\-@\t\r\n\0＝＋－＠]")


def neutralise(value: Cell) -> Cell | str:
    """A cell for CSV or a workbook: a text that a spreadsheet program would compute gets an apostrophe before it.

    Numbers, dates and None are given back as they are, so that -5 stays a number. `restored` takes the apostrophe off
    again: ``restored(neutralise(text)) == text`` for every text.

    Source: OWASP ASVS 5.0, 1.2.10 (formula injection).

    Examples
    --------
    >>> neutralise("=1+1"), neutralise(-5), neutralise("jar")
    ("'=1+1", -5, 'jar')
    """
    if isinstance(value, str) and _LIVE.match(value):
        return f"'{value}"
    return value


def restored(text: str) -> str:
    """A text as it was before `neutralise`."""
    return text[1:] if text.startswith("'") and _LIVE.match(text) else text
