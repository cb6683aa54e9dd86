"""Hours of the checklist's objects at each level, and how the department's estimates have held."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple
from uuid import UUID

import numpy as np

from survey.condition.db import selectors as condition
from survey.condition.db.selectors import ObjectDrivers
from survey.register.db.models import Exhibition
from survey.register.db.selectors import entry_map
from survey.risk.db.models import ObjectRisk, RiskRun
from survey.risk.db.selectors import latest_run
from treatments.hours.db.models import LoggedTime, Treatment
from treatments.hours.estimate import ReferenceClass, reference_class
from treatments.options.db import selectors as options
from treatments.options.db.models import ChosenLevel
from treatments.options.steps import LevelRates, StepHours, StepTable, ThreePoint
from treatments.options.suggesting import Suggestion, suggest

ENOUGH = 10
DRIVER_WORDS = {
    "joints": "number of joints",
    "joint_length_cm": "length of joints",
    "fill_area_cm2": "area of fills",
    "paint_area_cm2": "area of paint",
    "sherds": "number of sherds",
}


class Experience(NamedTuple):
    """How finished jobs compare with their estimates: the ratio, its spread, and the factor to plan with."""

    reference: ReferenceClass
    factor: float
    log_sigma: float


@dataclass(frozen=True)
class LevelHours:
    """One level of one object: steps, hours at the bench (sum of points), waits in which nobody works."""

    level: LevelRates
    steps: tuple[StepHours, ...]
    hours: ThreePoint
    wait: ThreePoint
    assumed: tuple[str, ...]

    @property
    def assumed_words(self) -> list[str]:
        """What was assumed because nobody measured it."""
        return [DRIVER_WORDS[name] for name in self.assumed]


@dataclass(frozen=True)
class ObjectPlan:
    """One object of the checklist: what is suggested, what is chosen, and the hours of the level that counts."""

    object_id: UUID
    suggestion: Suggestion
    chosen: ChosenLevel | None
    counts: LevelHours

    @property
    def level(self) -> str:
        return self.counts.level.code


def experience() -> Experience:
    """Actual over likely hours of the department's finished treatments. Two queries.

    Until ``ENOUGH`` jobs are finished the factor is 1, with the spread that published estimates show.
    """
    took: dict[UUID, float] = defaultdict(float)
    standing = LoggedTime.objects.filter(corrected_by=None, treatment__finished_on__isnull=False)
    for pk, hours in standing.values_list("treatment_id", "hours"):
        took[pk] += hours
    said = {}
    for pk, estimate in Treatment.objects.filter(finished_on__isnull=False).values_list("pk", "estimate"):
        likely = sum(points[1] for points in estimate.values())
        if likely > 0 and took.get(pk, 0) > 0:
            said[pk] = likely
    ratios = np.array([took[pk] / likely for pk, likely in said.items()])
    reference = reference_class([said[pk] for pk in said], [took[pk] for pk in said], least=ENOUGH)
    if not reference.enough:
        return Experience(reference, 1.0, 0.3)
    return Experience(reference, reference.p50, float(np.log(ratios).std(ddof=1)))


def level_hours(level: LevelRates, drivers: ObjectDrivers | None, table: StepTable) -> LevelHours:
    """Hours and waits of one level for one object; sums of points, which is wider than independent steps would be."""
    steps = options.steps_of(level, drivers, table)
    zero = ThreePoint(0.0, 0.0, 0.0)
    assumed = sorted({name for step in steps for name in step.assumed})
    hours, wait = sum((s.hours for s in steps), zero), sum((s.wait for s in steps), zero)
    return LevelHours(level, steps, hours, wait, tuple(assumed))


def all_levels(object_id: UUID) -> list[LevelHours]:
    """Every level for one object, from least to most work."""
    table = options.table_in_use()
    drivers = condition.drivers([object_id]).get(object_id)
    return [level_hours(level, drivers, table) for level in table.levels]


def object_plans(exhibition: Exhibition) -> dict[UUID, ObjectPlan]:
    """What counts for each object on the checklist: the level chosen, else the one suggested. About ten queries."""
    entries = entry_map(exhibition)
    ids = list(entries)
    return _plans(exhibition, ids)


def plans_of(exhibition: Exhibition, objects: Sequence[UUID]) -> dict[UUID, ObjectPlan]:
    """The same for some objects: a page of a list."""
    return _plans(exhibition, list(objects))


def _plans(exhibition: Exhibition, ids: list[UUID]) -> dict[UUID, ObjectPlan]:
    table = options.table_in_use()
    drivers = condition.drivers(ids)
    scores = _scores(latest_run(), ids)
    chosen = options.chosen_levels(exhibition, ids)
    ugly = _disfigured(ids)
    found = {}
    for pk in ids:
        suggestion = _suggestion(scores.get(pk), drivers.get(pk), pk in ugly)
        code = chosen[pk].level if pk in chosen else suggestion.level
        hours = level_hours(table.level(code), drivers.get(pk), table)
        found[pk] = ObjectPlan(pk, suggestion, chosen.get(pk), hours)
    return found


def _scores(run: RiskRun | None, ids: list[UUID]) -> dict[UUID, ObjectRisk]:
    if run is None:
        return {}
    rows = ObjectRisk.objects.filter(run=run, object__in=ids).defer("reasons", "magnitude", "warnings")
    return {row.object_id: row for row in rows}


def _disfigured(ids: list[UUID]) -> set[UUID]:
    """Objects whose old restoration draws the eye, by their last graded look."""
    last: dict[UUID, str] = {}
    looks = condition.standing().filter(object__in=ids, disfigurement__in=("good", "fair", "poor", "unacceptable"))
    for pk, grade in looks.order_by("started_at", "finished_at").values_list("object_id", "disfigurement"):
        last[pk] = grade
    return {pk for pk, grade in last.items() if grade in {"poor", "unacceptable"}}


def _suggestion(score: ObjectRisk | None, drivers: ObjectDrivers | None, disfigured: bool) -> Suggestion:
    if score is None:
        return suggest(band="", worst_stage=None, joints=_count(drivers), failing=0, shown=True)
    return suggest(
        band=score.band,
        worst_stage=score.worst_stage,
        joints=score.joints,
        failing=drivers.failing.joints or 0 if drivers else 0,
        shown=score.on_checklist,
        disfigured=disfigured,
    )


def _count(drivers: ObjectDrivers | None) -> int:
    return (drivers.all.joints or 0) if drivers else 0
