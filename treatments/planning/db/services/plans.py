"""Asking for a plan, keeping what was found, pinning."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from media.base import bulk, events, jobs
from media.base.errors import FettleError, NotThere
from media.base.models import Job, JobState, User
from survey.register.db.models import Exhibition
from survey.register.db.selectors import current_exhibition
from treatments.options.steps import SKILL_WORDS
from treatments.planning.buffer import MOST_WEEKS
from treatments.planning.calendar import QUARTERS, moment_of
from treatments.planning.db.models import LevelEffect, Plan, PlannedStep, StaffMember
from treatments.planning.db.selectors import Offer, days_ahead, effects, latest_plan
from treatments.planning.effects import Effect
from treatments.planning.greedy import greedy_plan
from treatments.planning.outcome import REASONS

SECONDS, MOST_SECONDS = 20.0, 1_800.0
MOST_SEED = 2**31 - 1
MANDATORY_WEEKS, OTHER_WEEKS = 2.0, 1.0
REASON_WORDS = {
    "no_level": "carries a restriction, and nobody has agreed to a level yet: choose one",
    "no_skill": "nobody has a skill that it needs",
    "no_resource": "needs a fume hood or photography bench, and there is none",
    "no_shift": "those who have the skill have no hours at the bench",
    "too_long": "needs a sitting longer than any shift of those who can do it",
    "date_past": "its date is past",
    "no_time": "cannot be ready by its date, less the weeks kept in hand, even if nothing else were done",
    "no_room": "does not fit beside what is worth more",
}


@transaction.atomic
def start_plan(
    *,
    by: User | None,
    at: datetime,
    exhibition: Exhibition | None = None,
    seconds: float = SECONDS,
    seed: int = 0,
    mandatory_weeks: float = MANDATORY_WEEKS,
    other_weeks: float = OTHER_WEEKS,
    adapt: bool = False,
) -> tuple[Plan, Job]:
    """Ask for a plan; it goes on as a job. Refused in words where there is nothing to plan.

    ``adapt`` keeps the plan that stands wherever it still holds, its seed and its weeks, and moves as little as
    possible. Asked for while one is
    being made, that one is given back.
    """
    _check(seconds, seed, mandatory_weeks, other_weeks)
    exhibition = exhibition or current_exhibition(timezone.localdate(at))
    if exhibition is None:
        raise FettleError("There is no exhibition to plan for. Add one with its opening day and a checklist first.")
    days_ahead(exhibition, timezone.localdate(at))
    if not StaffMember.objects.exists():
        raise FettleError("Nobody is recorded at the bench. Add staff with their skills and weekly hours first.")
    if going := _going(exhibition):
        return going
    before = latest_plan(exhibition)
    if adapt and before is None:
        raise FettleError("There is no plan yet that could be adapted. Make one first.")
    if adapt and before:
        seconds, seed = 0.0, before.seed
        mandatory_weeks, other_weeks = before.mandatory_weeks, before.other_weeks
    row = Plan.objects.create(
        exhibition=exhibition, replaces=before, made_at=at, by=by, seconds=seconds, seed=seed,
        mandatory_weeks=mandatory_weeks, other_weeks=other_weeks,
    )  # fmt: skip
    title = f"{'Adapting the plan' if adapt else 'Plan'} for {exhibition}"
    row.job = jobs.enqueue("treatments.planning.solve", by=by, title=title, plan_id=str(row.pk))
    row.save(update_fields=["job"])
    events.record(row, "asked for a plan", by=by, at=at, became={"exhibition": str(exhibition), "seed": seed})
    return row, row.job


def _check(seconds: float, seed: int, mandatory_weeks: float, other_weeks: float) -> None:
    if not 1 <= seconds <= MOST_SECONDS:
        raise FettleError(f"Seconds must be a number from 1 to {MOST_SECONDS:.0f}.")
    if not 0 <= seed <= MOST_SEED:
        raise FettleError(f"A seed must be a whole number from 0 to {MOST_SEED}.")
    if not (0 <= mandatory_weeks <= MOST_WEEKS and 0 <= other_weeks <= MOST_WEEKS):
        raise FettleError(f"Weeks kept in hand must be numbers from 0 to {MOST_WEEKS:.0f}.")


def _going(exhibition: Exhibition) -> tuple[Plan, Job] | None:
    """A plan asked for before and not ended yet. The exhibition is locked: a button pressed twice asks once."""
    Exhibition.objects.select_for_update().filter(pk=exhibition.pk).first()
    rows = Plan.objects.filter(exhibition=exhibition, finished_at=None, job__cancel_asked=False)
    row = rows.filter(job__state__in=[JobState.QUEUED, JobState.RUNNING]).select_related("job").first()
    return (row, row.job) if row and row.job else None


def make_first(offer: Offer) -> dict[str, Any]:
    """A plan by rule of thumb, in milliseconds, with its benefit; how good it could be is not known yet."""
    found = greedy_plan(offer.instance)
    by_id = {thing["id"]: thing for thing in offer.instance["objects"]}
    benefit = sum(by_id[name]["levels"][level]["benefit"] for name, level in found["levels"].items())
    return {**found, "benefit": float(benefit), "bound": None, "share": None}


@transaction.atomic
def keep_plan(
    row: Plan, offer: Offer, found: Mapping[str, Any], pins: Mapping[str, int], *, at: datetime, last: bool
) -> Plan:
    """Write a plan whole in place of what was kept of it so far. ``last`` closes it.

    Kept only if it is better than what is there: more mandatory objects, then more benefit.
    """
    by_id = {thing["id"]: thing for thing in offer.instance["objects"]}
    mandatory = sum(by_id[name]["mandatory"] for name in found["levels"])
    better = row.kept_at is None or (mandatory, found["benefit"]) > (row.mandatory_planned, row.benefit)
    if better:
        _write(row, offer, found, pins, by_id)
        row.mandatory_planned, row.benefit = mandatory, found["benefit"]
        row.kept_at = row.kept_at or at
        row.moved = [offer.numbers[name] for name in found.get("moved", ())]
    if found["bound"] is not None:
        row.bound = found["bound"]
        row.share = row.benefit / row.bound if row.bound else 1.0
    row.cut_short = bool(found.get("cut_short", False))
    if last:
        row.finished_at = at
        became = {"planned": row.planned, "share": row.share, "left_out": len(row.left_out), "moved": len(row.moved)}
        events.record(row, "plan", by=row.by, at=at, became=became)
    row.save()
    return row


def _write(
    row: Plan, offer: Offer, found: Mapping[str, Any], pins: Mapping[str, int], by_id: Mapping[str, Any]
) -> None:
    steps = [_step(row, offer, one, found["levels"], pins, by_id) for one in found["steps"]]
    PlannedStep.objects.filter(plan=row).delete()
    bulk.insert(PlannedStep, steps, leave_out=("id",))
    row.hours = sum((step.ends - step.starts).total_seconds() for step in steps) / 3600
    row.planned, row.mandatory = len(found["levels"]), sum(thing["mandatory"] for thing in by_id.values())
    row.left_out = [_left_out(one, by_id[one["object"]], offer) for one in found["left_out"]]


def _step(
    row: Plan,
    offer: Offer,
    one: tuple[str, str, str, int],
    levels: Mapping[str, int],
    pins: Mapping[str, int],
    by_id: Mapping[str, Any],
) -> PlannedStep:
    name, code, person, start = one
    level = by_id[name]["levels"][levels[name]]
    step = next(step for step in level["steps"] if step["id"] == code)
    end, monday = start + step["q"], offer.work.monday
    return PlannedStep(
        plan=row, object_id=uuid.UUID(name), level=level["name"], code=code, name=_step_words(code, offer.words),
        staff_id=uuid.UUID(person), starts=_aware(moment_of(start, monday)), ends=_aware(moment_of(end, monday)),
        wait_until=_aware(moment_of(end + step["cure"], monday)) if step["cure"] else None, pinned_by_id=pins.get(name),
    )  # fmt: skip


def _step_words(code: str, words: Mapping[str, str]) -> str:
    """``05-join-2`` as its step is called, and which sitting of it."""
    _, step, *part = code.split("-")
    return f"{words.get(step, step)}, sitting {part[0]}" if part else words.get(step, step)


def _aware(moment: datetime) -> datetime:
    return timezone.make_aware(moment)


def _left_out(one: Mapping[str, str], thing: Mapping[str, Any], offer: Offer) -> dict[str, Any]:
    """Why an object has no place, and what its shortest level would take: hours, most of them of which skill."""
    reason = REASON_WORDS.get(one["code"], REASONS.get(one["code"], one["reason"]))
    made: dict[str, Any] = {
        "object": one["object"], "number": offer.numbers[one["object"]], "mandatory": bool(thing["mandatory"]),
        "reason": reason, "by": offer.work.due[uuid.UUID(one["object"])].isoformat(),
    }  # fmt: skip
    if thing["levels"]:
        level = min(thing["levels"], key=lambda level: sum(step["q"] for step in level["steps"]))
        by_skill: dict[str, int] = {}
        for step in level["steps"]:
            by_skill[step["skill"]] = by_skill.get(step["skill"], 0) + step["q"]
        most = max(by_skill, key=lambda skill: by_skill[skill])
        made |= {
            "level": level["name"], "hours": sum(by_skill.values()) / QUARTERS, "most": by_skill[most] / QUARTERS,
            "skill": SKILL_WORDS.get(most, most),
        }  # fmt: skip
    return made


@transaction.atomic
def pin(plan: Plan, thing: uuid.UUID, *, to: bool, by: User, at: datetime) -> None:
    """Hold an object's sittings where they are when the work is planned again, or let them go."""
    steps = plan.steps.filter(object_id=thing)
    if not steps.exists():
        raise NotThere("This object is not in the plan any more. Look at the newest plan.")
    changed = steps.filter(pinned_by__isnull=to).update(pinned_by=by if to else None)
    if changed:
        events.record(plan, "pinned" if to else "unpinned", by=by, at=at, thread=str(thing), note=f"{changed} sittings")


@transaction.atomic
def set_effects(values: Mapping[str, Effect], *, by: User | None, at: datetime) -> None:
    """The department's own shares of loss removed; counted from the next plan on."""
    before = effects()
    for level, effect in values.items():
        if not 0 <= effect.share <= 1:
            raise FettleError("A share of loss removed must lie between 0 and 100 %.")
        if before.get(level) == effect:
            continue
        row, _ = LevelEffect.objects.update_or_create(
            level=level, defaults={"share": effect.share, "grounds": effect.grounds}
        )
        was = {"share": before[level].share, "grounds": before[level].grounds} if level in before else None
        events.record(row, "share of loss changed", by=by, at=at, was=was, became=effect._asdict())
