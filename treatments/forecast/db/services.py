"""Making a forecast: simulate the work to opening day and keep what came out, with its seed and assumptions."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from django.db import transaction
from django.utils import timezone
from numpy.typing import NDArray

from media.base import bulk, events, jobs
from media.base.errors import FettleError
from media.base.models import Job, JobState, User
from survey.register.db.models import Exhibition, Use
from survey.register.db.selectors import current_exhibition
from treatments.forecast import kept, results
from treatments.forecast.db.models import Forecast, Mishap, ObjectForecast
from treatments.forecast.db.selectors import (
    MOUNTED,
    Work,
    assumed_mishaps,
    days_ahead,
    gather_work,
    mishap,
    nobody_works,
)
from treatments.forecast.dispatch import PHOTO_LATE
from treatments.forecast.noise import Noise
from treatments.forecast.simulate import simulate
from treatments.hours.db.selectors import Experience, experience, hours_needed
from treatments.options.steps import SKILL_WORDS
from treatments.planning.calendar import WEEK, end_of_day, moment_of
from treatments.planning.db.selectors import bench_hours, missing_skills
from treatments.planning.greedy import greedy_plan

TRIALS, MOST_TRIALS = 2_000, 200_000
MOST_SEED = 2**31 - 1
QUANTILES = (0.1, 0.5, 0.9)
DATES = (0.1, 0.5, 0.8, 0.9, 0.95)
FEW = 12
CAUSES = {
    "hood": "a fume hood is taken",
    "bench": "the photography bench is taken",
    results.MORE_HOURS: "the work takes longer than estimated",
    results.DATES_ONLY: "waits for adhesive and filler, and its dates",
}
NO_ROOM = {
    "too_long": "need a sitting longer than any shift",
    "date_past": "can no longer be ready in time",
    "no_time": "cannot be ready in time even if nothing else were done",
    "no_room": "cannot be fitted in before their dates beside more urgent work",
}
LIMITS = {
    "sick_days": ("Days ill in a year", 0.0, 150.0),
    "spell_days": ("Days that an illness lasts", 1.0, 90.0),
    "surprise": ("The chance of a surprise", 0.001, 0.999),
    "surprise_weight": ("How many objects that chance is worth", 1.0, 1000.0),
    "surprise_extra": ("What a surprise adds", 0.0, 5.0),
}
PLACE_WORDS = {"hood": "fume hood", "bench": "photography bench"}


@transaction.atomic
def start_forecast(
    *,
    by: User | None,
    at: datetime,
    exhibition: Exhibition | None = None,
    trials: int = TRIALS,
    seed: int | None = None,
) -> tuple[Forecast, Job]:
    """Ask for a forecast; it goes on as a job. Refused in words where there is nothing to forecast.

    Asked for again while the same one is being made, that one is given back.
    """
    if not 1 <= trials <= MOST_TRIALS:
        raise FettleError(f"Trials must be a whole number from 1 to {MOST_TRIALS}.")
    if seed is not None and not 0 <= seed <= MOST_SEED:
        raise FettleError(f"A seed must be a whole number from 0 to {MOST_SEED}.")
    day = timezone.localdate(at)
    exhibition = exhibition or current_exhibition(day)
    if exhibition is None:
        raise FettleError("There is no exhibition to forecast. Add one with its opening day and a checklist first.")
    days_ahead(exhibition, day)
    if nobody_works():
        raise FettleError("Nobody is recorded at the bench. Add staff with their weekly hours first.")
    seed = day.toordinal() if seed is None else seed
    if going := _going(exhibition, trials, seed):
        return going
    row = Forecast.objects.create(
        exhibition=exhibition, as_of=day, seed=seed, trials=trials, made_at=at, asked_by=by
    )  # fmt: skip
    job = jobs.enqueue("treatments.forecast.run", by=by, title=f"Forecast for {exhibition}", forecast_id=str(row.pk))
    row.job = job
    row.save(update_fields=["job"])
    events.record(row, "asked for a forecast", by=by, at=at, became={"exhibition": str(exhibition), "seed": row.seed})
    return row, job


def start_nightly(*, at: datetime) -> Forecast | None:
    """Ask for the day's forecast, unless somebody made one that day. Raises ``FettleError`` where none can be made."""
    day = timezone.localdate(at)
    exhibition = current_exhibition(day)
    if Forecast.objects.filter(exhibition=exhibition, as_of=day, finished_at__isnull=False).exists():
        return None
    return start_forecast(by=None, at=at)[0]


