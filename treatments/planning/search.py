"""Ruin and recreate: take a few objects out of the plan, put them and others back in another order, keep what is good.

A move is kept if the plan gains, and now and then also if it loses, the less likely the larger the loss and the later
the search (simulated annealing). Beside benefit the search likes late hours a little: early ones suit more objects.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from media.compiled import compiled
from treatments.planning.backwards import insert_level_late
from treatments.planning.problem import Problem, Work
from treatments.planning.staffing import Staffing
from treatments.planning.timetable import Timetable, book, insert_level, remove_object

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

MOST_RUINED = 6
NEWCOMERS = 12  # unplanned objects offered a place in each move
AROUND_A_MOMENT = 0.5  # share of moves that ruin neighbours in time
BACKWARDS = 0.5  # share of insertions from the far end
ORDER_NOISE = 0.4  # log-normal sigma on benefit per price: the order of insertion
LEVEL_NOISE = 0.2  # log-normal sigma on prices: the choice of level
MANDATORY_FIRST = 1e12
MANDATORY_WORTH = 1e10  # added to the benefit of a mandatory object: it displaces whatever it must


class Search(NamedTuple):
    """State of a search beside the timetable: the last kept plan, the best plan, and scratch space.

    ``price`` is what the hours of a level cost at shadow prices, in units of benefit; ``late_worth`` the worth of one
    quarter-hour of work moved later by one quarter-hour.
    """

    random: NDArray[np.uint64]
    who: Ints
    when: Ints
    level: Ints
    middle: Ints
    best_who: Ints
    best_when: Ints
    best_level: Ints
    worth: Floats  # current, best
    price: Floats
    late_worth: Floats
    touched: Ints
    is_touched: NDArray[np.bool_]
    offered: Ints
    score: Floats
    until: Ints
    fixed: NDArray[np.bool_]


def start_search(
    problem: Problem,
    table: Timetable,
    price: Floats,
    late_worth: float,
    seed: int,
    fixed: NDArray[np.bool_] | None = None,
) -> Search:
    """A search that begins from a plan; planned objects that are ``fixed`` stay where they are."""
    n, steps = problem.objects, len(problem.work.q)
    planned = table.level >= 0
    worth = float(problem.work.benefit[table.level[planned]].sum())
    worth += MANDATORY_WORTH * float(problem.work.mandatory[planned].sum())
    search = Search(
        np.array(np.random.SeedSequence(seed).generate_state(1, np.uint64), np.uint64),
        table.who.copy(),
        table.when.copy(),
        table.level.copy(),
        np.full(n, -1, np.int64),
        table.who.copy(),
        table.when.copy(),
        table.level.copy(),
        np.array([worth, worth]),
        np.maximum(price, 1e-3),
        np.array([late_worth]),
        np.zeros(n, np.int64),
        np.zeros(n, np.bool_),
        np.zeros(n + 1, np.int64),
        np.zeros(n + 1),
        np.zeros(steps, np.int64),
        np.zeros(n, np.bool_) if fixed is None else fixed,
    )
    for i in range(n):
        keep(problem.work, table, search, i)
    return search


@compiled
def uniform(random: np.ndarray) -> float:
    """A number in [0, 1) (SplitMix64, Steele, Lea and Flood 2014; constants from memory)."""
    random[0] += np.uint64(0x9E3779B97F4A7C15)
    x = random[0]
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return float((x ^ (x >> np.uint64(31))) >> np.uint64(11)) / 9007199254740992.0


@compiled
def log_normal(random: np.ndarray, sigma: float) -> float:
    """A log-normal factor of median 1 (Box and Muller)."""
    radius = np.sqrt(-2.0 * np.log(1.0 - uniform(random)))
    return np.exp(sigma * radius * np.cos(2.0 * np.pi * uniform(random)))


@compiled
def keep(work: Work, table: Timetable, search: Search, i: int) -> None:
    """Remember where an object's steps lie now."""
    search.level[i] = table.level[i]
    search.middle[i] = -1
    if table.level[i] < 0:
        return
    first, last = np.int64(1 << 40), np.int64(0)
    for step in range(work.step_ptr[table.level[i]], work.step_ptr[table.level[i] + 1]):
        search.who[step] = table.who[step]
        search.when[step] = table.when[step]
        first, last = min(first, table.when[step]), max(last, table.when[step])
    search.middle[i] = (first + last) // 2


@compiled
def put_back(work: Work, staffing: Staffing, table: Timetable, search: Search, i: int) -> None:
    """Book an object's steps where they were remembered."""
    level = search.level[i]
    if level < 0:
        return
    for step in range(work.step_ptr[level], work.step_ptr[level + 1]):
        book(work, staffing, table, step, search.who[step], search.when[step])
    table.level[i] = level


@compiled
def touch(search: Search, count: int, i: int) -> int:
    """Add an object to those that a move changes; returns how many there are."""
    if search.is_touched[i]:
        return count
    search.is_touched[i] = True
    search.touched[count] = i
    return count + 1


@compiled
def bare_worth(work: Work, level: int, i: int) -> float:
    """Benefit of a level, and that it is mandatory; what plans are compared by."""
    return work.benefit[level] + MANDATORY_WORTH * work.mandatory[i]


@compiled
def worth_of(work: Work, table: Timetable, search: Search, i: int) -> float:
    """Worth of an object as planned: benefit, being mandatory, and a small preference for late hours."""
    level = table.level[i]
    if level < 0:
        return 0.0
    late = 0
    for step in range(work.step_ptr[level], work.step_ptr[level + 1]):
        late += work.q[step] * table.when[step]
    return bare_worth(work, level, i) + search.late_worth[0] * late


