"""What each object offers the planner: levels of treatment, what they are worth, and dates with time in hand."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from statistics import median
from typing import Any
from uuid import UUID

from survey.condition.db import selectors as condition
from survey.register.db.models import Object
from survey.risk.db.models import Band, ObjectRisk
from survey.risk.db.selectors import latest_run
from treatments.hours.db.selectors import LevelHours, ObjectPlan, learned
from treatments.hours.db.selectors.plans import level_hours
from treatments.options.db import selectors as options
from treatments.options.steps import StepTable
from treatments.options.suggesting import HANDS_OFF
from treatments.planning.buffer import DATES, with_buffer
from treatments.planning.calendar import WEEK
from treatments.planning.db.models import LevelEffect
from treatments.planning.db.selectors.work import Work, as_steps, longest_sittings, mean_hours
from treatments.planning.effects import DEFAULTS, UNKNOWN, Effect, efficient

SCALE = 100_000  # benefit is whole numbers: shares of an object lost, times significance and importance, times this
MIDDLING = 3  # significance of an object for which nobody has said
UNSCORED = 0.01  # expected share lost where nothing at all has been scored
MUST = 4  # importance to the display from which an object must be ready
MAKE_GOOD = "make_good"
RESTRICTED = "restricted"


@dataclass(frozen=True)
class Offer:
    """The planner's instance. ``words`` are step codes to names, ``numbers`` object ids to accession numbers;
    ``withheld`` are objects that offer nothing until somebody decides."""

    work: Work
    instance: dict[str, Any]
    words: dict[str, str]
    numbers: dict[str, str]
    withheld: set[str]
    unscored: int


def effects() -> dict[str, Effect]:
    """Level to the share of expected loss that it removes: the department's own, else the default. One query."""
    own = {row.level: Effect(row.share, row.grounds) for row in LevelEffect.objects.all()}
    return {**DEFAULTS, **own}


def offer(work: Work, *, mandatory_weeks: float, other_weeks: float, pinned: Mapping[str, str] | None = None) -> Offer:
    """The work as a planner's instance, dates brought forward by the buffer. About nine queries.

    Parameters
    ----------
    pinned : object id to the level at which it is pinned, which is then offered whatever else is
    """
    pinned = pinned or {}
    ids = [UUID(thing["id"]) for thing in work.instance["objects"]]
    table, drivers, shares = options.table_in_use(), condition.drivers(ids), effects()
    things, known_hours = Object.objects.only("number", "significance", "restriction", "body").in_bulk(ids), learned()
    run = latest_run()
    scored = ObjectRisk.objects.filter(run=run, object__in=ids) if run else ObjectRisk.objects.none()
    known = {pk: (loss, band) for pk, loss, band in scored.values_list("object_id", "loss", "band")}
    usual = median(loss for loss, _ in known.values()) if known else UNSCORED
    sittings, objects, withheld = longest_sittings(work.department), [], set()
    for thing in work.instance["objects"]:
        pk = UUID(thing["id"])
        plan, entry = work.plans[pk], work.entries[pk]
        loss, band = known.get(pk, (usual, ""))
        codes = _codes(plan, things[pk], table)
        levels = [
            level_hours(table.level(code), drivers.get(pk), table, known_hours, things[pk].body) for code in codes
        ]
        if pk in work.begun:  # what is begun goes on at its level, with what is left of it
            levels = [plan.counts]
        if not levels:
            withheld.add(thing["id"])
        keep = {plan.level, pinned.get(thing["id"], "")}
        worth = SCALE * loss * (things[pk].significance or MIDDLING) * entry.importance
        made = [
            {
                "name": level.level.code,
                "benefit": max(1, round(worth * shares.get(level.level.code, UNKNOWN).share)),
                "steps": as_steps(level, sittings),
            }
            for level in _efficient(levels, shares, keep)
        ]
        mandatory = entry.importance >= MUST or band == Band.DO_NOT_LIFT
        objects.append({**thing, "mandatory": mandatory, "levels": made})
    words = {step.code: step.name for level in table.levels for step in level.steps}
    instance = in_hand({**work.instance, "objects": objects}, mandatory_weeks, other_weeks)
    numbers = {str(pk): thing.number for pk, thing in things.items()}
    return Offer(work, instance, words, numbers, withheld, len(ids) - len(known))


def _codes(plan: ObjectPlan, thing: Object, table: StepTable) -> list[str]:
    """Levels that may be planned for an object, from least to most work.

    The chosen one alone, if one is chosen. Where no joint fails, or nobody has looked, the suggestion alone: nobody
    treats further than is asked because there are hours. Else every level from securing up; making good, which is for
    looks, only where it is suggested. What carries a restriction waits for a person's word.
    """
    if plan.chosen or plan.level in HANDS_OFF:
        return [plan.level]
    if thing.restriction:
        return []
    codes = [level.code for level in table.levels if level.steps and level.code not in HANDS_OFF]
    return [code for code in codes if code != MAKE_GOOD or plan.level == MAKE_GOOD]


def _efficient(levels: list[LevelHours], shares: Mapping[str, Effect], keep: Collection[str]) -> list[LevelHours]:
    """Levels that no other beats in hours and in loss removed, and those in ``keep``."""
    hours = {level.level.code: sum(mean_hours(step) for step in level.steps) for level in levels}
    good = efficient(hours, {code: shares.get(code, UNKNOWN).share for code in hours})
    return [level for level in levels if level.steps and (level.level.code in good or level.level.code in keep)]


def in_hand(instance: dict[str, Any], mandatory_weeks: float, other_weeks: float) -> dict[str, Any]:
    """Dates brought forward; an object that would then have less than a week left keeps its own dates."""
    earlier = with_buffer(instance, mandatory_weeks=mandatory_weeks, other_weeks=other_weeks)
    objects = []
    for own, brought in zip(instance["objects"], earlier["objects"], strict=True):
        near = brought["close_by"] < own["release"] + WEEK
        photo = own["photo_by"] if brought["photo_by"] < own["release"] + WEEK else brought["photo_by"]
        objects.append({**brought, "photo_by": photo, **({key: own[key] for key in DATES} if near else {})})
    return {**earlier, "objects": objects}
