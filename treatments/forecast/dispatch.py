"""The simulation itself: people take the next ready step of their list, trial after trial.

Each person has a list of steps in order of priority. Whoever is free and on duty takes the first step of the list,
among the next ``ahead`` not yet begun, that is ready and finds its hood or bench free. A step that is not done when the
shift ends is gone on with in the person's next shift. Cures run by the wall clock.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from treatments.forecast.noise import CELLS
from treatments.forecast.roster import Roster
from treatments.planning.compiled import compiled, compiled_allocating
from treatments.planning.timetable import ONE, lowest_bit

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
NEVER = np.inf
CELL_SHIFT = np.uint64(64 - CELLS.bit_length() + 1)
PHOTO_LATE, MOUNT_LATE, CLOSE_LATE = 1, 2, 4
HOUR_TOLERANCE = 1e-9  # of a quarter-hour; below it a step counts as done
BEHIND = 1.0  # quarter-hours by which waiting or work must exceed the plan to be called a cause


class Tasks(NamedTuple):
    """Planned steps, ordered by person and then by priority; those of person ``p`` are ``list_ptr[p]:list_ptr[p+1]``.

    ``q``, ``cure``, ``release`` in quarter-hours; ``limit`` is the last end, ``milestone`` the bit to set when it is
    missed; ``waited`` is how long the plan itself lets the step wait for its person, in hours on duty.
    """

    list_ptr: Ints
    word_ptr: Ints
    person: Ints
    thing: Ints
    thing_key: Ints
    key: Ints
    q: Floats
    cure: Floats
    release: Floats
    limit: Floats
    close: Floats
    milestone: Ints
    resource: Ints
    waited: Floats
    preds: Ints
    next_ptr: Ints
    next: Ints
    capacity: Ints


class Trial(NamedTuple):
    """What changes while one trial runs."""

    left: Floats
    ready: Floats
    waiting_for: Ints
    refused: NDArray[np.bool_]
    queue_time: Floats
    queue_task: Ints
    queued: Ints
    bits: NDArray[np.uint64]
    at: Floats
    free_at: Floats
    shift: Ints
    taken: Ints
    resume: Ints
    busy_until: Floats
    worst_wait: Floats
    overrun: Floats
    factor: Floats
    duty: Floats


class Outcome(NamedTuple):
    """Per trial and object: when ready (inf: never), which dates were missed (bits), why; per person: work, finish.

    Causes: a person's index; then hood, bench, more hours than estimated, cures and dates alone.
    """

    ready: NDArray[np.float32]
    missed: NDArray[np.uint8]
    cause: NDArray[np.int16]
    worked: NDArray[np.float32]
    finished: NDArray[np.float32]


@compiled
def uniform_cell(seed: np.uint64, trial: int, key: int) -> int:
    """One of ``CELLS`` equally likely cells, the same for the same seed, trial and key, whatever else is simulated.

    The mixing function is that of SplitMix64 (Steele, Lea and Flood 2014; constants from memory).
    """
    x = seed + np.uint64(trial) * np.uint64(0x9E3779B97F4A7C15) + np.uint64(key) * np.uint64(0xD1B54A32D192ED03)
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return int((x ^ (x >> np.uint64(31))) >> CELL_SHIFT)


@compiled
def push(trial: Trial, tasks: Tasks, task: int, time: float) -> None:
    """Let a step become ready for its person at a time; wake the person if they would otherwise sleep past it."""
    p = tasks.person[task]
    base, n = tasks.list_ptr[p], trial.queued[p]
    while n > 0:
        up = (n - 1) >> 1
        if trial.queue_time[base + up] <= time:
            break
        trial.queue_time[base + n] = trial.queue_time[base + up]
        trial.queue_task[base + n] = trial.queue_task[base + up]
        n = up
    trial.queue_time[base + n] = time
    trial.queue_task[base + n] = task
    trial.queued[p] += 1
    trial.ready[task] = time
    trial.at[p] = min(trial.at[p], max(trial.free_at[p], time))


@compiled
def pop(trial: Trial, base: int, p: int) -> int:
    """The step that becomes ready first for a person, taken off the queue."""
    task = trial.queue_task[base]
    n = trial.queued[p] - 1
    trial.queued[p] = n
    time, last = trial.queue_time[base + n], trial.queue_task[base + n]
    at = 0
    while 2 * at + 1 < n:
        down = 2 * at + 1
        if down + 1 < n and trial.queue_time[base + down + 1] < trial.queue_time[base + down]:
            down += 1
        if trial.queue_time[base + down] >= time:
            break
        trial.queue_time[base + at] = trial.queue_time[base + down]
        trial.queue_task[base + at] = trial.queue_task[base + down]
        at = down
    trial.queue_time[base + at] = time
    trial.queue_task[base + at] = last
    return task


@compiled
def free_place(trial: Trial, tasks: Tasks, task: int) -> tuple[int, float]:
    """The place at a hood or bench that is free first, and when; place -1 and a time long past if none is needed."""
    resource = tasks.resource[task]
    if resource < 0:
        return -1, -1.0
    first = 0 if resource == 0 else tasks.capacity[0]
    best, when = -1, NEVER
    for place in range(first, first + tasks.capacity[resource]):
        if trial.busy_until[place] < when:
            best, when = place, trial.busy_until[place]
    return best, when


@compiled
def pick(trial: Trial, tasks: Tasks, p: int, now: float, ahead: int) -> tuple[int, int, float]:
    """What a person does now: the step and its place; or -1 and when a place that it waits for becomes free."""
    retry = NEVER
    if trial.resume[p] >= 0:
        place, when = free_place(trial, tasks, trial.resume[p])
        if when <= now:
            return trial.resume[p], place, now
        retry = when
    base, word = tasks.list_ptr[p], tasks.word_ptr[p]
    limit = min(trial.taken[p] + ahead, tasks.list_ptr[p + 1] - base)
    for w in range((limit + 63) >> 6):
        mask = trial.bits[word + w]
        while mask:
            rank = 64 * w + lowest_bit(mask)
            if rank >= limit:
                return -1, -1, retry
            place, when = free_place(trial, tasks, base + rank)
            if when <= now:
                return base + rank, place, now
            trial.refused[base + rank] = True
            retry = min(retry, when)
            mask &= mask - ONE
    return -1, -1, retry


@compiled
def duty_at(roster: Roster, shift: int, first: int, time: float) -> float:
    """Hours on duty up to a time, looked for from ``shift`` backwards."""
    while shift > first and roster.start[shift] > time:
        shift -= 1
        if roster.end[shift] <= time:
            return roster.before[shift + 1]
    return roster.before[shift] + max(0.0, time - roster.start[shift])


@compiled
def begin(tasks: Tasks, roster: Roster, trial: Trial, out: Outcome, n: int, task: int, now: float) -> None:
    """Take a ready step off the list, and note how much longer than planned it had to wait, and for what."""
    p = tasks.person[task]
    rank = task - tasks.list_ptr[p]
    trial.bits[tasks.word_ptr[p] + (rank >> 6)] &= ~(ONE << np.uint64(rank & 63))
    trial.taken[p] += 1
    waited = roster.before[trial.shift[p]] + now - roster.start[trial.shift[p]] - trial.duty[task] - tasks.waited[task]
    thing = tasks.thing[task]
    if waited > trial.worst_wait[thing]:
        trial.worst_wait[thing] = waited
        people = len(tasks.list_ptr) - 2
        out.cause[n, thing] = people + tasks.resource[task] if trial.refused[task] else p


@compiled
def finish(tasks: Tasks, trial: Trial, out: Outcome, n: int, task: int, now: float) -> None:
    """A step is done: note what it missed, and let the steps after it cure and become ready."""
    thing = tasks.thing[task]
    cured = now + tasks.cure[task]
    out.ready[n, thing] = max(out.ready[n, thing], np.float32(cured))
    if now > tasks.limit[task] + HOUR_TOLERANCE:
        out.missed[n, thing] |= tasks.milestone[task]
    if cured > tasks.close[task] + HOUR_TOLERANCE:
        out.missed[n, thing] |= CLOSE_LATE
    for at in range(tasks.next_ptr[task], tasks.next_ptr[task + 1]):
        after = tasks.next[at]
        trial.ready[after] = max(trial.ready[after], cured)
        trial.waiting_for[after] -= 1
        if trial.waiting_for[after] == 0:
            push(trial, tasks, after, trial.ready[after])


@compiled
def put_off(tasks: Tasks, roster: Roster, trial: Trial, p: int, task: int) -> None:
    """The shift ends: the step comes first next time; if another already does, this one goes back on the list."""
    if trial.resume[p] < 0:
        trial.resume[p] = task
        return
    rank = task - tasks.list_ptr[p]
    trial.bits[tasks.word_ptr[p] + (rank >> 6)] |= ONE << np.uint64(rank & 63)
    trial.taken[p] -= 1
    trial.duty[task] = roster.before[trial.shift[p] + 1]


@compiled
def step_forward(tasks: Tasks, roster: Roster, trial: Trial, out: Outcome, n: int, p: int, ahead: int) -> int:
    """Let person ``p`` decide at their time; returns how many steps that finished (0 or 1)."""
    now = trial.at[p]
    shift = trial.shift[p]
    while shift < roster.ptr[p + 1] and roster.end[shift] <= now:
        shift += 1
    trial.shift[p] = shift
    if shift == roster.ptr[p + 1]:
        trial.at[p] = NEVER
        trial.free_at[p] = NEVER
        return 0
    if roster.start[shift] > now:
        trial.at[p] = roster.start[shift]
        return 0
    base = tasks.list_ptr[p]
    while trial.queued[p] > 0 and trial.queue_time[base] <= now:
        ready = pop(trial, base, p)
        trial.duty[ready] = duty_at(roster, shift, roster.ptr[p], trial.ready[ready])
        rank = ready - base
        trial.bits[tasks.word_ptr[p] + (rank >> 6)] |= ONE << np.uint64(rank & 63)
    task, place, retry = pick(trial, tasks, p, now, ahead)
    if task < 0:
        trial.at[p] = min(retry, trial.queue_time[base] if trial.queued[p] > 0 else NEVER)
        return 0
    if task == trial.resume[p]:
        trial.resume[p] = -1
    else:
        begin(tasks, roster, trial, out, n, task, now)
    end = min(now + trial.left[task], roster.end[shift])
    trial.left[task] -= end - now
    out.worked[n, p] += np.float32(end - now)
    trial.at[p] = end
    trial.free_at[p] = end
    if place >= 0:
        trial.busy_until[place] = end
    if trial.left[task] > HOUR_TOLERANCE:
        put_off(tasks, roster, trial, p, task)
        return 0
    out.finished[n, p] = np.float32(end)
    finish(tasks, trial, out, n, task, end)
    return 1


@compiled
def set_up(
    tasks: Tasks,
    roster: Roster,
    trial: Trial,
    seed: np.uint64,
    number: int,
    step: np.ndarray,
    thing: np.ndarray,
    team: np.ndarray,
) -> None:
    """Everything as on the first morning, with this trial's hours."""
    for p in range(len(trial.at)):
        trial.at[p] = NEVER
        trial.free_at[p] = 0.0
        trial.shift[p] = roster.ptr[p]
        trial.taken[p] = 0
        trial.queued[p] = 0
        trial.resume[p] = -1
    trial.bits[:] = np.uint64(0)
    trial.busy_until[:] = 0.0
    trial.worst_wait[:] = BEHIND
    trial.overrun[:] = 0.0
    common = team[uniform_cell(seed, number, 0)]
    for n in range(len(trial.factor)):
        trial.factor[n] = common * thing[uniform_cell(seed, number, tasks.thing_key[n])]
    for task in range(len(tasks.q)):
        factor = trial.factor[tasks.thing[task]] * step[uniform_cell(seed, number, tasks.key[task])]
        trial.left[task] = tasks.q[task] * factor
        trial.overrun[tasks.thing[task]] += tasks.q[task] * (factor - 1.0)
        trial.refused[task] = False
        trial.waiting_for[task] = tasks.preds[task]
        trial.ready[task] = tasks.release[task]
        if tasks.preds[task] == 0:
            push(trial, tasks, task, tasks.release[task])