@compiled
def choose_around(search: Search, size: int, moment: int) -> int:
    """The planned objects nearest to a moment, with some chance in what is near; returns how many are touched."""
    found = 0
    for i in range(len(search.level)):
        if search.level[i] < 0 or search.fixed[i]:
            continue
        distance = abs(search.middle[i] - moment) * (0.5 + uniform(search.random))
        if found == size and distance >= search.score[found - 1]:
            continue
        at = found if found < size else size - 1
        found = min(found + 1, size)
        while at > 0 and search.score[at - 1] > distance:
            search.score[at], search.offered[at] = search.score[at - 1], search.offered[at - 1]
            at -= 1
        search.score[at], search.offered[at] = distance, i
    count = 0
    for at in range(found):
        count = touch(search, count, search.offered[at])
    return count


@compiled
def choose_ruined(search: Search, horizon: int) -> int:
    """Which objects to take out: neighbours in time, or any; returns how many are touched."""
    n = len(search.level)
    size = 1 + int(uniform(search.random) * MOST_RUINED)
    if uniform(search.random) < AROUND_A_MOMENT:
        return choose_around(search, size, int(uniform(search.random) * horizon))
    count = 0
    for _ in range(size):
        i = int(uniform(search.random) * n)
        if search.level[i] >= 0 and not search.fixed[i]:
            count = touch(search, count, i)
    return count


@compiled
def offer_newcomers(work: Work, search: Search, count: int) -> int:
    """Some unplanned objects get a chance too."""
    n = len(search.level)
    for _ in range(NEWCOMERS):
        i = int(uniform(search.random) * n)
        if search.level[i] < 0 and work.level_ptr[i + 1] > work.level_ptr[i]:
            count = touch(search, count, i)
    return count


@compiled
def put_in_order(work: Work, search: Search, count: int) -> None:
    """Line up the touched objects: mandatory ones, then by best benefit per price, with noise."""
    for at in range(count):
        i = search.touched[at]
        best = 0.0
        for level in range(work.level_ptr[i], work.level_ptr[i + 1]):
            best = max(best, work.benefit[level] / search.price[level])
        score = best * log_normal(search.random, ORDER_NOISE) + MANDATORY_FIRST * work.mandatory[i]
        place = at
        while place > 0 and search.score[place - 1] < score:
            search.score[place], search.offered[place] = search.score[place - 1], search.offered[place - 1]
            place -= 1
        search.score[place], search.offered[place] = score, i


@compiled
def insert_object(work: Work, staffing: Staffing, table: Timetable, search: Search, i: int) -> None:
    """Plan an object at the level that is worth most after its price, or at the next that fits."""
    factor = log_normal(search.random, LEVEL_NOISE)
    late = uniform(search.random) < BACKWARDS
    tried = 0
    first = work.level_ptr[i]
    for _ in range(first, work.level_ptr[i + 1]):
        best, level = -np.inf, -1
        for other in range(first, work.level_ptr[i + 1]):
            gain = work.benefit[other] - search.price[other] * factor
            if gain > best and not (tried >> (other - first)) & 1:
                best, level = gain, other
        if level < 0 or (best < 0 and not work.mandatory[i]):
            return
        tried |= 1 << (level - first)
        if late and insert_level_late(work, staffing, table, level, i, search.until):
            return
        if not late and insert_level(work, staffing, table, level, i, 0):
            return


@compiled
def undo(work: Work, staffing: Staffing, table: Timetable, search: Search, count: int) -> None:
    """Put everything back as it was before the move."""
    for at in range(count):
        remove_object(work, staffing, table, search.touched[at])
    for at in range(count):
        put_back(work, staffing, table, search, search.touched[at])


@compiled
def move(work: Work, staffing: Staffing, table: Timetable, search: Search, warmth: float, horizon: int) -> None:
    """One ruin and recreation; kept, or undone."""
    ruined = choose_ruined(search, horizon)
    before, benefit = 0.0, 0.0
    for at in range(ruined):
        i = search.touched[at]
        before += worth_of(work, table, search, i)
        benefit -= bare_worth(work, table.level[i], i)
        remove_object(work, staffing, table, i)
    count = offer_newcomers(work, search, ruined)
    put_in_order(work, search, count)
    for at in range(count):
        insert_object(work, staffing, table, search, search.offered[at])
    after = 0.0
    for at in range(count):
        i = search.touched[at]
        after += worth_of(work, table, search, i)
        if table.level[i] >= 0:
            benefit += bare_worth(work, table.level[i], i)
    if after >= before or uniform(search.random) < np.exp((after - before) / warmth):
        search.worth[0] += benefit
        for at in range(count):
            keep(work, table, search, search.touched[at])
    else:
        undo(work, staffing, table, search, count)
    for at in range(count):
        search.is_touched[search.touched[at]] = False


@compiled
def remember_best(table: Timetable, search: Search) -> None:
    """The plan as it stands is the best so far."""
    search.worth[1] = search.worth[0]
    for step in range(len(table.who)):
        search.best_who[step] = table.who[step]
        search.best_when[step] = table.when[step]
    for i in range(len(table.level)):
        search.best_level[i] = table.level[i]


@compiled
def run_moves(
    work: Work,
    staffing: Staffing,
    table: Timetable,
    search: Search,
    first: int,
    last: int,
    total: int,
    hot: float,
    cold: float,
    horizon: int,
) -> None:
    """Moves ``first`` up to ``last`` of ``total``, cooling from ``hot`` to ``cold`` (units of benefit)."""
    for number in range(first, last):
        warmth = hot * (cold / hot) ** (number / total)
        move(work, staffing, table, search, warmth, horizon)
        if search.worth[0] > search.worth[1] + 1e-6:
            remember_best(table, search)
