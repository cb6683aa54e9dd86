"""What is asked of any value that came from outside, whoever refuses it and in whichever words."""

from __future__ import annotations

import re
import uuid
from typing import Any, TypeGuard

UNWRITABLE = re.compile("[\x00\ud800-\udfff]")
"""Characters that a text of a database or of UTF-8 cannot hold."""


def is_key(value: Any) -> TypeGuard[str]:
    """Whether it is a UUID in its usual spelling: 36 characters, lower case."""
    if not isinstance(value, str) or len(value) != 36:
        return False
    try:
        return str(uuid.UUID(value)) == value
    except ValueError:
        return False