@transaction.atomic
def set_mishap(values: Mapping[str, float], reason: str, *, by: User | None, at: datetime) -> Mishap:
    """Put in force what the forecast assumes to come between; earlier assumptions stay in the record."""
    for name, (words, low, high) in LIMITS.items():
        if not (math.isfinite(values[name]) and low <= values[name] <= high):
            raise FettleError(f"{words} must lie between {low:g} and {high:g}.")
    if not reason.strip():
        raise FettleError("Say why this changes; the reason is kept with it.")
    was, row = mishap(), Mishap(**values, reason=reason.strip()[:500], at=at, by=by)
    row.save()
    events.record(
        row, "set what may come between", by=by, at=at, was={name: getattr(was, name) for name in LIMITS},
        became=dict(values), note=row.reason,
    )  # fmt: skip
    return row


def _going(exhibition: Exhibition, trials: int, seed: int) -> tuple[Forecast, Job] | None:
    """The same forecast, asked for before and not begun or not ended yet."""
    # The exhibition's row is locked, so that a button pressed twice asks once.
    Exhibition.objects.select_for_update().filter(pk=exhibition.pk).first()
    same = Forecast.objects.filter(exhibition=exhibition, trials=trials, seed=seed, finished_at=None)
    going = same.filter(job__state__in=[JobState.QUEUED, JobState.RUNNING], job__cancel_asked=False)
    row = going.select_related("job").first()
    return (row, row.job) if row and row.job else None


def make_forecast(row: Forecast, *, progress: Callable[[int], None]) -> dict[str, Any]:
    """Simulate and fill the row in; the caller writes it. ``progress`` gets the trials done so far."""
    local = timezone.localtime(row.made_at).replace(tzinfo=None)
    work, known = gather_work(row.exhibition, local), experience()
    noise = Noise(team_sigma=min(known.log_sigma, 1.0))  # the factor itself is in the hours already
    between = assumed_mishaps(in_hours_already=known.reference.enough)
    outcome = simulate(
        work.instance, work.planned, trials=row.trials, seed=row.seed, noise=noise, mishaps=between.drawn(),
        progress=progress,
    )  # fmt: skip
    _fill_in(row, work, known, noise, outcome)
    row.assumptions |= between.as_words()
    return {"row": row, "objects": _object_rows(row, work, outcome)}


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


def _fill_in(row: Forecast, work: Work, known: Experience, noise: Noise, outcome: results.Forecast) -> None:
    needed = hours_needed(work.left, known)
    row.hours_there = bench_hours(work.department, end_of_day(work.milestones["opening"], work.monday))
    row.hours_needed = {"low": needed.low, "likely": needed.likely, "high": needed.high}
    first = greedy_plan(work.instance)
    row.weeks = _weeks(work, first)
    row.chances = {kind: float(holds.mean()) for kind, holds in _ready(outcome, work).items()}
    late = _late(outcome, work)
    row.chance_all = float((~late.any(axis=1)).mean())
    row.expected_late = float(late.sum(axis=1).mean())
    row.finish, row.curve = _finish(outcome, work), _curve(outcome, work)
    row.counts, row.done, row.buffers = _counts(outcome, work), len(work.done), _buffers(outcome, work)
    row.critical = _critical(outcome, work)
    row.notes = _notes(work, first)
    row.assumptions = {
        "jobs": known.reference.jobs,
        "factor": round(known.factor, 3),
        "factor_sigma": round(noise.team_sigma, 3),
        "own_hours": known.reference.enough,
        "step_sigma": noise.sigma,
        "objects": len(work.entries),
        "with_work": len(work.instance["objects"]),
        "done": len(work.done),
        "chosen": sum(plan.chosen is not None for plan in work.plans.values()),
        "order": "the next step that is ready, most urgent first; importance 4 and 5 jump ahead by three weeks",
    }


