"""The plan: which level of treatment for each object, by whom and when, for the greatest benefit before the dates."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from treatments.planning.bound import Bound, upper_bound
from treatments.planning.greedy import greedy_timetable
from treatments.planning.outcome import as_plan, with_bound
from treatments.planning.problem import Problem, read_instance
from treatments.planning.reading import whole
from treatments.planning.search import run_moves, start_search
from treatments.planning.timetable import Timetable, copy_timetable, empty_timetable
from treatments.planning.weekly import round_weekly, solve_weekly, weekly_model

Progress = Callable[[float, float, float], bool | None]

LONGEST = 86_400.0
FILLS = (0.89, 0.85, 0.82, 0.92)  # shares of all hours that the weekly programme may use; the best plan is gone on with
FILL_SECONDS = 0.25  # one more fill is tried for each of these that a search is given, for 300 objects
FIRST_SECONDS = 0.5  # of a limit, before the searches begin
SEARCHES = 2
MOVES_PER_SECOND = 36_000  # planned per second of the limit, for 300 objects; a core does about three times as many
CHUNK_SECONDS = 0.1
PATIENCE = 1.5  # the clock ends a search at this multiple of its limit
HOT, COLD = (20.0, 40.0), 2.0  # first and last warmth of the searches, at the mean price of a quarter-hour of 9
WARMTH_PRICE = 9.0
LATE_SHARE = 1.0  # of the price of an hour: how much more the first hour of a plan is worth than its last


@dataclass(frozen=True)
class Effort:
    """What a time limit buys, fixed before the start so that the same limit and seed give the same plan."""

    fills: int
    rounds: int
    moves: int
    chunk: int

    @classmethod
    def within(cls, seconds: float, problem: Problem) -> Effort:
        size = max(1.0, problem.objects / 300)
        moves = int(MOVES_PER_SECOND * max(0.0, seconds - FIRST_SECONDS) / size**0.5)
        fills = int(np.clip(seconds / FILL_SECONDS / size**1.5, 1, len(FILLS)))
        rounds = int(np.clip(70 * seconds / size, 30, 1_800))
        return cls(fills, rounds, moves, max(1, int(MOVES_PER_SECOND * CHUNK_SECONDS / size**0.5)))


def solve_instance(
    instance: Mapping[str, Any], *, seconds: float, seed: int = 0, progress: Progress | None = None
) -> dict[str, Any]:
    """A plan, and how far it can be from the best possible one.

    Mandatory objects come first, then benefit. A weekly linear programme gives the first plan, two searches improve it,
    and day prices give the bound.

    Parameters
    ----------
    instance : mapping
        "weeks", "staff" (id, skills, shifts), "hoods", "benches" and "objects" (id, release, dates, mandatory, levels
        of steps). Time is whole quarter-hours since Monday 00:00 of week 1.
    seconds : float, > 0
        Time limit. It fixes the number of moves beforehand, for which about a third of the time is needed; so the same
        seed and limit give the same plan on any machine. Where this one is so busy that one and a half times the limit
        passes first, the search ends there: then, or if told to end, "cut_short" is true and plans can differ.
    progress : called now and then, from threads of the search, with the share done, the benefit so far and the bound
        (inf: not known yet). True ends the search there, with the best plan so far; what it raises ends it without

    Returns
    -------
    dict
        "levels": {object id: level index}; "steps": [[object id, step id, person id, start], ...];
        "left_out": [{"object", "code", "reason"}, ...]; "benefit"; "bound": no plan is worth more; "share": benefit /
        bound, 1 if there is nothing to gain; "moves": tried; "cut_short".

    Raises
    ------
    ValueError
        An instance that contradicts itself, a limit or seed out of range; the argument is named.
    """
    if isinstance(seconds, bool) or not isinstance(seconds, int | float) or not 0 < seconds <= LONGEST:
        raise ValueError(f"seconds must be above 0 and at most {LONGEST:.0f}")
    seed = whole(seed, "seed", low=0, high=2**63 - 1)
    problem = read_instance(instance)
    warm_up()
    began = time.monotonic()
    effort = Effort.within(float(seconds), problem)
    with ThreadPoolExecutor(SEARCHES) as pool:
        bounding = pool.submit(upper_bound, problem, effort.rounds)
        first = first_plan(problem, effort.fills)
        bound = bounding.result()
        clock = Clock(began, float(seconds), progress, bound.value)
        runs = [
            pool.submit(improve, problem, first, bound, effort, HOT[n], seed * SEARCHES + n, clock)
            for n in range(SEARCHES)
        ]
        found = [run.result() for run in runs]
    best = max(found, key=lambda run: run.worth)
    return with_bound(problem, best.table, bound) | {
        "moves": sum(run.moves for run in found),
        "cut_short": len(problem.work.benefit) > 0 and any(run.moves < effort.moves for run in found),
    }


@cache
def warm_up() -> None:
    """Compile or load all kernels on a plan of one step: up to a minute on a new machine, else a fraction of a second.

    Call it when a worker starts; `solve_instance` does it before its clock starts.
    """
    step = {"id": "a", "kind": "exam", "skill": "exam", "q": 1, "preds": []}
    thing = {"id": "a", "levels": [{"benefit": 1, "steps": [step]}]}
    staff = [{"id": "a", "skills": ["exam"], "shifts": [[0, 4]]}]
    problem = read_instance({"weeks": 1, "staff": staff, "hoods": 1, "benches": 1, "objects": [thing]})
    plan, bound = first_plan(problem, 1), upper_bound(problem, 2)
    improve(problem, plan, bound, Effort(1, 2, 2, 2), HOT[0], 0, Clock(time.monotonic(), LONGEST, None, bound.value))
    as_plan(problem, empty_timetable(problem))


def first_plan(problem: Problem, fills: int) -> Timetable:
    """The best of the plan by rule of thumb and those from the weekly programme."""
    plans = [greedy_timetable(problem)]
    if len(problem.work.q) and len(problem.staffing.shift_start):
        model = weekly_model(problem)
        plans += [round_weekly(problem, model, solve_weekly(problem, model, fill)) for fill in FILLS[:fills]]
    return max(plans, key=lambda table: worth(problem, table))


def worth(problem: Problem, table: Timetable) -> tuple[int, float]:
    """Mandatory objects planned, then benefit: what plans are compared by."""
    planned = table.level >= 0
    return int(problem.work.mandatory[planned].sum()), float(problem.work.benefit[table.level[planned]].sum())


class Clock:
    """Tells a search when to stop, and the caller how far it is."""

    def __init__(self, began: float, seconds: float, progress: Progress | None, bound: float) -> None:
        self.end = began + PATIENCE * seconds
        self.progress = progress
        self.bound = bound
        self.told = False

    def passed(self) -> bool:
        return self.told or time.monotonic() > self.end

    def tell(self, share: float, benefit: float) -> None:
        if self.progress and self.progress(share, benefit, self.bound):
            self.told = True


@dataclass(frozen=True)
class Run:
    """The best plan of one search."""

    table: Timetable
    worth: tuple[int, float]
    moves: int


def improve(
    problem: Problem, first: Timetable, bound: Bound, effort: Effort, hot: float, seed: int, clock: Clock
) -> Run:
    """Search on from a plan, in chunks, so that the clock is looked at between them."""
    work, table = problem.work, copy_timetable(first)
    price = float(bound.price[:-2].max(initial=0.0))
    scale = max(price, 1e-6) / WARMTH_PRICE
    search = start_search(problem, table, bound.cost, LATE_SHARE * price / max(problem.horizon, 1), seed)
    done = 0
    while len(work.benefit) and done < effort.moves and not clock.passed():
        last = min(done + effort.chunk, effort.moves)
        run_moves(
            work, problem.staffing, table, search, done, last, effort.moves, hot * scale, COLD * scale, problem.horizon
        )
        done = last
        clock.tell(done / effort.moves, float(work.benefit[search.best_level[search.best_level >= 0]].sum()))
    best = first._replace(who=search.best_who, when=search.best_when, level=search.best_level)
    return Run(best, worth(problem, best), done)
