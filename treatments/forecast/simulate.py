"""How sure is the plan? Many simulated seasons, in which people take the next ready step."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from treatments.forecast.dispatch import run_trials
from treatments.forecast.mishaps import Mishaps
from treatments.forecast.noise import Noise
from treatments.forecast.records import Outcome
from treatments.forecast.results import Forecast
from treatments.forecast.roster import extended_roster
from treatments.forecast.tasks import lay_out, read_plan
from treatments.planning.problem import read_instance
from treatments.planning.reading import whole

LOOK_AHEAD = 60
PROTECT_WEEKS = 3.0
CHUNK = 250
MOST_TRIALS = 1_000_000
QUANTILES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.8, 0.9, 0.95)


def simulate_instance(instance: dict[str, Any], plan: dict[str, Any], *, trials: int, seed: int = 0) -> dict[str, Any]:
    """The forecast in figures, with the usual noise and mandatory objects protected.

    Returns
    -------
    dict
        "ready_all", "ready_mandatory": share of trials in which all planned, or all mandatory, objects meet all their
        dates (photography, mounting, closing with cures); "late_mean": mean number of planned objects that miss one;
        "finish_weeks": {"p05": ..., "p95": ...} week in which the last planned object is ready, counted from the start
        (2.5 is the middle of week 3; nothing if it never is); "trials_per_second".

    Raises
    ------
    ValueError
        An argument out of range, or a plan that does not belong to the instance.
    """
    began = time.perf_counter()
    forecast = simulate(instance, plan, trials=trials, seed=seed)
    seconds = time.perf_counter() - began
    return {
        "ready_all": forecast.ready_all,
        "ready_mandatory": forecast.ready_mandatory,
        "late_mean": forecast.late_mean,
        "finish_weeks": {f"p{round(100 * q):02d}": v for q, v in forecast.finish_weeks(QUANTILES).items()},
        "trials_per_second": trials / seconds,
    }


def simulate(
    instance: Mapping[str, Any],
    plan: Mapping[str, Any],
    *,
    trials: int,
    seed: int = 0,
    noise: Noise | None = None,
    mishaps: Mishaps | None = None,
    look_ahead: int = LOOK_AHEAD,
    protect_weeks: float = PROTECT_WEEKS,
    threads: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> Forecast:
    """Simulate a plan, trial by trial.

    Every person works through a list in the order of planned starts, but takes whatever is ready among the next
    ``look_ahead`` steps. The same seed gives the same hours for the same step of the same object whatever the plan, so
    that two plans can be compared trial by trial.

    Parameters
    ----------
    instance, plan : as `treatments.planning.solve.solve_instance` takes and returns; see `read_plan` for plans that
        hold priorities only
    trials : int, 1 to 1,000,000
    noise : how hours stray; by default log-normal with sigma 0.45, half of the variance shared within an object
    mishaps : days of illness, and surprises when old joints are taken down; by default none
    look_ahead : steps of a person's list that are looked through for a ready one, >= 1
    protect_weeks : weeks by which mandatory objects jump ahead in each list, >= 0; 0 treats all alike
    threads : by default all cores; does not change the result
    progress : called with the number of trials done, now and then; what it raises ends the simulation

    Returns
    -------
    Forecast
    """
    trials = whole(trials, "trials", low=1, high=MOST_TRIALS)
    seed = whole(seed, "seed", low=0, high=2**63 - 1)
    look_ahead = whole(look_ahead, "look_ahead", low=1, high=10**9)
    if not 0 <= protect_weeks <= 1_000:
        raise ValueError("protect_weeks must lie between 0 and 1000")
    problem = read_instance(instance)
    planned = read_plan(problem, plan, protect_weeks)
    tasks = lay_out(problem, planned)
    roster = extended_roster(problem, int(tasks.each["q"].sum(dtype=float)))
    objects, people = len(planned.objects), len(problem.staff_ids) + 1
    out = Outcome(
        np.zeros((trials, objects), np.float32),
        np.zeros((trials, objects), np.uint8),
        np.zeros((trials, objects), np.int16),
        np.zeros((trials, people), np.float32),
        np.zeros((trials, people), np.float32),
    )
    key = np.random.SeedSequence(seed).generate_state(1, np.uint64)[0]
    tables = (*(noise or Noise()).tables(), mishaps or Mishaps.none())

    def part(first: int) -> int:
        last = min(first + CHUNK, trials)
        run_trials(tasks, roster, out, first, last, key, *tables, look_ahead)
        return last - first

    with ThreadPoolExecutor(whole(threads or os.cpu_count() or 1, "threads", low=1, high=256)) as pool:
        done = 0
        for count in pool.map(part, range(0, trials, CHUNK)):
            done += count
            if progress:
                progress(done)
    return Forecast.gather(problem, planned, roster, out)