@compiled
def run_trial(tasks: Tasks, roster: Roster, trial: Trial, out: Outcome, n: int, ahead: int) -> None:
    """Go from decision to decision in order of time until all is done, or nobody will ever come again."""
    left = len(tasks.q)
    while left > 0:
        p = 0
        for other in range(1, len(trial.at)):
            if trial.at[other] < trial.at[p]:
                p = other
        if trial.at[p] < NEVER:
            left -= step_forward(tasks, roster, trial, out, n, p, ahead)
        elif ahead < len(tasks.q):  # everyone waits for something beyond the others' next steps: look further
            ahead = len(tasks.q)
            for other in range(len(trial.at)):
                trial.at[other] = trial.free_at[other]
        else:
            break
    people = len(tasks.list_ptr) - 2
    for task in range(len(tasks.q)):
        if trial.left[task] > HOUR_TOLERANCE:
            out.ready[n, tasks.thing[task]] = NEVER
            out.missed[n, tasks.thing[task]] |= tasks.milestone[task] | CLOSE_LATE
    for thing in range(out.ready.shape[1]):
        if trial.overrun[thing] > trial.worst_wait[thing]:
            out.cause[n, thing] = people + 2
        elif trial.worst_wait[thing] <= BEHIND:
            out.cause[n, thing] = people + 3


@compiled_allocating
def run_trials(
    tasks: Tasks,
    roster: Roster,
    out: Outcome,
    first: int,
    last: int,
    seed: np.uint64,
    step: np.ndarray,
    thing: np.ndarray,
    team: np.ndarray,
    ahead: int,
) -> None:
    """Trials ``first`` up to ``last``; rows of ``out`` are filled. Several threads may do different rows at once."""
    n, people, things = len(tasks.q), len(tasks.list_ptr) - 1, out.ready.shape[1]
    trial = Trial(
        np.empty(n),
        np.empty(n),
        np.empty(n, np.int64),
        np.empty(n, np.bool_),
        np.empty(n),
        np.empty(n, np.int64),
        np.empty(people, np.int64),
        np.empty(tasks.word_ptr[people], np.uint64),
        np.empty(people),
        np.empty(people),
        np.empty(people, np.int64),
        np.empty(people, np.int64),
        np.empty(people, np.int64),
        np.empty(tasks.capacity.sum()),
        np.empty(things),
        np.empty(things),
        np.empty(things),
        np.empty(n),
    )
    for number in range(first, last):
        set_up(tasks, roster, trial, seed, number, step, thing, team)
        run_trial(tasks, roster, trial, out, number, ahead)
