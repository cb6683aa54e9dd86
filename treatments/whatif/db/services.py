"""Keeping scenarios, reckoning them side by side, and searching for the least that must give way."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from django.db import transaction
from django.utils import timezone

from media.base import events, jobs
from media.base.errors import FettleError, NotThere
from media.base.models import Job, User
from survey.register.db.models import Exhibition
from treatments.forecast.db.selectors import assumed_mishaps, nobody_works
from treatments.forecast.noise import Noise
from treatments.forecast.results import Forecast
from treatments.forecast.simulate import PROTECT_WEEKS, simulate
from treatments.forecast.tasks import read_plan
from treatments.hours.db.selectors import experience, hours_needed
from treatments.options.steps import SKILLS
from treatments.planning.calendar import end_of_day, moment_of
from treatments.planning.db.selectors import Work, bench_hours, days_ahead, offer
from treatments.planning.db.selectors.offers import MAKE_GOOD, SCALE
from treatments.planning.db.services.plans import MANDATORY_WEEKS, OTHER_WEEKS, REASON_WORDS
from treatments.planning.greedy import greedy_plan
from treatments.planning.problem import read_instance
from treatments.planning.solve import solve_instance
from treatments.whatif.db import selectors
from treatments.whatif.db.models import Comparison, GivingWay, Scenario
from treatments.whatif.db.selectors import GOING, MOST_SCENARIOS, Ground
from treatments.whatif.giving_way import Found, Rung, least

TRIALS, SEARCH_TRIALS = 2_000, 1_000
SECONDS = 2.0  # of the search for each scenario's plan
MOST_WEEKS, MOST_HOURS = 104, 60.0
LONGEST_MOVE = timedelta(days=3653)
SIMPLER_PRICE, MAKE_GOOD_PRICE, DROP_PRICE = 2.0, 1.0, 6.0
MANDATORY_FACTOR = 3.0
ROUNDS = 3  # of searching on where other futures than those searched in fall short of the chance
SHOWN_OUT = 60
OPENING, OWN_DATES = "opening", "dates"
SHARES_OF_TERM = (0.8, 0.5, 0.25, 0.0)  # of the weeks of somebody who leaves again, what is filled beforehand


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
    going = Comparison.objects.filter(exhibition=exhibition, finished_at=None, job__state__in=GOING).first()
    if going and going.job and not going.job.cancel_asked:
        return going.job
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
    going = GivingWay.objects.filter(exhibition=exhibition, finished_at=None, job__state__in=GOING).first()
    if going and going.job and not going.job.cancel_asked:
        return going.job
    seed = timezone.localdate(at).toordinal()
    row = GivingWay.objects.create(
        exhibition=exhibition, target=target, allowed=sorted(allowed), made_at=at, by=by, seed=seed, trials=trials,
        measure=measure,
    )  # fmt: skip
    title = f"What must give way for {exhibition}"
    row.job = jobs.enqueue("treatments.whatif.give_way", by=by, title=title, giving_way_id=row.pk)
    row.save(update_fields=["job"])
    return row.job


def _ready(exhibition: Exhibition, at: datetime) -> None:
    Exhibition.objects.select_for_update().filter(pk=exhibition.pk).first()
    days_ahead(exhibition, timezone.localdate(at))
    if nobody_works():
        raise FettleError("Nobody is recorded at the bench. Add staff with their weekly hours first.")


def reckon(
    there: Ground, changes: Mapping[str, Any], *, seed: int, trials: int, tell: Callable[[float], None]
) -> dict[str, Any]:
    """One scenario's plan, chance, hours and risk left, as plain values. ``tell`` gets the share done."""
    work = selectors.suppose(there, changes)
    gone = selectors.dropped(there, changes)
    kept = [pk for pk in there.work.plans if pk not in gone]
    futures = _best_futures(there, work, seed=seed, trials=trials, tell=tell)
    opening = end_of_day(work.milestones["opening"], work.monday)
    needed = hours_needed(work.left, experience())
    must = np.array([UUID(name) in there.mandatory for name in futures.object_ids], np.bool_)
    last = futures.ready.max(axis=1, initial=0.0)
    finish = float(np.quantile(last, 0.9, method="inverted_cdf"))
    return {
        "chance": _by(futures, there, work, OPENING),
        "chance_dates": _by(futures, there, work, OWN_DATES),
        "chance_mandatory": float(1 - futures.late[:, must].any(axis=1).mean()),
        "late": futures.late_mean,
        "by": moment_of(max(0, int(finish) - 1), work.monday).date().isoformat() if np.isfinite(finish) else None,
        "opening": work.milestones["opening"].isoformat(),
        "needed": [needed.low, needed.likely, needed.high],
        "there": bench_hours(work.department, opening),
        "objects": len(kept),
        "dropped": len(gone),
        "dropped_mandatory": len(gone & there.mandatory),
        "simplified": len([pk for pk in selectors.simplified(there, changes) if pk not in gone]),
        "plan": _plan(there, work, seed=seed, tell=tell),
    }