def _ready(outcome: results.Forecast, work: Work) -> dict[str, NDArray[np.bool_]]:
    """Kind of milestone to whether all that is due by it is ready, in each trial."""
    index = {UUID(name): column for column, name in enumerate(outcome.object_ids)}
    found: dict[str, NDArray[np.bool_]] = {}
    for kind, day in work.milestones.items():
        if kind == "end":
            continue
        objects = [pk for pk in _due_by(kind, work) if pk in index]
        late = outcome.ready[:, [index[pk] for pk in objects]] > end_of_day(day, work.monday)
        if kind == "photography" and day >= work.today:
            # What is needed later has only to be photographed by then; what is needed sooner is ready by then or not.
            later = [place for place, pk in enumerate(objects) if work.due[pk] >= day]
            columns = [index[objects[place]] for place in later]
            late[:, later] = (outcome.missed[:, columns] & PHOTO_LATE) > 0
        found[kind] = np.asarray(~late.any(axis=1))
    return found


def _due_by(kind: str, work: Work) -> list[UUID]:
    """Objects that must be ready for a milestone: all for photography and opening, else by how they are shown."""
    wanted = {"mount_making": MOUNTED, "case_closing": {Use.CASE, Use.OPEN_MOUNT}}.get(kind, set(Use))
    return [pk for pk, entry in work.entries.items() if entry.use in wanted]


def _late(outcome: results.Forecast, work: Work) -> NDArray[np.bool_]:
    """[trials, objects]: whether an object misses a date of its own; one whose day has passed has missed it."""
    passed = np.array([UUID(name) in work.overdue for name in outcome.object_ids], dtype=np.bool_)
    return outcome.late | passed


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


def _finish(outcome: results.Forecast, work: Work) -> dict[str, str | None]:
    """10, 50, 80, 90 and 95 % dates of the last object; today where nothing is left to do, none where that is never."""
    names = [f"{round(100 * q)}" for q in DATES]
    last = outcome.ready.max(axis=1, initial=0.0)
    days = [_day(q, work) for q in np.quantile(last, DATES, method="inverted_cdf")]
    return {name: day.isoformat() if day else None for name, day in zip(names, days, strict=True)}


def _curve(outcome: results.Forecast, work: Work) -> list[list[Any]]:
    """Chance that everything is ready by the end of each week, to eight weeks past opening."""
    last = outcome.ready.max(axis=1, initial=0.0)
    return [
        [(work.monday + timedelta(days=7 * week - 1)).isoformat(), float((last <= week * WEEK).mean())]
        for week in range(1, work.department.weeks + 9)
    ]


def _counts(outcome: results.Forecast, work: Work) -> list[list[Any]]:
    """By the end of each week, how many objects with work are ready: 10, 50 and 90 % of futures."""
    ends = [week * WEEK for week in range(work.department.weeks + 9)]
    found = kept.ready_counts(outcome.ready, ends, QUANTILES)
    return [
        [(work.monday + timedelta(days=7 * week - 1)).isoformat(), *(int(count) for count in found[week])]
        for week in range(len(ends))
    ]


def _buffers(outcome: results.Forecast, work: Work) -> list[dict[str, Any]]:
    """For each date ahead, when all due by it is ready; photography is left out, since it goes by photographs."""
    index = {UUID(name): column for column, name in enumerate(outcome.object_ids)}
    made = []
    for kind, day in work.milestones.items():
        if kind in {"end", "photography"} or day < work.today:
            continue
        columns = [index[pk] for pk in _due_by(kind, work) if pk in index]
        last = outcome.ready[:, columns].max(axis=1, initial=0.0)
        days = [_day(q, work) for q in np.quantile(last, kept.BUFFERS, method="inverted_cdf")]
        named = {f"{round(100 * q)}": d.isoformat() if d else None for q, d in zip(kept.BUFFERS, days, strict=True)}
        made.append({"kind": kind, "date": day.isoformat(), **named})
    return made


