"""Hours of the checklist's objects at each level, and how the department's estimates have held."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

import numpy as np

from survey.condition.db import selectors as condition
from survey.condition.db.models import JointSeen
from survey.condition.db.selectors import ObjectDrivers
from survey.register.db.models import Exhibition
from survey.register.db.selectors import entry_map
from survey.risk.db.models import ObjectRisk, RiskRun
from survey.risk.db.selectors import latest_run
from treatments.hours.db.selectors.learned import Experience, Learned, bodies_of, learned
from treatments.hours.estimate import total_hours
from treatments.options.db import selectors as options
from treatments.options.db.models import ChosenLevel
from treatments.options.steps import LevelRates, StepHours, StepTable, ThreePoint
from treatments.options.suggesting import Suggestion, suggest

QUANTILES = (0.1, 0.5, 0.9)
DRIVER_WORDS = {
    "joints": "number of joints",
    "joint_length_cm": "length of joints",
    "fill_area_cm2": "area of fills",
    "paint_area_cm2": "area of paint",
    "sherds": "number of sherds",
}


@dataclass(frozen=True)
class LevelHours:
    """One level of one object: steps, hours at the bench (sum of points), waits in which nobody works."""

    level: LevelRates
    steps: tuple[StepHours, ...]
    hours: ThreePoint
    wait: ThreePoint
    assumed: tuple[str, ...]
    turns: tuple[int, ...] = ()
    """Place of each step in the whole level, where only some are left."""

    @property
    def assumed_words(self) -> list[str]:
        """What was assumed because nobody measured it."""
        return [DRIVER_WORDS[name] for name in self.assumed]


@dataclass(frozen=True)
class ObjectPlan:
    """One object of the checklist: what is suggested, what is chosen, and the hours of the level that counts.

    ``unknown`` is the code of a chosen level that the table in force no longer holds: the suggestion counts instead.
    """

    object_id: UUID
    suggestion: Suggestion
    chosen: ChosenLevel | None
    counts: LevelHours
    unknown: str = ""

    @property
    def level(self) -> str:
        return self.counts.level.code


def experience() -> Experience:
    """Actual over expected hours of the department's finished treatments. Five queries."""
    return learned().experience


def hours_needed(plans: Iterable[ObjectPlan], known: Experience) -> ThreePoint:
    """Hours of all plans together: one in ten below, middle, one in ten above; the shared factor does not average out.

    The plans' hours hold the factor already; here its spread is added. Each level's own steps are taken to run long or
    short together, objects independently.
    """
    counted = [plan.counts.hours for plan in plans if plan.counts.steps]
    if not counted:
        return ThreePoint(0.0, 0.0, 0.0)
    spread = float(np.sqrt(np.expm1(known.log_sigma**2)))
    total = total_hours([h.low for h in counted], [h.high for h in counted], shared_cv=spread)
    return ThreePoint(*(float(total.quantile(q)) for q in QUANTILES))


def level_hours(
    level: LevelRates, drivers: ObjectDrivers | None, table: StepTable, known: Learned, body: str = ""
) -> LevelHours:
    """Hours and waits of one level for one object, as the department's finished treatments teach them.

    Sums of points, which is wider than independent steps would be.
    """
    steps = tuple(
        replace(step, hours=known.hours(step, body)) for step in options.steps_of(level, drivers, table)
    )  # fmt: skip
    zero = ThreePoint(0.0, 0.0, 0.0)
    assumed = sorted({name for step in steps for name in step.assumed})
    hours, wait = sum((s.hours for s in steps), zero), sum((s.wait for s in steps), zero)
    return LevelHours(level, steps, hours, wait, tuple(assumed))


def all_levels(object_id: UUID) -> list[LevelHours]:
    """Every level for one object, from least to most work."""
    table = options.table_in_use()
    drivers, known = condition.drivers([object_id]).get(object_id), learned()
    body = bodies_of([object_id]).get(object_id, "")
    return [level_hours(level, drivers, table, known, body) for level in table.levels]


def object_plans(exhibition: Exhibition) -> dict[UUID, ObjectPlan]:
    """What counts for each object on the checklist: the level chosen, else the one suggested. Fifteen queries."""
    return _plans(exhibition, list(entry_map(exhibition)))


def plans_of(exhibition: Exhibition | None, objects: Sequence[UUID]) -> dict[UUID, ObjectPlan]:
    """The same for some objects: a page of a list, or objects that stand on no checklist."""
    return _plans(exhibition, list(objects))


def _plans(exhibition: Exhibition | None, ids: list[UUID]) -> dict[UUID, ObjectPlan]:
    table = options.table_in_use()
    codes = {level.code for level in table.levels}
    drivers = condition.drivers(ids)
    bands, stages = _bands(latest_run(), ids), _worst_stages(ids)
    chosen = options.chosen_levels(exhibition, ids) if exhibition else {}
    ugly, known, bodies = _disfigured(ids), learned(), bodies_of(ids)
    found = {}
    for pk in ids:
        suggestion = _suggestion(bands.get(pk, ""), stages.get(pk), drivers.get(pk), pk in ugly)
        choice = chosen.get(pk)
        lost = choice.level if choice and choice.level not in codes else ""
        choice = None if lost else choice
        level = table.level(choice.level if choice else suggestion.level)
        hours = level_hours(level, drivers.get(pk), table, known, bodies.get(pk, ""))
        found[pk] = ObjectPlan(pk, suggestion, choice, hours, lost)
    return found


def _bands(run: RiskRun | None, ids: list[UUID]) -> dict[UUID, str]:
    """What the urgent rules ask for, by the last scoring."""
    return dict(ObjectRisk.objects.filter(run=run, object__in=ids).values_list("object_id", "band")) if run else {}


def _worst_stages(ids: list[UUID]) -> dict[UUID, int]:
    """The worst stage of the joints in place, each as last seen."""
    seen = JointSeen.objects.filter(
        assessment__in=condition.standing(), joint__restoration__object__in=ids, joint__ended_at=None,
        stage__isnull=False,
    )  # fmt: skip
    rows = seen.order_by("assessment__started_at", "pk").values_list(
        "joint_id", "joint__restoration__object_id", "stage"
    )
    last = {joint: (owner, stage) for joint, owner, stage in rows}
    worst: dict[UUID, int] = {}
    for owner, stage in last.values():
        worst[owner] = max(worst.get(owner, 0), stage or 0)
    return worst


def _disfigured(ids: list[UUID]) -> set[UUID]:
    """Objects whose old restoration draws the eye, by their last graded look."""
    last: dict[UUID, str] = {}
    looks = condition.standing().filter(object__in=ids, disfigurement__in=("good", "fair", "poor", "unacceptable"))
    for pk, grade in looks.order_by("started_at", "finished_at").values_list("object_id", "disfigurement"):
        last[pk] = grade
    return {pk for pk, grade in last.items() if grade in {"poor", "unacceptable"}}


def _suggestion(band: str, stage: int | None, drivers: ObjectDrivers | None, disfigured: bool) -> Suggestion:
    joints = (drivers.all.joints or 0) if drivers else 0
    failing = (drivers.failing.joints or 0) if drivers else 0
    return suggest(band=band, worst_stage=stage, joints=joints, failing=failing, shown=True, disfigured=disfigured)