def _best_futures(there: Ground, work: Work, *, seed: int, trials: int, tell: Callable[[float], None]) -> Forecast:
    """The futures of a scenario; with one more person, those under the division of work that serves best.

    The simulation keeps each step with its person, so what somebody who leaves again has not done would never be done.
    Divisions that leave them more and less time in hand are tried, down to giving them nothing, which is always open.
    """
    plans = [work.planned]
    if any(person.id == selectors.EXTRA for person in work.department.people):
        plans = [divided(work, share) for share in SHARES_OF_TERM]
    found = []
    for turn, plan in enumerate(plans):
        found.append(_futures(there, work, plan=plan, seed=seed, trials=trials))
        tell(0.5 * (turn + 1) / len(plans))
    return max(found, key=lambda futures: (_by(futures, there, work, OPENING), -futures.late_mean))


def divided(work: Work, share: float) -> dict[str, Any]:
    """Who does what, when one more person is given what a first schedule fits into that share of their term."""
    staff = work.instance["staff"]
    alone = {**work.instance, "staff": [person for person in staff if person["id"] != selectors.EXTRA]}
    problem = read_instance(alone)
    planned = read_plan(problem, work.planned, PROTECT_WEEKS)
    cut = [
        {**p, "shifts": p["shifts"][: round(share * len(p["shifts"]))]} if p["id"] == selectors.EXTRA else p
        for p in staff
    ]
    helped = {
        (thing, step)
        for thing, step, person, _ in greedy_plan({**work.instance, "staff": cut})["steps"]
        if person == selectors.EXTRA
    }
    people = (*problem.staff_ids, selectors.EXTRA)  # what nobody else can do is theirs
    owners = problem.work.owner[np.searchsorted(problem.work.step_ptr, planned.steps, side="right") - 1]
    steps = []
    for n in range(len(planned.steps)):  # in the order that a plan without starts has: only who does it may differ
        name, step = problem.object_ids[owners[n]], problem.step_ids[planned.steps[n]]
        person = selectors.EXTRA if (name, step) in helped else people[planned.person[n]]
        steps.append([name, step, person, None])
    return {**work.planned, "steps": steps}


def _by(futures: Forecast, there: Ground, work: Work, measure: str) -> float:
    """The chance that all is ready on opening day, or that everything meets all dates of its own."""
    if measure == OWN_DATES:
        passed = any(str(pk) in futures.object_ids for pk in work.overdue)
        return 0.0 if passed else float(1 - futures.late.any(axis=1).mean())
    opening = end_of_day(work.milestones["opening"], work.monday)
    return float((futures.ready.max(axis=1, initial=0.0) <= opening).mean())


def _futures(there: Ground, work: Work, *, seed: int, trials: int, plan: Mapping[str, Any] | None = None) -> Forecast:
    """The forecast's own simulation. Each object keeps its place and so its draws, whatever else is left out."""
    kept = {thing["id"]: thing for thing in work.instance["objects"]}
    objects = [kept.get(thing["id"], thing) for thing in there.work.instance["objects"]]
    known = experience()
    noise = Noise(team_sigma=min(known.log_sigma, 1.0))
    between = assumed_mishaps(in_hours_already=known.reference.enough).drawn()
    instance = {**work.instance, "objects": objects}
    return simulate(instance, plan or work.planned, trials=trials, seed=seed, noise=noise, mishaps=between)


def _plan(there: Ground, work: Work, *, seed: int, tell: Callable[[float], None]) -> dict[str, Any]:
    offered = offer(work, mandatory_weeks=MANDATORY_WEEKS, other_weeks=OTHER_WEEKS)
    tell(0.6)
    found = solve_instance(offered.instance, seconds=SECONDS, seed=seed)
    objects = {thing["id"]: thing for thing in offered.instance["objects"]}
    length = {
        (name, step["id"]): step["q"]
        for name, level in found["levels"].items()
        for step in objects[name]["levels"][level]["steps"]
    }
    whole = sum(there.worth.values())
    removed = found["benefit"] / SCALE
    spans: dict[str, tuple[int, int]] = {}
    for name, step, _, start in found["steps"]:
        first, last = spans.get(name, (start, start))
        spans[name] = min(first, start), max(last, start + length[name, step])
    return {
        "planned": len(found["levels"]),
        "hours": sum(length[name, step] for name, step, _, _ in found["steps"]) / 4,
        "mandatory": sum(thing["mandatory"] for thing in objects.values()),
        "mandatory_planned": sum(objects[name]["mandatory"] for name in found["levels"]),
        "share": found["share"],
        "risk_left": max(0.0, 1 - removed / whole) if whole else 0.0,
        "objects": [
            [
                name, offered.numbers[name], objects[name]["levels"][level]["name"],
                moment_of(spans[name][0], work.monday).date().isoformat(),
                moment_of(spans[name][1] - 1, work.monday).date().isoformat(),
            ]
            for name, level in sorted(found["levels"].items(), key=lambda item: (spans[item[0]], item[0]))
        ],
        "left_out": [
            [one["object"], offered.numbers[one["object"]], REASON_WORDS.get(one["code"], one["reason"])]
            for one in found["left_out"][:SHOWN_OUT]
        ],
        "left_out_count": len(found["left_out"]),
    }  # fmt: skip


