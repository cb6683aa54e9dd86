"""Checking values that came from outside: each function gives back a clean value or refuses with one line."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping
from datetime import UTC, datetime
from typing import Any

from media.outside import UNWRITABLE, is_key

SHA256 = re.compile(r"[0-9a-f]{64}")


class Refused(ValueError):
    """What came cannot be taken; the message names the place and what is wanted there."""


def table(value: Any, where: str, *, needs: Collection[str], may: Collection[str] = ()) -> Mapping[str, Any]:
    """An object with exactly the names in ``needs``, and any of ``may``."""
    if not isinstance(value, dict):
        raise Refused(f"{where}: must be an object")
    for name in needs:
        if name not in value:
            raise Refused(f"{where}: {name} is missing")
    for name in value:
        if name not in needs and name not in may:
            raise Refused(f"{where}: {_quoted(name)} is not known here")
    return value


def items(value: Any, where: str, *, most: int) -> list[Any]:
    """A list of at most ``most`` values."""
    if not isinstance(value, list):
        raise Refused(f"{where}: must be a list")
    if len(value) > most:
        raise Refused(f"{where}: holds {len(value)} entries, at most {most} are taken")
    return value


def text(value: Any, where: str, *, most: int, least: int = 0) -> str:
    """A text that a database can hold."""
    if not isinstance(value, str):
        raise Refused(f"{where}: must be a text")
    if not least <= len(value) <= most:
        raise Refused(f"{where}: must have {least} to {most} characters, has {len(value)}")
    if UNWRITABLE.search(value):
        raise Refused(f"{where}: holds a character that cannot be written")
    return value


def choice(value: Any, where: str, allowed: Collection[str]) -> str:
    if not isinstance(value, str) or value not in allowed:
        raise Refused(f"{where}: must be one of {', '.join(map(repr, allowed))}")
    return value


def key(value: Any, where: str) -> str:
    """A UUID in its usual spelling: 36 characters, lower case."""
    if is_key(value):
        return value
    raise Refused(f"{where}: must be a UUID in lower case with its hyphens")


def keys(value: Any, where: str, *, most: int) -> tuple[str, ...]:
    found = tuple(key(each, f"{where}[{i}]") for i, each in enumerate(items(value, where, most=most)))
    if len(set(found)) != len(found):
        raise Refused(f"{where}: names one thing twice")
    return found


def sha256(value: Any, where: str) -> str:
    if not isinstance(value, str) or not SHA256.fullmatch(value):
        raise Refused(f"{where}: must be a SHA-256 in 64 hexadecimal digits, lower case")
    return value


def whole(value: Any, where: str, *, low: int, high: int) -> int:
    """A whole number; true and false are none."""
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise Refused(f"{where}: must be a whole number from {low} to {high}")
    return value


def number(value: Any, where: str, *, above: float, most: float) -> float:
    """A finite number more than ``above`` and at most ``most``."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Refused(f"{where}: must be a number")
    if not (math.isfinite(value) and above < value <= most):
        raise Refused(f"{where}: must be more than {above:g} and at most {most:g}")
    return float(value)


def yes_no(value: Any, where: str) -> bool | None:
    """True, false, or None for not known."""
    if value is not None and not isinstance(value, bool):
        raise Refused(f"{where}: must be true, false or null")
    return value


def moment(value: Any, where: str) -> datetime:
    """A date and time with its offset, as ISO 8601 writes it; the year may be wrong by any amount."""
    if isinstance(value, str) and len(value) <= 40:
        try:
            found = datetime.fromisoformat(value)
            if found.tzinfo is not None:
                return found.astimezone(UTC)
        except (ValueError, OverflowError):
            pass
    raise Refused(f"{where}: must be a date and time with its offset, like 2026-03-02T09:00:00Z")


def _quoted(name: str) -> str:
    return ascii(name[:40])