def _critical(outcome: results.Forecast, work: Work) -> dict[str, Any]:
    """Who and what most often decides when all is ready."""
    late = _late(outcome, work)
    names = {str(person.id): name for person, name in zip(work.department.people, work.department.names, strict=True)}
    shares = kept.share_of_lateness(late, outcome.cause, len(outcome.causes))
    people = [
        {"name": names.get(load.person, load.person), "late": float(share), "hours": load.mean_hours,
         "hours_90": load.p90_hours, "duty": load.duty_hours}
        for load, share in zip(outcome.load, shares, strict=False)
    ]  # fmt: skip
    lasts = kept.last_shares(outcome.ready)
    order = np.argsort(-lasts, kind="stable")[:FEW]
    objects = [{"object": outcome.object_ids[n], "last": float(lasts[n])} for n in order if lasts[n] > 0]
    return {"people": sorted(people, key=lambda one: -one["late"]), "objects": objects}


def _day(quarter: float, work: Work) -> date | None:
    """The day on which something is ready: at its midnight it still counts as that day. Nothing for never."""
    if not np.isfinite(quarter):
        return None
    return max(work.today, moment_of(max(0, math.ceil(quarter) - 1), work.monday).date())


def _notes(work: Work, plan: dict[str, Any]) -> list[str]:
    """What cannot be done at all, and what a first schedule cannot place, in words."""
    notes = list(_lacking(work))
    for code, count in Counter(left["code"] for left in plan["left_out"]).most_common():
        if code in NO_ROOM:
            notes.append(f"By a first schedule {_objects(count)} {NO_ROOM[code]}.")
    if overdue := len(work.overdue):
        notes.append(f"The day on which {_objects(overdue)} had to be ready has passed.")
    past = [kind.replace("_", " ") for kind, day in work.milestones.items() if day < work.today]
    return notes + [f"The date of {kind} has passed." for kind in past]


def _lacking(work: Work) -> Sequence[str]:
    """People, skills and benches that the work needs and that are not there before opening day."""
    steps = [step for thing in work.instance["objects"] for step in thing["levels"][0]["steps"]]
    if not steps:
        return []
    if not any(work.department.shifts):
        return ["Nobody has hours at the bench before opening day: look at weeks, leave and days off of the staff."]
    skills = missing_skills(work.department, {step["skill"] for step in steps})
    counts = {"hood": work.department.hoods, "bench": work.department.benches}
    places = [place for place in {step["resource"] for step in steps} - {None} if not counts[place]]
    return [
        *(
            f"Nobody at the bench before opening day can {SKILL_WORDS[skill]}, and the work needs it."
            for skill in skills
        ),
        *(f"There is no {PLACE_WORDS[place]}, and the work needs one." for place in sorted(places)),
    ]


def _objects(count: int) -> str:
    return f"{count} object{'' if count == 1 else 's'}"


def _object_rows(row: Forecast, work: Work, outcome: results.Forecast) -> list[ObjectForecast]:
    late, causes = _late(outcome, work).mean(axis=0), outcome.causes_of_lateness()
    quantiles = outcome.ready_quantiles(QUANTILES) if outcome.object_ids else np.empty((3, 0))
    names = {str(person.id): name for person, name in zip(work.department.people, work.department.names, strict=True)}
    rows = []
    for column, name in enumerate(outcome.object_ids):
        pk = UUID(name)
        plan = work.plans[pk]
        low, middle, high = (_day(quantiles[turn, column], work) for turn in range(3))
        rows.append(
            ObjectForecast(
                forecast=row,
                object_id=pk,
                level=plan.level,
                hours=plan.counts.hours.likely,
                need_by=work.due[pk],
                late=float(late[column]),
                ready_10=low,
                ready_50=middle,
                ready_90=high,
                cause=_cause(pk, work, outcome, causes[column], names),
            )
        )
    return rows


def _cause(pk: UUID, work: Work, outcome: results.Forecast, shares: NDArray[np.float64], names: dict[str, str]) -> str:
    """What most often keeps an object from being in time; nothing where it always is."""
    if pk in work.overdue:
        return "its day has passed"
    if not shares.any():
        return ""
    if missing_skills(work.department, needed := _skills(pk, work)):
        return f"nobody can {SKILL_WORDS[missing_skills(work.department, needed)[0]]}"
    code = outcome.causes[int(shares.argmax())]
    return f"{names[code]} has no time earlier" if code in names else CAUSES.get(code, code)


def _skills(pk: UUID, work: Work) -> set[str]:
    return {step.skill for step in work.plans[pk].counts.steps}
