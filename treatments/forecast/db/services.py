"""Making a forecast: simulate the work to opening day and keep what came out, with its seed and assumptions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from django.db import transaction
from django.utils import timezone
from numpy.typing import NDArray

from media.base import bulk, events, jobs
from media.base.errors import FettleError
from media.base.models import Job, User
from survey.register.db.models import Exhibition, Use
from survey.register.db.selectors import current_exhibition
from treatments.forecast import results
from treatments.forecast.db.models import Forecast, ObjectForecast
from treatments.forecast.db.selectors import MOUNTED, Work, gather_work, nobody_works
from treatments.forecast.dispatch import PHOTO_LATE
from treatments.forecast.noise import Noise
from treatments.forecast.simulate import simulate
from treatments.hours.db.selectors import Experience, experience
from treatments.hours.estimate import total_hours
from treatments.planning.calendar import WEEK, end_of_day, moment_of
from treatments.planning.db.selectors import bench_hours, missing_skills
from treatments.planning.greedy import greedy_plan

TRIALS = 2_000
QUANTILES = (0.1, 0.5, 0.9)
CAUSES = {
    "hood": "a fume hood is taken",
    "bench": "the photography bench is taken",
    results.MORE_HOURS: "the work takes longer than estimated",
    results.DATES_ONLY: "waits for adhesive and filler, and its dates",
}


@transaction.atomic
def start_forecast(
    *, by: User | None, at: datetime, exhibition: Exhibition | None = None, seed: int | None = None
) -> tuple[Forecast, Job]:
    """Ask for a forecast; it goes on as a job. Refused in words where there is nothing to forecast."""
    exhibition = exhibition or current_exhibition()
    if exhibition is None:
        raise FettleError("There is no exhibition to forecast. Add one with its opening day and a checklist first.")
    if not exhibition.milestones.filter(kind="opening").exists():
        raise FettleError(f"{exhibition} has no opening day yet. Set its dates first.")
    if nobody_works():
        raise FettleError("Nobody is recorded at the bench. Add staff with their weekly hours first.")
    day = timezone.localdate(at)
    row = Forecast.objects.create(
        exhibition=exhibition, as_of=day, seed=day.toordinal() if seed is None else seed, trials=TRIALS,
        made_at=at, asked_by=by,
    )  # fmt: skip
    job = jobs.enqueue("treatments.forecast.run", by=by, title=f"Forecast for {exhibition}", forecast_id=str(row.pk))
    row.job = job
    row.save(update_fields=["job"])
    events.record(row, "asked for a forecast", by=by, at=at, became={"exhibition": str(exhibition), "seed": row.seed})
    return row, job


def make_forecast(row: Forecast, *, progress: Callable[[int], None]) -> dict[str, Any]:
    """Simulate and fill the row in; the caller writes it. ``progress`` gets the trials done so far."""
    local = timezone.localtime(row.made_at).replace(tzinfo=None)
    work, known = gather_work(row.exhibition, local), experience()
    noise = Noise(team_median=known.factor, team_sigma=min(known.log_sigma, 1.0))
    outcome = simulate(work.instance, work.planned, trials=row.trials, seed=row.seed, noise=noise, progress=progress)
    ready = _ready(outcome, work)
    _fill_in(row, work, known, ready, outcome)
    rows = _object_rows(row, work, outcome)
    return {"row": row, "objects": rows}


@transaction.atomic
def keep_forecast(made: dict[str, Any], *, at: datetime) -> Forecast:
    """Write a forecast whole, replacing what an earlier attempt at the same one left."""
    row: Forecast = made["row"]
    ObjectForecast.objects.filter(forecast=row).delete()
    bulk.insert(ObjectForecast, made["objects"], leave_out=("id",))
    row.finished_at = at
    row.save()
    events.record(row, "forecast", by=row.asked_by, at=at, became={"chances": row.chances, "finish": row.finish})
    return row


def _ready(outcome: results.Forecast, work: Work) -> dict[str, NDArray[np.bool_]]:
    """Kind of milestone to whether all that is due by it is ready, in each trial."""
    index = {UUID(name): column for column, name in enumerate(outcome.object_ids)}
    trials = outcome.trials
    found = {}
    for kind, day in work.milestones.items():
        if kind == "end":
            continue
        columns = [index[pk] for pk in _due_by(kind, work) if pk in index]
        if kind == "photography":
            late = (outcome.missed[:, columns] & PHOTO_LATE) > 0
        else:
            late = outcome.ready[:, columns] > end_of_day(day, work.monday)
        found[kind] = np.asarray(~late.any(axis=1) if columns else np.ones(trials, dtype=np.bool_))
    return found


def _due_by(kind: str, work: Work) -> list[UUID]:
    """Objects that must be ready for a milestone: all for photography and opening, else by how they are shown."""
    wanted = {
        "mount_making": lambda use: use in MOUNTED,
        "case_closing": lambda use: use in {Use.CASE, Use.OPEN_MOUNT},
    }.get(kind, lambda _: True)
    return [pk for pk, entry in work.entries.items() if wanted(entry.use)]


def _fill_in(
    row: Forecast, work: Work, known: Experience, ready: dict[str, NDArray[np.bool_]], outcome: results.Forecast
) -> None:
    counted = [plan.counts for pk, plan in work.plans.items() if pk not in work.done and plan.counts.steps]
    opening = end_of_day(work.milestones["opening"], work.monday)
    row.hours_there = bench_hours(work.department, opening)
    row.hours_needed = _needed([c.hours.low for c in counted], [c.hours.high for c in counted], known)
    first = greedy_plan(work.instance)
    row.weeks = _weeks(work, first)
    row.chances = {kind: float(holds.mean()) for kind, holds in ready.items()}
    all_dates = ~outcome.late.any(axis=1) if outcome.object_ids else np.ones(outcome.trials, dtype=np.bool_)
    row.chance_all = float(all_dates.mean())
    row.expected_late = outcome.late_mean if outcome.object_ids else 0.0
    row.finish, row.curve = _finish(outcome, work)
    row.notes = _notes(work, first)
    row.assumptions = {
        "jobs": known.reference.jobs,
        "factor": round(known.factor, 3),
        "factor_sigma": round(known.log_sigma, 3),
        "own_hours": known.reference.enough,
        "step_sigma": 0.45,
        "objects": len(work.entries),
        "with_work": len(work.instance["objects"]),
        "chosen": sum(plan.chosen is not None for plan in work.plans.values()),
        "order": "the next step that is ready, most urgent first; importance 4 and 5 jump ahead by three weeks",
    }


def _needed(low: list[float], high: list[float], known: Experience) -> dict[str, float]:
    """Hours of all levels: one in ten below, middle, one in ten above; the shared factor does not average out."""
    if not low:
        return {"low": 0.0, "likely": 0.0, "high": 0.0}
    spread = float(np.sqrt(np.expm1(known.log_sigma**2)))
    total = total_hours(low, high, factor=known.factor, shared_cv=spread)
    return {name: float(total.quantile(q)) for name, q in zip(("low", "likely", "high"), QUANTILES, strict=True)}


def _weeks(work: Work, plan: dict[str, Any]) -> list[dict[str, Any]]:
    """Per week: hours there are, and hours that a first schedule by a priority rule gives them."""
    length = {(o["id"], s["id"]): s["q"] for o in work.instance["objects"] for s in o["levels"][0]["steps"]}
    planned: Counter[int] = Counter()
    for thing, step, _, start in plan["steps"]:
        planned[start // WEEK] += length[thing, step]
    return [
        {
            "week": (work.monday + timedelta(weeks=week)).isoformat(),
            "there": round(hours, 2),
            "needed": planned[week] / 4,
        }
        for week, hours in enumerate(work.department.hours_per_week())
    ]


def _finish(outcome: results.Forecast, work: Work) -> tuple[dict[str, str | None], list[list[Any]]]:
    """10, 50 and 90 % dates of the last object, and the chance that everything is ready by the end of each week."""
    if not outcome.object_ids:
        return {f"{q:.0%}"[:-1]: None for q in QUANTILES}, []
    last = outcome.ready.max(axis=1)
    dates = outcome.finish_weeks(QUANTILES)
    finish = {f"{q:.0%}"[:-1]: _iso(dates[q], work.monday) for q in QUANTILES}
    weeks = range(1, work.department.weeks + 9)
    curve = [
        [(work.monday + timedelta(days=7 * week - 1)).isoformat(), float((last <= week * WEEK).mean())]
        for week in weeks
    ]
    return finish, curve


def _iso(weeks: float | None, monday: date) -> str | None:
    return None if weeks is None else moment_of(round(weeks * WEEK), monday).date().isoformat()


def _notes(work: Work, plan: dict[str, Any]) -> list[str]:
    """What cannot be done at all, and what a first schedule cannot place, in words."""
    numbers = {str(pk): entry.object_id for pk, entry in work.entries.items()}
    needed = [s["skill"] for o in work.instance["objects"] for s in o["levels"][0]["steps"]]
    notes = [f"Nobody at the bench can {skill}." for skill in missing_skills(work.department, needed)]
    reasons = Counter(left["reason"] for left in plan["left_out"] if left["object"] in numbers)
    notes += [
        f"{count} {'object does' if count == 1 else 'objects do'} not fit into a first schedule: {reason}."
        for reason, count in reasons.most_common(5)
    ]
    past = [kind for kind, day in work.milestones.items() if day < work.monday]
    return notes + [f"The date of {kind.replace('_', ' ')} has passed." for kind in past]


def _object_rows(row: Forecast, work: Work, outcome: results.Forecast) -> list[ObjectForecast]:
    late, causes = outcome.late_chance, outcome.causes_of_lateness()
    quantiles = outcome.ready_quantiles(QUANTILES) if outcome.object_ids else np.empty((3, 0))
    names = {str(person.id): name for person, name in zip(work.department.people, work.department.names, strict=True)}
    rows = []
    for column, name in enumerate(outcome.object_ids):
        pk = UUID(name)
        plan = work.plans[pk]
        days = [_day(quantiles[turn, column], work.monday) for turn in range(3)]
        worst = int(causes[column].argmax()) if late[column] > 0 else -1
        rows.append(
            ObjectForecast(
                forecast=row,
                object_id=pk,
                level=plan.level,
                hours=plan.counts.hours.likely,
                need_by=work.due[pk],
                late=float(late[column]),
                ready_10=days[0],
                ready_50=days[1],
                ready_90=days[2],
                cause=_cause(outcome.causes[worst], names) if worst >= 0 else "",
            )
        )
    return rows


def _day(quarter: float, monday: date) -> date | None:
    return moment_of(int(quarter), monday).date() if np.isfinite(quarter) else None


def _cause(code: str, names: dict[str, str]) -> str:
    return f"{names[code]} has no time earlier" if code in names else CAUSES.get(code, code)