def find_least(row: GivingWay, there: Ground, *, tell: Callable[[int], None]) -> dict[str, Any]:
    """The least that must give way, as plain values. Its chance is reckoned in futures that the search did not see."""
    work = there.work
    base = _futures(there, work, seed=row.seed, trials=row.trials)
    opening = end_of_day(work.milestones["opening"], work.monday)
    late = (base.late if row.measure == OWN_DATES else base.ready > opening).mean(axis=0)
    weight = {UUID(name): 0.1 + float(share) for name, share in zip(base.object_ids, late, strict=True)}
    rungs, kinds = _rungs(there, set(row.allowed), weight)

    def chance(given: Mapping[str, int], *, seed: int, trials: int) -> float:
        changes = _changes({name: kinds[name][count - 1] for name, count in given.items()})
        supposed = selectors.suppose(there, changes)
        return _by(_futures(there, supposed, seed=seed, trials=trials), there, supposed, row.measure)

    seen, wanted = 0, row.target
    for _ in range(ROUNDS):
        found = least(
            rungs, lambda given: chance(given, seed=row.seed, trials=row.trials), wanted,
            progress=lambda done, before=seen: tell(before + done),  # type: ignore[misc]
        )  # fmt: skip
        seen += found.evaluations
        checked = chance(found.given, seed=row.seed + 1, trials=TRIALS)
        if not found.reached or checked >= row.target:
            break
        wanted = min(0.999, wanted + (row.target - checked) + 0.005)
    return _answer(
        there, found, kinds, rungs, {"chance": checked, "start": chance({}, seed=row.seed + 1, trials=TRIALS)}
    )


def _rungs(
    there: Ground, allowed: set[str], weight: Mapping[UUID, float]
) -> tuple[dict[str, list[Rung]], dict[str, list[tuple[str, int]]]]:
    """Object to the ways in which it can give way, with prices, and what each is: ("simplify", levels) or ("drop", 0).

    Prices are own judgement: importance times 1 for making good after the opening, 2 for each other level, 6 for
    leaving it out; three times that for what must be ready.
    """
    rungs: dict[str, list[Rung]] = {}
    kinds: dict[str, list[tuple[str, int]]] = {}
    for plan in there.work.left:
        pk, name = plan.object_id, str(plan.object_id)
        dear = there.work.entries[pk].importance * (MANDATORY_FACTOR if pk in there.mandatory else 1.0)
        own, what, price = [], [], 0.0
        whole, before = selectors.bench(plan.counts), plan.level
        for count, level in enumerate(there.lighter.get(pk, ()), start=1):
            looks = before == MAKE_GOOD
            if not ((looks and "make_good" in allowed) or ("simplify" in allowed and _may(pk, there, allowed))):
                break
            price += dear * (MAKE_GOOD_PRICE if looks else SIMPLER_PRICE)
            own.append(Rung(price, weight.get(pk, 0.1) * (whole - selectors.bench(level))))
            what.append(("simplify", count))
            before = level.level.code
        if "drop" in allowed and _may(pk, there, allowed):
            own.append(Rung(max(price + dear, dear * DROP_PRICE), weight.get(pk, 0.1) * whole))
            what.append(("drop", 0))
        if own:
            rungs[name], kinds[name] = own, what
    return rungs, kinds


def _may(pk: UUID, there: Ground, allowed: set[str]) -> bool:
    return "mandatory" in allowed or pk not in there.mandatory


def _changes(given: Mapping[str, tuple[str, int]]) -> dict[str, Any]:
    return {
        "drop": sorted(name for name, (kind, _) in given.items() if kind == "drop"),
        "simplify": {name: count for name, (kind, count) in sorted(given.items()) if kind == "simplify"},
    }


def _answer(
    there: Ground,
    found: Found,
    kinds: Mapping[str, Sequence[tuple[str, int]]],
    rungs: Mapping[str, Sequence[Rung]],
    chances: Mapping[str, float],
) -> dict[str, Any]:
    lines: list[dict[str, Any]] = []
    for name, count in found.given.items():
        pk, (kind, levels) = UUID(name), kinds[name][count - 1]
        plan = there.work.plans[pk]
        to = there.lighter[pk][levels - 1] if kind == "simplify" else None
        lines.append(
            {
                "object": name, "number": there.numbers[pk], "importance": there.work.entries[pk].importance,
                "mandatory": pk in there.mandatory, "from": plan.counts.level.name, "to": to.level.name if to else "",
                "hours": selectors.bench(plan.counts) - (selectors.bench(to) if to else 0.0),
                "price": rungs[name][count - 1].price,
            }
        )  # fmt: skip
    lines.sort(key=lambda line: (line["to"] == "", -line["hours"], line["number"]))
    return {
        "reached": found.reached, "least": found.least, "evaluations": found.evaluations, "lines": lines, **chances,
        "changes": _changes({name: kinds[name][count - 1] for name, count in found.given.items()}),
        "hours": sum(line["hours"] for line in lines),
    }  # fmt: skip


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
