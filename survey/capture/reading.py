"""JSON from outside: UTF-8, finite numbers, not too deep."""

from __future__ import annotations

import json
import math
from typing import Any

DEEPEST = 40


class NotJson(ValueError):
    """What came is no JSON that can be taken."""


def read_json(data: bytes) -> Any:
    """The value of some JSON. Raises ``NotJson`` with one line."""
    try:
        value = json.loads(data.decode("utf-8"), parse_constant=_no_constant, parse_float=_finite)
    except (ValueError, RecursionError) as error:
        raise NotJson("This is not well-formed JSON in UTF-8.") from error
    if _depth(value) > DEEPEST:
        raise NotJson("This JSON is nested too deep.")
    return value


def _no_constant(name: str) -> Any:
    raise ValueError(name)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text[:20])
    return value


def _depth(value: Any) -> int:
    deepest, left = 0, [(value, 1)]
    while left:
        each, depth = left.pop()
        deepest = max(deepest, depth)
        inner = each.values() if isinstance(each, dict) else each if isinstance(each, list) else ()
        left += [(one, depth + 1) for one in inner]
    return deepest
