"""Resource-constrained project scheduling by the same means as the plan's search, for instances with published optima.

A peer test of method, not part of the product: whole projects with several units of several resources, shortest
makespan. Genetic search over activity lists (Hartmann 1998, Naval Research Logistics 45:733-750) with serial generation
and a backward and forward pass on every child (double justification: Valls, Ballestin and Quintanilla 2005, European
Journal of Operational Research 165:375-386); parameters are our own. Instances are read in the format of PSPLIB
(Kolisch and Sprecher 1997, European Journal of Operational Research 96:205-216).
"""

import time
from pathlib import Path
from typing import Any, NamedTuple

import numba
import numpy as np

POPULATION = 50
MUTATION = 0.05  # chance of each neighbouring pair to swap
PATIENCE = 8_000  # children without a better one, after which the search begins afresh beside its best
CHUNK = 400
compiled = numba.njit(nogil=True, error_model="numpy", cache=True)


class Project(NamedTuple):
    """Activities in topological order of number; ``before``, ``after`` in compressed rows; times in whole periods."""

    length: Any
    need: Any  # [activities, resources]
    capacity: Any
    before_ptr: Any
    before: Any
    after_ptr: Any
    after: Any


def read_project(path: str | Path) -> Project:
    """A single-mode instance file of PSPLIB."""
    lines = Path(path).read_text().splitlines()
    at = {name: n for n, line in enumerate(lines) for name in ("PRECEDENCE", "REQUESTS", "RESOURCEAV") if name in line}
    after = []
    for line in lines[at["PRECEDENCE"] + 2 :]:
        if line.startswith("*"):
            break
        after.append([int(x) - 1 for x in line.split()[3:]])
    rows = [[int(x) for x in lines[at["REQUESTS"] + 3 + n].split()] for n in range(len(after))]
    before = [[m for m, next_ in enumerate(after) if n in next_] for n in range(len(after))]
    capacity = np.array([int(x) for x in lines[at["RESOURCEAV"] + 2].split()])
    length, need = np.array([row[2] for row in rows]), np.array([row[3:] for row in rows])
    return Project(length, need, capacity, *_rows(before), *_rows(after))


def _rows(lists):
    return np.cumsum([0, *(len(own) for own in lists)]), np.array([n for own in lists for n in own], np.int64)


def reversed_project(project):
    """The same project with time running backwards."""
    return project._replace(
        before_ptr=project.after_ptr, before=project.after, after_ptr=project.before_ptr, after=project.before
    )


