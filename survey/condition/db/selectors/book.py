"""The book of definitions in use, and those that older assessments were made under."""

from __future__ import annotations

import json
from functools import cache

from django.conf import settings

from survey.condition.grades import Definitions, parse_book


@cache
def book() -> dict[int, Definitions]:
    """All versions, by number. Raises ValueError if the file has a fault."""
    return parse_book(json.loads((settings.ROOT / "fixtures" / "definitions.json").read_text(encoding="utf-8")))


def newest() -> Definitions:
    """The version that new assessments are made under."""
    versions = book()
    return versions[max(versions)]


def definitions(version: int) -> Definitions:
    """One version; a number that the book has lost gives the newest, which is still better than no words."""
    return book().get(version) or newest()
