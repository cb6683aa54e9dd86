"""Reading levels of treatment: the table in use, and the level in force for each object."""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache
from uuid import UUID

from survey.condition.db.selectors import ObjectDrivers
from survey.register.db.models import Exhibition
from treatments.options.db.models import ChosenLevel, LevelTable
from treatments.options.steps import LevelRates, StepHours, StepTable, expand
from treatments.options.tables import parse_table


def newest_table() -> LevelTable | None:
    return LevelTable.objects.order_by("-number").first()


def table_in_use() -> StepTable:
    """The department's levels, read once per version. Raises ``DoesNotExist`` before defaults are adopted."""
    row = LevelTable.objects.order_by("-number").only("number").first()
    if row is None:
        raise LevelTable.DoesNotExist("no table of levels is adopted: run manage.py defaults")
    return _parsed(row.number)


@lru_cache(maxsize=8)
def _parsed(number: int) -> StepTable:
    return parse_table(LevelTable.objects.get(number=number).body)


def chosen_levels(exhibition: Exhibition, objects: Collection[UUID] | None = None) -> dict[UUID, ChosenLevel]:
    """The level in force for each object for which one was chosen. One query."""
    rows = ChosenLevel.objects.filter(exhibition=exhibition, replaced_at=None).select_related("by")
    if objects is not None:
        rows = rows.filter(object__in=objects)
    return {row.object_id: row for row in rows}


def steps_of(level: LevelRates, drivers: ObjectDrivers | None, table: StepTable) -> tuple[StepHours, ...]:
    """Steps of one level for one object, its drivers counted within what the level touches."""
    known = {}
    if drivers is not None:
        counted = drivers.failing if level.joint_scope == "failing" else drivers.all
        known = {name: getattr(counted, name) for name in table.assumed_drivers}
    return expand(level, known, table.assumed_drivers)