def lower_bound(project):
    """The longer of the critical path and the work of the busiest resource."""
    path = np.zeros(len(project.length), np.int64)
    for n, length in enumerate(project.length):
        before = project.before[project.before_ptr[n] : project.before_ptr[n + 1]]
        path[n] = length + max((path[b] for b in before), default=0)
    work = (project.length[:, None] * project.need).sum(axis=0)
    return int(max(path.max(), np.max(-(-work // project.capacity))))


@compiled
def schedule(project, order, start, used):
    """Each activity of the list as early as precedence and capacity allow; returns the makespan."""
    used[:] = 0
    last = 0
    for a in order:
        length, t = project.length[a], 0
        for at in range(project.before_ptr[a], project.before_ptr[a + 1]):
            b = project.before[at]
            t = max(t, start[b] + project.length[b])
        at = t
        while at < t + length:
            fits = True
            for r in range(len(project.capacity)):
                fits &= used[at, r] + project.need[a, r] <= project.capacity[r]
            at += 1
            t = t if fits else at
        start[a] = t
        for moment in range(t, t + length):
            for r in range(len(project.capacity)):
                used[moment, r] += project.need[a, r]
        last = max(last, t + length)
    return last


@compiled
def justify(project, back, order, start, used):
    """Schedule a list, then again from its end, then again from its beginning; the list becomes that of the starts."""
    schedule(project, order, start, used)
    order[:] = np.argsort(-(start + project.length) * len(order) - np.arange(len(order)))
    span = schedule(back, order, start, used)
    order[:] = np.argsort((span - start - project.length) * len(order) + np.arange(len(order)))
    return schedule(project, order, start, used)


@compiled
def sample(project, urgency, order):
    """A random list that respects precedence, with a liking for what is urgent."""
    n = len(order)
    waiting = project.before_ptr[1:] - project.before_ptr[:-1]
    open_ = np.empty(n, np.int64)
    count = 0
    for a in range(n):
        if waiting[a] == 0:
            open_[count] = a
            count += 1
    for place in range(n):
        most = 0
        for m in range(count):
            most = max(most, urgency[open_[m]])
        total = 0.0
        for m in range(count):
            total += most - urgency[open_[m]] + 1
        aim, m = np.random.random() * total, 0
        while m < count - 1 and aim >= most - urgency[open_[m]] + 1:
            aim -= most - urgency[open_[m]] + 1
            m += 1
        a = open_[m]
        open_[m] = open_[count - 1]
        count -= 1
        order[place] = a
        for at in range(project.after_ptr[a], project.after_ptr[a + 1]):
            waiting[project.after[at]] -= 1
            if waiting[project.after[at]] == 0:
                open_[count] = project.after[at]
                count += 1


@compiled
def cross(project, mother, father, child):
    """Two-point crossover: the mother's beginning, then the father's order, then the mother's; then swaps of mates."""
    n = len(child)
    taken = np.zeros(n, np.bool_)
    one, two = np.random.randint(0, n + 1), np.random.randint(0, n + 1)
    first, second = min(one, two), max(one, two)
    place = 0
    for a in mother[:first]:
        child[place] = a
        taken[a] = True
        place += 1
    for a in father:
        if place < second and not taken[a]:
            child[place] = a
            taken[a] = True
            place += 1
    for a in mother:
        if not taken[a]:
            child[place] = a
            place += 1
    for m in range(n - 1):
        if np.random.random() < MUTATION:
            a, b = child[m], child[m + 1]
            free = True
            for at in range(project.after_ptr[a], project.after_ptr[a + 1]):
                free &= project.after[at] != b
            if free:
                child[m], child[m + 1] = b, a


@compiled
def mark_of(start):
    """A number by which equal schedules are known."""
    mark = np.uint64(1469598103934665603)
    for s in start:
        mark = (mark ^ np.uint64(s)) * np.uint64(1099511628211)
    return mark


@compiled
def begin(project, back, urgency, people, spans, marks, used, seed):
    """A population of sampled lists; returns the place of the best."""
    np.random.seed(seed)
    start = np.empty(people.shape[1], np.int64)
    for m in range(len(people)):
        sample(project, urgency, people[m])
        spans[m] = justify(project, back, people[m], start, used)
        marks[m] = mark_of(start)
    return np.argmin(spans)


@compiled
def breed(project, back, people, spans, marks, used, children, goal):
    """So many children; one replaces the worst if it is as good and new. Returns whether the best became better."""
    n = people.shape[1]
    child, start = np.empty(n, np.int64), np.empty(n, np.int64)
    before = spans.min()
    for _ in range(children):
        pair = np.empty(2, np.int64)
        for m in range(2):
            one, two = np.random.randint(0, len(people)), np.random.randint(0, len(people))
            pair[m] = one if spans[one] <= spans[two] else two
        cross(project, people[pair[0]], people[pair[1]], child)
        span = justify(project, back, child, start, used)
        mark, worst, new = mark_of(start), 0, True
        for m in range(len(people)):
            new &= marks[m] != mark
            worst = m if spans[m] > spans[worst] else worst
        if new and span <= spans[worst]:
            people[worst], spans[worst], marks[worst] = child, span, mark
        if span <= goal:
            break
    return spans.min() < before


def solve(project, *, seconds, seed=0):
    """The shortest schedule found: makespan, starts of the activities, and the lower bound."""
    began, back, goal = time.perf_counter(), reversed_project(project), lower_bound(project)
    n, horizon = len(project.length), int(project.length.sum()) + 1
    used = np.zeros((horizon, len(project.capacity)), np.int64)
    tail = np.zeros(n, np.int64)
    for a in range(n - 1, -1, -1):
        after = project.after[project.after_ptr[a] : project.after_ptr[a + 1]]
        tail[a] = max((tail[b] + project.length[b] for b in after), default=0)
    urgency = tail.max() - tail  # latest finish, counted from the earliest end
    people, spans = np.empty((POPULATION, n), np.int64), np.empty(POPULATION, np.int64)
    marks = np.empty(POPULATION, np.uint64)
    best_span, best = horizon, np.arange(n)
    while best_span > goal and time.perf_counter() - began < seconds:
        begin(project, back, urgency, people, spans, marks, used, seed)
        seed, waited = seed + 1, 0
        while spans.min() > goal and waited < PATIENCE and time.perf_counter() - began < seconds:
            better = breed(project, back, people, spans, marks, used, CHUNK, goal)
            waited = 0 if better else waited + CHUNK
        if spans.min() < best_span:
            best_span, best = int(spans.min()), people[spans.argmin()].copy()
    start = np.empty(n, np.int64)
    schedule(project, best, start, used)
    return best_span, start, goal


def faults(project, start):
    """What is wrong with a schedule, found without the search: precedence broken, a resource over its capacity."""
    found = []
    for a, first in enumerate(start):
        for b in project.before[project.before_ptr[a] : project.before_ptr[a + 1]]:
            if start[b] + project.length[b] > first:
                found.append(f"{a} begins before {b} ends")
    for moment in range(int((start + project.length).max())):
        busy = (start <= moment) & (moment < start + project.length)
        if np.any(project.need[busy].sum(axis=0) > project.capacity):
            found.append(f"over capacity at {moment}")
    return found
