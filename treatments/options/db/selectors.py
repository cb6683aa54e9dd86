"""Reading levels of treatment: the table in use, and the level in force for each object."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from uuid import UUID

from django.db.models import Count

from media.base.errors import Clash
from media.base.models import User
from survey.condition.db.selectors import ObjectDrivers
from survey.register.db.models import Exhibition
from treatments.options.db.models import ChosenLevel, LevelTable
from treatments.options.steps import LevelRates, StepHours, StepTable, expand
from treatments.options.tables import parse_table


def newest_table() -> LevelTable | None:
    return LevelTable.objects.order_by("-number").first()


def table_in_use() -> StepTable:
    """The department's levels; a table is parsed once. Raises ``Clash`` before any is adopted. One query."""
    row = newest_table()
    if row is None:
        raise Clash("No levels of treatment are in force yet. Put the shipped ones in place: manage.py defaults")
    # By its text and not by its number: another database may be behind the same process after a restore.
    return _parsed(json.dumps(row.body))


@lru_cache(maxsize=8)
def _parsed(text: str) -> StepTable:
    return parse_table(json.loads(text))


def chosen_levels(exhibition: Exhibition, objects: Collection[UUID] | None = None) -> dict[UUID, ChosenLevel]:
    """The level in force for each object for which one was chosen. One query."""
    rows = ChosenLevel.objects.filter(exhibition=exhibition, replaced_at=None).select_related("by")
    if objects is not None:
        rows = rows.filter(object__in=objects)
    return {row.object_id: row for row in rows}


@dataclass(frozen=True)
class Accepted:
    """Suggestions that one person accepted at one moment and that still stand."""

    at: datetime
    by: User | None
    count: int


def last_accepted(exhibition: Exhibition) -> Accepted | None:
    """The newest acceptance of several suggestions of which at least one still stands. Two queries at most."""
    standing = ChosenLevel.objects.filter(exhibition=exhibition, replaced_at=None).order_by()
    several = standing.values("at", "by").annotate(count=Count("pk")).filter(count__gt=1).order_by("-at").first()
    if several is None:
        return None
    by = User.objects.filter(pk=several["by"]).first() if several["by"] else None
    return Accepted(several["at"], by, several["count"])


def steps_of(level: LevelRates, drivers: ObjectDrivers | None, table: StepTable) -> tuple[StepHours, ...]:
    """Steps of one level for one object, its drivers counted within what the level touches."""
    known = {}
    if drivers is not None:
        counted = drivers.failing if level.joint_scope == "failing" else drivers.all
        known = {name: getattr(counted, name) for name in table.assumed_drivers}
    return expand(level, known, table.assumed_drivers)
