r"""No plan can be worth more: an upper bound by day prices, which also tell what an hour is worth.

Put a price on each person's hours of each day. If every object could buy its hours at these prices, independent of the
others, it would take its best level at its cheapest days; what all of them gain then, plus the price of all hours there
are, is at least the benefit of any plan (Lagrangian relaxation). With :math:`\lambda` the prices, :math:`c` the hours
there are and :math:`C_l` the least cost of level :math:`l`,

.. math:: L(\lambda) = \sum_{p,d} \lambda_{pd} c_{pd} + \sum_i \max_l (b_l - C_l(\lambda)).

Days of steps respect releases, dates, cures and shifts; within a day, hours are shared as if they were a liquid.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from media.compiled import compiled, compiled_allocating
from treatments.planning.problem import DAY, Problem, Work

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
FAR = 1e15
JITTER = 0.1  # spread of prices about the uniform ones: equal prices leave no direction to go
SMOOTHING = 0.6  # weight of the newest direction
PATIENCE = 15  # rounds without gain before the steps become shorter
SHORTER = 0.7
FIRST_STEP = 0.3
HOPE = 0.97  # a plan worth this share of the bound is thought possible; sets the length of steps


class Days(NamedTuple):
    """The calendar by days, for all steps of all levels.

    ``open`` [steps, days]: whether the step can be done that day; ``follow`` [steps, days]: first day of the step if
    its main predecessor is done on that day (number of days: never); ``main`` that predecessor, -1 if there is none.
    """

    open: NDArray[np.bool_]
    follow: NDArray[np.int16]
    main: Ints


@dataclass(frozen=True)
class Bound:
    """An upper bound and the prices that prove it.

    ``value`` exceeds the benefit of every plan that holds all mandatory objects for which there is a way at all,
    ``without`` that of any plan. ``cost`` is what each level costs at the prices.
    """

    value: float
    without: float
    cost: Floats
    price: Floats  # [people + 2, days]; the last two rows are hoods and benches


class Calendar(NamedTuple):
    """Per person and day: first start, last end (-1: none) and quarters of bench time."""

    start: Ints
    end: Ints
    hours: Floats
    able: NDArray[np.bool_]  # [skills, people]
    places: Floats  # [2, days]: quarter-hours of hoods and benches


def upper_bound(problem: Problem, rounds: int) -> Bound:
    """Lower the bound by moving prices against supply and demand, for a number of rounds.

    Parameters
    ----------
    rounds : evaluations of all objects after the search for one uniform price; each takes milliseconds
    """
    calendar = _calendar(problem)
    market = Market(problem, calendar, _days(problem.work, calendar))
    price = market.lower(market.uniform(), rounds)
    value, _, cost = market.evaluate(price, force=True)
    return Bound(value, market.evaluate(price, force=False)[0], cost, price)


def _calendar(problem: Problem) -> Calendar:
    staffing = problem.staffing
    people, days = len(staffing.shift_ptr) - 1, problem.horizon // DAY
    start, end, hours = np.full((people, days), 1 << 40), np.full((people, days), -1), np.zeros((people, days))
    owner = np.repeat(np.arange(people), np.diff(staffing.shift_ptr))
    day = staffing.shift_start // DAY
    np.minimum.at(start, (owner, day), staffing.shift_start)
    np.maximum.at(end, (owner, day), staffing.shift_end)
    np.add.at(hours, (owner, day), staffing.shift_end - staffing.shift_start)
    skills = len(staffing.skill_ptr) - 1
    able = np.zeros((skills, people), np.bool_)
    able[np.repeat(np.arange(skills), np.diff(staffing.skill_ptr)), staffing.able] = True
    span = np.maximum(0, end.max(axis=0, initial=-1) - start.min(axis=0, initial=1 << 40))
    return Calendar(start, end, hours, able, np.minimum(hours.sum(axis=0), staffing.capacity[:, None] * span))


@compiled_allocating
def _days(work: Work, calendar: Calendar) -> Days:
    """Which days each step can take, seen by itself and after its main predecessor."""
    steps, days = len(work.q), calendar.start.shape[1]
    first_end = np.full((steps, days), 1 << 40)
    last_start = np.full((steps, days), -1)
    reach = work.head.copy()  # first start with shifts considered
    main = np.full(steps, -1)
    follow = np.full((steps, days), days, np.int16)
    for step in range(steps):
        for at in range(work.pred_ptr[step], work.pred_ptr[step + 1]):
            before = work.pred[at]
            ready = reach[before] + work.q[before] + work.cure[before]
            if main[step] < 0 or ready > reach[step]:
                main[step] = before
            reach[step] = max(reach[step], ready)
        open_days(work, calendar, step, reach, first_end, last_start)
        if main[step] >= 0:
            before, day = main[step], 0
            for d in range(days):
                if last_start[before, d] >= 0:
                    while day < days and first_end[before, d] + work.cure[before] > last_start[step, day]:
                        day += 1
                    follow[step, d] = day
    return Days(last_start >= 0, follow, main)


@compiled
def open_days(
    work: Work, calendar: Calendar, step: int, reach: np.ndarray, first_end: np.ndarray, last_start: np.ndarray
) -> None:
    """First end and last start of a step on each day; its first start of all goes into ``reach``."""
    q = work.q[step]
    first = np.int64(1 << 40)
    for day in range(calendar.start.shape[1]):
        for p in range(calendar.start.shape[0]):
            if not calendar.able[work.skill[step], p] or calendar.end[p, day] - calendar.start[p, day] < q:
                continue
            begin = max(calendar.start[p, day], reach[step])
            last = min(calendar.end[p, day] - q, work.latest[step])
            if begin <= last:
                first_end[step, day] = min(first_end[step, day], begin + q)
                last_start[step, day] = max(last_start[step, day], last)
                first = min(first, begin)
    reach[step] = first


@compiled_allocating
def best_response(work: Work, days: Days, price: np.ndarray, force: bool, cost: np.ndarray, used: np.ndarray) -> float:
    """What all objects gain at the prices, taking the best level at the cheapest days.

    ``price`` [skills + 2, days] holds prices of skills, hoods and benches; ``used`` of that shape gets the quarters
    that are bought, ``cost`` the least cost of each level.
    """
    count, size = price.shape[1], 0
    for level in range(len(work.benefit)):
        size = max(size, work.step_ptr[level + 1] - work.step_ptr[level])
    own, least = np.empty((size, count)), np.empty((size, count + 1))
    at_day = np.empty((size, count + 1), np.int64)
    taken, chosen = np.empty(size, np.int64), np.empty(size, np.int64)
    total = 0.0
    for i in range(len(work.release)):
        best, pick = -np.inf, -1
        for level in range(work.level_ptr[i], work.level_ptr[i + 1]):
            cost[level] = level_cost(work, days, price, level, own, least, at_day)
            gain = work.benefit[level] - cost[level]
            if cost[level] < FAR and gain > best:
                best, pick = gain, level
                pick_days(work, days, level, at_day, chosen)
                for n in range(work.step_ptr[level + 1] - work.step_ptr[level]):
                    taken[n] = chosen[n]
        if pick < 0 or (best < 0 and not (force and work.mandatory[i])):
            continue
        total += best
        for step in range(work.step_ptr[pick], work.step_ptr[pick + 1]):
            day = taken[step - work.step_ptr[pick]]
            used[work.skill[step], day] += work.q[step]
            if work.resource[step] >= 0:
                used[price.shape[0] - 2 + work.resource[step], day] += work.q[step]
    return total


@compiled
def level_cost(
    work: Work, days: Days, price: np.ndarray, level: int, own: np.ndarray, least: np.ndarray, at_day: np.ndarray
) -> float:
    """Least cost of a level, by going through its steps from the last; ``at_day`` remembers the days that give it."""
    first, count = work.step_ptr[level], price.shape[1]
    for step in range(first, work.step_ptr[level + 1]):
        resource = work.resource[step]
        for day in range(count):
            rate = price[work.skill[step], day]
            if resource >= 0:
                rate += price[price.shape[0] - 2 + resource, day]
            own[step - first, day] = rate * work.q[step] if days.open[step, day] else FAR
    total = 0.0
    for step in range(work.step_ptr[level + 1] - 1, first - 1, -1):
        n = step - first
        least[n, count] = FAR
        at_day[n, count] = count
        for day in range(count - 1, -1, -1):
            here = own[n, day] <= least[n, day + 1]
            least[n, day] = own[n, day] if here else least[n, day + 1]
            at_day[n, day] = day if here else at_day[n, day + 1]
        if days.main[step] < 0:
            total += least[n, 0]
            continue
        before = days.main[step] - first
        for day in range(count):
            own[before, day] += least[n, days.follow[step, day]]
    return total


@compiled
def pick_days(work: Work, days: Days, level: int, at_day: np.ndarray, chosen: np.ndarray) -> None:
    """The days that give the least cost of the level last gone through."""
    first = work.step_ptr[level]
    for step in range(first, work.step_ptr[level + 1]):
        n, since = step - first, 0
        if days.main[step] >= 0:
            day = chosen[days.main[step] - first]
            since = days.follow[step, day] if day < at_day.shape[1] - 1 else at_day.shape[1] - 1
        chosen[n] = at_day[n, since]


class Market:
    """Prices of people's days (rows) and, in the last two rows, of hoods and benches."""

    def __init__(self, problem: Problem, calendar: Calendar, days: Days) -> None:
        self.work, self.days, self.able = problem.work, days, calendar.able
        self.supply = np.concatenate((calendar.hours, calendar.places))
        self.people = calendar.hours.shape[0]
        self.at_work = calendar.hours > 0

    def evaluate(self, price: Floats, *, force: bool) -> tuple[float, Floats, Floats]:
        """The bound at the prices, the hours left over, and the cost of each level."""
        skills, cheapest = self._skill_prices(price[: self.people])
        offered = np.concatenate((skills, price[self.people :]))
        cost, used = np.empty(len(self.work.benefit)), np.zeros_like(offered)
        gain = best_response(self.work, self.days, offered, force, cost, used)
        left = self.supply.copy()
        day = np.arange(left.shape[1])
        for k in range(len(skills)):
            np.subtract.at(left, (cheapest[k], day), used[k])
        left[self.people :] -= used[len(skills) :]
        return gain + float((price * self.supply).sum()), left, cost

    def _skill_prices(self, price: Floats) -> tuple[Floats, Ints]:
        """Lowest price of each skill on each day, and whose it is."""
        if not self.people:
            return np.full((len(self.able), price.shape[1]), FAR), np.zeros((len(self.able), price.shape[1]), np.int64)
        asked = np.where(self.able[:, :, None] & self.at_work[None], price[None], FAR)
        return asked.min(axis=1), asked.argmin(axis=1)

    def uniform(self) -> Floats:
        """The best bound with one price for all hours up to some day, and nothing after it."""
        best, found = np.inf, np.zeros_like(self.supply)
        last = self.supply.shape[1]

        def trial(price: float, until: int) -> None:
            nonlocal best, found
            prices = np.zeros_like(self.supply)
            prices[: self.people, :until] = np.where(self.at_work[:, :until], price, 0.0)
            value = self.evaluate(prices, force=True)[0]
            if value < best:
                best, found = value, prices

        scale = float((self.work.benefit.sum() + 1) / max(self.work.q.sum(), 1))
        for factor in (0.0, *np.geomspace(0.05, 10, 12)):
            trial(scale * factor, last)
        level = float(found.max(initial=0.0))
        for until in range(last, max(last - 5 * 7, 0), -1):
            trial(level, until)
        until = int(np.flatnonzero(found.any(axis=0)).max(initial=last - 1)) + 1
        for factor in np.linspace(0.85, 1.3, 10):
            trial(level * factor, until)
        return found

    def lower(self, start: Floats, rounds: int) -> Floats:
        """Subgradient steps with a smoothed direction; the best prices met, or the first if nothing is better."""
        best, found = self.evaluate(start, force=True)[0], start
        hope, reached = HOPE * best, np.inf
        noise = np.random.default_rng(0).standard_normal(start.shape)
        price = base = np.maximum(0.0, start * (1 + JITTER * noise))
        direction, step, waited = np.zeros_like(price), FIRST_STEP, 0
        allowed = np.concatenate((self.at_work, np.ones((2, price.shape[1]), bool)))
        for _ in range(rounds):
            value, left, _ = self.evaluate(price, force=True)
            if value < reached * (1 - 1e-7):
                reached, base, waited = value, price, 0
            else:
                waited += 1
            if waited >= PATIENCE:
                step, waited, price, direction = step * SHORTER, 0, base, np.zeros_like(price)
                continue
            left[(price <= 0) & (left > 0)] = 0
            direction = SMOOTHING * left + (1 - SMOOTHING) * direction
            norm = float((direction**2).sum())
            if norm == 0:
                break
            price = np.where(allowed, np.maximum(0.0, price - step * (value - hope) / norm * direction), 0.0)
        return base if reached < best else found
