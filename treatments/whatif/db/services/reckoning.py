"""What a scenario comes to: its plan, chances, hours and the risk that is left."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from uuid import UUID

import numpy as np

from treatments.forecast.db.selectors import assumed_mishaps
from treatments.forecast.noise import Noise
from treatments.forecast.results import Forecast
from treatments.forecast.simulate import PROTECT_WEEKS, simulate
from treatments.forecast.tasks import read_plan
from treatments.hours.db.selectors import experience, hours_needed
from treatments.planning.calendar import end_of_day, moment_of
from treatments.planning.db.selectors import Work, bench_hours, offer
from treatments.planning.db.selectors.offers import SCALE
from treatments.planning.db.services.plans import MANDATORY_WEEKS, OTHER_WEEKS, REASON_WORDS
from treatments.planning.greedy import greedy_plan
from treatments.planning.problem import read_instance
from treatments.planning.solve import solve_instance
from treatments.whatif.db import selectors
from treatments.whatif.db.selectors import OPENING, OWN_DATES, Ground

SECONDS = 2.0  # of the search for each scenario's plan
SHOWN_OUT = 60
SHARES_OF_TERM = (0.8, 0.5, 0.25, 0.0)  # of the weeks of somebody who leaves again, what is filled beforehand


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
        "chance": chance_of(futures, there, work, OPENING),
        "chance_dates": chance_of(futures, there, work, OWN_DATES),
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
        found.append(futures_of(there, work, plan=plan, seed=seed, trials=trials))
        tell(0.5 * (turn + 1) / len(plans))
    return max(found, key=lambda futures: (chance_of(futures, there, work, OPENING), -futures.late_mean))


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


def chance_of(futures: Forecast, there: Ground, work: Work, measure: str) -> float:
    """The chance that all is ready on opening day, or that everything meets all dates of its own."""
    if measure == OWN_DATES:
        passed = any(str(pk) in futures.object_ids for pk in work.overdue)
        return 0.0 if passed else float(1 - futures.late.any(axis=1).mean())
    opening = end_of_day(work.milestones["opening"], work.monday)
    return float((futures.ready.max(axis=1, initial=0.0) <= opening).mean())


def futures_of(there: Ground, work: Work, *, seed: int, trials: int, plan: Mapping[str, Any] | None = None) -> Forecast:
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
