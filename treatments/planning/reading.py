"""Reading values out of an instance: each is what it should be, or a ValueError names it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from numbers import Integral
from typing import Any


def whole(value: Any, name: str, *, low: int, high: int) -> int:
    """A whole number in ``low..high``."""
    given = value if isinstance(value, float) else float("nan")
    if isinstance(value, bool) or not (isinstance(value, Integral) or given.is_integer()):
        raise ValueError(f"{name} must be a whole number, not {value!r:.60}")
    number = int(value)
    if not low <= number <= high:
        raise ValueError(f"{name} must lie between {low} and {high}, not {value!r:.60}")
    return number


def entries(holder: Mapping[str, Any], key: str, name: str) -> Sequence[Mapping[str, Any]]:
    """A list of mappings under ``key``; nothing there means an empty list."""
    found = holder.get(key, ())
    if isinstance(found, str | bytes | Mapping) or not isinstance(found, Sequence):
        raise ValueError(f"{key} of {name} must be a list")
    if not all(isinstance(entry, Mapping) for entry in found):
        raise ValueError(f"{key} of {name} must hold mappings only")
    return found


def an_id(holder: Mapping[str, Any], name: str) -> str:
    """The id of an object, person or step, as text."""
    found = holder.get("id")
    if found is None or found == "":
        raise ValueError(f"{name} without id")
    return str(found)
