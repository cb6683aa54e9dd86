"""Scenarios and what was reckoned of them, as they are kept; asking for it to be reckoned."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from media.base import events, jobs
from media.base.errors import FettleError, NotThere
from media.base.models import Job, User
from survey.register.db.models import Exhibition
from treatments.forecast.db.selectors import nobody_works
from treatments.options.steps import SKILLS
from treatments.planning.db.selectors import days_ahead
from treatments.whatif.db.models import Comparison, GivingWay, Scenario
from treatments.whatif.db.selectors import GOING, MOST_SCENARIOS, OPENING

TRIALS, SEARCH_TRIALS = 2_000, 1_000
MOST_WEEKS, MOST_HOURS = 104, 60.0
LONGEST_MOVE = timedelta(days=3653)


@transaction.atomic
def add_scenario(exhibition: Exhibition, name: str, changes: Mapping[str, Any], *, by: User, at: datetime) -> Scenario:
    """Keep a scenario. Refused in words: a sixth, one that changes nothing, a change that cannot be."""
    Exhibition.objects.select_for_update().filter(pk=exhibition.pk).first()
    if Scenario.objects.filter(exhibition=exhibition).count() >= MOST_SCENARIOS:
        raise FettleError(f"There are {MOST_SCENARIOS} scenarios, as many as fit side by side. Take one out first.")
    changes = {key: value for key, value in changes.items() if value}
    if not changes:
        raise FettleError("This changes nothing. Add a person, or say what is left out, simplified or moved.")
    _check(exhibition, changes, at)
    row = Scenario.objects.create(
        exhibition=exhibition, name=name.strip()[:80] or "Scenario", changes=changes, made_at=at, by=by
    )
    events.record(row, "scenario made", by=by, at=at, became={"name": row.name, "changes": changes})
    return row


def _check(exhibition: Exhibition, changes: Mapping[str, Any], at: datetime) -> None:
    today = timezone.localdate(at)
    dates = days_ahead(exhibition, today)
    for kind, text in changes.get("dates", {}).items():
        day = date.fromisoformat(text)
        if kind not in dates:
            raise FettleError("This date is not set in the exhibition, so it cannot be moved. Set it first.")
        if day < today or day - today > LONGEST_MOVE:
            raise FettleError("A date must be moved to a day from today on, within ten years.")
        dates[kind] = day
    order = [day for kind, day in dates.items() if kind in {"photography", "mount_making", "case_closing", "opening"}]
    if changes.get("dates") and order != sorted(order):
        raise FettleError("Dates would not follow each other: photography, mount-making, case closing, opening.")
    if wish := changes.get("person"):
        known = 1 <= wish["weeks"] <= MOST_WEEKS and 0 < wish["hours"] <= MOST_HOURS
        if not known or not wish["skills"] or not set(wish["skills"]) <= set(SKILLS):
            raise FettleError(
                f"One more person needs a skill, 1 to {MOST_WEEKS} weeks and at most {MOST_HOURS:g} h a week."
            )


@transaction.atomic
def remove_scenario(pk: uuid.UUID, *, by: User, at: datetime) -> Scenario:
    """Take a scenario out. What it was stays in the record of changes."""
    row = Scenario.objects.filter(pk=pk).first()
    if row is None:
        raise NotThere("This scenario is not there any more.")
    events.record(row, "scenario taken out", by=by, at=at, was={"name": row.name, "changes": row.changes})
    row.delete()
    return row


@transaction.atomic
def start_comparison(exhibition: Exhibition, *, by: User | None, at: datetime, trials: int = TRIALS) -> Job:
    """Ask for all scenarios to be reckoned beside the record as it is; it goes on as a job."""
    _ready(exhibition, at)
    if going := _going(Comparison, exhibition):
        return going
    seed = timezone.localdate(at).toordinal()
    row = Comparison.objects.create(exhibition=exhibition, made_at=at, by=by, seed=seed, trials=trials)
    title = f"What if, for {exhibition}"
    row.job = jobs.enqueue("treatments.whatif.compare", by=by, title=title, comparison_id=row.pk)
    row.save(update_fields=["job"])
    return row.job


@transaction.atomic
def start_giving_way(
    exhibition: Exhibition, *, target: float, allowed: Sequence[str], by: User | None, at: datetime,
    measure: str = OPENING, trials: int = SEARCH_TRIALS,
) -> Job:  # fmt: skip
    """Ask for the least that must give way for a chance; it goes on as a job."""
    if not 0 < target < 1:
        raise FettleError("The chance to reach must lie between 1 and 99 %.")
    if not {"make_good", "simplify", "drop"} & set(allowed):
        raise FettleError("Choose what may give way: making good, levels, or objects.")
    _ready(exhibition, at)
    if going := _going(GivingWay, exhibition):
        return going
    seed = timezone.localdate(at).toordinal()
    row = GivingWay.objects.create(
        exhibition=exhibition, target=target, allowed=sorted(allowed), made_at=at, by=by, seed=seed, trials=trials,
        measure=measure,
    )  # fmt: skip
    title = f"What must give way for {exhibition}"
    row.job = jobs.enqueue("treatments.whatif.give_way", by=by, title=title, giving_way_id=row.pk)
    row.save(update_fields=["job"])
    return row.job


def _going(model: type[Comparison | GivingWay], exhibition: Exhibition) -> Job | None:
    """The job of one that goes on already, so that nobody waits for two."""
    rows = model._default_manager.filter(exhibition=exhibition, finished_at=None, job__state__in=GOING)
    going = rows.select_related("job").first()
    return going.job if going and going.job and not going.job.cancel_asked else None


def _ready(exhibition: Exhibition, at: datetime) -> None:
    Exhibition.objects.select_for_update().filter(pk=exhibition.pk).first()
    days_ahead(exhibition, timezone.localdate(at))
    if nobody_works():
        raise FettleError("Nobody is recorded at the bench. Add staff with their weekly hours first.")


@transaction.atomic
def keep_comparison(row: Comparison, results: list[dict[str, Any]], *, at: datetime) -> None:
    """Write a comparison whole."""
    row.results, row.finished_at = results, at
    row.save(update_fields=["results", "finished_at"])
    became = {result["name"]: result.get("chance") for result in results}
    events.record(row, "scenarios compared", by=row.by, at=at, became=became)


@transaction.atomic
def keep_giving_way(row: GivingWay, result: dict[str, Any], *, at: datetime) -> None:
    """Write what a search found."""
    row.result, row.finished_at = result, at
    row.save(update_fields=["result", "finished_at"])
    became = {"reached": result["reached"], "chance": result["chance"], "objects": len(result["lines"])}
    events.record(row, "least that must give way", by=row.by, at=at, became=became)
