"""The simulation itself: people take the next ready step of their list, trial after trial.

Each person has a list of steps in order of priority. Whoever is free and on duty takes the first step of the list,
among the next ``ahead`` not yet begun, that is ready and finds its hood or bench free. A step that is not done when the
shift ends is gone on with in the person's next shift. Cures run by the wall clock.
"""

from __future__ import annotations

import numpy as np

from media.compiled import compiled, compiled_allocating
from treatments.forecast.mishaps import Mishaps
from treatments.forecast.noise import CELLS
from treatments.forecast.records import PERSON, QUEUED, STATE, Outcome, Tasks, Trial
from treatments.forecast.roster import Roster
from treatments.planning.timetable import ONE, lowest_bit

NEVER = np.inf
CELL_SHIFT = np.uint64(64 - CELLS.bit_length() + 1)
PHOTO_LATE, MOUNT_LATE, CLOSE_LATE = 1, 2, 4
HOUR_TOLERANCE = 1e-9  # of a quarter-hour; below it a step counts as done
# Keys of draws that belong to no step: beyond those of steps, which hold the object's number above twenty bits.
SURPRISE_KEY, SICK_KEY, CHANCE_KEY = 0xFFFFF, 1 << 44, 1 << 46
BEHIND = 1.0  # quarter-hours by which waiting or work must exceed the plan to be called a cause


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
def is_sick(roster: Roster, trial: Trial, mishaps: Mishaps, seed: np.uint64, number: int, p: int, shift: int) -> bool:
    """Whether a person is ill when a shift begins: spells follow each other, drawn as time comes to them."""
    while trial.sick_to[p] <= roster.start[shift]:
        key = SICK_KEY + (p << 20) + 2 * trial.spells[p]
        trial.spells[p] += 1
        trial.sick_from[p] = trial.sick_to[p] + mishaps.gap[uniform_cell(seed, number, key)]
        trial.sick_to[p] = trial.sick_from[p] + mishaps.spell[uniform_cell(seed, number, key + 1)]
    return trial.sick_from[p] <= roster.start[shift]


@compiled
def push(trial: Trial, p: int, task: int, time: float) -> None:
    """Let a step become ready for its person at a time; wake the person if they would otherwise sleep past it.

    The queue is kept in order by moving what comes later: it holds what cures, so that is little, and taking off its
    head costs nothing. Each step enters once, so a list as long as all of the person's steps is long enough.
    """
    person = trial.person[p]
    at = person.tail
    while at > person.head and trial.queue[at - 1].time > time:
        trial.queue[at].time = trial.queue[at - 1].time
        trial.queue[at].task = trial.queue[at - 1].task
        at -= 1
    trial.queue[at].time = time
    trial.queue[at].task = task
    person.tail += 1
    trial.at[p] = min(trial.at[p], max(person.free_at, time))


@compiled
def free_place(trial: Trial, tasks: Tasks, resource: int) -> tuple[int, float]:
    """The place at a hood or bench that is free first, and when; place -1 and a time long past if none is needed."""
    if resource < 0:
        return -1, -1.0
    first = 0 if resource == 0 else tasks.capacity[0]
    best, when = -1, NEVER
    for place in range(first, first + tasks.capacity[resource]):
        sooner = trial.busy_until[place] < when
        best = place if sooner else best
        when = trial.busy_until[place] if sooner else when
    return best, when


@compiled
def pick(trial: Trial, tasks: Tasks, p: int, now: float, ahead: int) -> tuple[int, int, float]:
    """What a person does now: the step and its place; or -1 and when a place that it waits for becomes free."""
    retry, resume = NEVER, trial.person[p].resume
    if resume >= 0:
        place, when = free_place(trial, tasks, tasks.each[resume].resource)
        if when <= now:
            return resume, place, now
        retry = when
    word, end = trial.person[p].word, tasks.word_ptr[p + 1]
    while word < end and trial.bits[word] == 0:
        word += 1
    trial.person[p].word = word
    base = tasks.list_ptr[p] - 64 * tasks.word_ptr[p]
    limit = min(tasks.list_ptr[p] + trial.person[p].taken + ahead, tasks.list_ptr[p + 1])
    while word < end:
        mask = trial.bits[word]
        while mask:
            task = base + 64 * word + lowest_bit(mask)
            if task >= limit:
                return -1, -1, retry
            place, when = free_place(trial, tasks, tasks.each[task].resource)
            if when <= now:
                return task, place, now
            trial.each[task].refused = 1
            retry = min(retry, when)
            mask &= mask - ONE
        word += 1
    return -1, -1, retry


@compiled
def duty_at(roster: Roster, shift: int, first: int, time: float) -> float:
    """Time on duty up to a time in ``shift`` or before it: mostly the shift before, earlier if the person was ill."""
    last = max(shift - 1, first)
    while last > first and roster.start[last] > time:
        last -= 1
    until = min(roster.before[min(last + 1, shift)], roster.before[last] + max(0.0, time - roster.start[last]))
    return until + max(0.0, time - roster.start[shift])


@compiled
def let_begin(tasks: Tasks, trial: Trial, p: int, task: int, duty: float) -> None:
    """Put a ready step among those that its person looks at."""
    word = np.int64(tasks.each[task].word)
    trial.each[task].duty = duty
    trial.bits[word] |= tasks.each[task].bit
    trial.person[p].word = min(trial.person[p].word, word)


@compiled
def begin(tasks: Tasks, trial: Trial, out: Outcome, n: int, p: int, task: int, duty: float) -> None:
    """Take a ready step off the list, and note how much longer than planned it had to wait, and for what."""
    step, state = tasks.each[task], trial.each[task]
    trial.bits[step.word] &= ~step.bit
    trial.person[p].taken += 1
    waited = duty - state.duty - step.waited
    if waited > trial.worst_wait[step.thing]:
        trial.worst_wait[step.thing] = waited
        people = len(tasks.list_ptr) - 2
        out.cause[n, step.thing] = people + step.resource if state.refused else p


@compiled
def finish(tasks: Tasks, trial: Trial, out: Outcome, n: int, p: int, task: int, now: float, duty: float) -> None:
    """A step is done: note what it missed, and let the steps after it cure and become ready."""
    step = tasks.each[task]
    cured = now + step.cure
    out.ready[n, step.thing] = max(out.ready[n, step.thing], np.float32(cured))
    if now > step.limit + HOUR_TOLERANCE:
        out.missed[n, step.thing] |= step.milestone
    if cured > step.close + HOUR_TOLERANCE:
        out.missed[n, step.thing] |= CLOSE_LATE
    for at in range(step.next, step.next_end):
        after = tasks.next[at]
        state = trial.each[after]
        state.ready = max(state.ready, cured)
        state.waiting_for -= 1
        if state.waiting_for == 0:
            if state.ready <= now and tasks.each[after].person == p:
                let_begin(tasks, trial, p, after, duty)  # who ends now also decides next, so it need not queue
            else:
                push(trial, tasks.each[after].person, after, state.ready)


@compiled
def put_off(tasks: Tasks, trial: Trial, p: int, task: int, duty: float) -> None:
    """The shift ends: the step comes first next time; if another already does, this one goes back on the list."""
    if trial.person[p].resume < 0:
        trial.person[p].resume = task
        return
    let_begin(tasks, trial, p, task, duty)
    trial.person[p].taken -= 1


@compiled
def step_forward(
    tasks: Tasks,
    roster: Roster,
    trial: Trial,
    out: Outcome,
    mishaps: Mishaps,
    seed: np.uint64,
    n: int,
    p: int,
    ahead: int,
) -> int:
    """Let person ``p`` decide at their time; returns how many steps that finished (0 or 1)."""
    now, person = trial.at[p], trial.person[p]
    shift = person.shift
    while shift < roster.ptr[p + 1] and (
        roster.end[shift] <= now or is_sick(roster, trial, mishaps, seed, n, p, shift)
    ):
        shift += 1
    person.shift = shift
    if shift == roster.ptr[p + 1]:
        trial.at[p] = NEVER
        person.free_at = NEVER
        return 0
    if roster.start[shift] > now:
        trial.at[p] = roster.start[shift]
        return 0
    while person.head < person.tail and trial.queue[person.head].time <= now:
        queued = trial.queue[person.head]
        person.head += 1
        let_begin(tasks, trial, p, queued.task, duty_at(roster, shift, roster.ptr[p], queued.time))
    task, place, retry = pick(trial, tasks, p, now, ahead)
    if task < 0:
        trial.at[p] = min(retry, trial.queue[person.head].time if person.head < person.tail else NEVER)
        return 0
    duty = roster.before[shift] - roster.start[shift]
    if task == person.resume:
        person.resume = -1
    else:
        begin(tasks, trial, out, n, p, task, duty + now)
    state = trial.each[task]
    end = min(now + state.left, roster.end[shift])
    state.left -= end - now
    out.worked[n, p] += np.float32(end - now)
    person.free_at = end
    if end == roster.end[shift]:
        person.free_at = roster.start[shift + 1] if shift + 1 < roster.ptr[p + 1] else NEVER
    trial.at[p] = person.free_at
    if place >= 0:
        trial.busy_until[place] = end
    if state.left > HOUR_TOLERANCE:
        put_off(tasks, trial, p, task, duty + end)
        return 0
    out.finished[n, p] = np.float32(end)
    finish(tasks, trial, out, n, p, task, end, duty + end)
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
    mishaps: Mishaps,
) -> None:
    """Everything as on the first morning, with this trial's hours."""
    for p in range(len(trial.at)):
        person, first = trial.person[p], tasks.list_ptr[p]
        person.free_at = 0.0
        person.shift = roster.ptr[p]
        person.taken = 0
        person.resume = -1
        person.word = tasks.word_ptr[p]
        person.head, person.tail = first, first + tasks.queued[p]
        for at in range(person.head, person.tail):
            trial.queue[at].time = tasks.queue[at].time
            trial.queue[at].task = tasks.queue[at].task
        trial.at[p] = tasks.queue[first].time if tasks.queued[p] else NEVER
        trial.sick_from[p] = 0.0
        trial.sick_to[p] = 0.0
        trial.spells[p] = 0
    trial.bits[:] = np.uint64(0)
    trial.busy_until[:] = 0.0
    trial.worst_wait[:] = BEHIND
    trial.overrun[:] = 0.0
    common = team[uniform_cell(seed, number, 0)]
    chance = mishaps.chance[uniform_cell(seed, number, CHANCE_KEY)]
    for n in range(len(trial.factor)):
        trial.factor[n] = common * thing[uniform_cell(seed, number, tasks.thing_key[n])]
        found = uniform_cell(seed, number, tasks.thing_key[n] << 20 | SURPRISE_KEY) + 0.5 < chance * CELLS
        trial.surprised[n] = mishaps.usual * (mishaps.extra if found else 1.0)
    for task in range(len(tasks.each)):
        own, state = tasks.each[task], trial.each[task]
        factor = trial.factor[own.thing] * step[uniform_cell(seed, number, own.key)]
        if tasks.exposed[task]:
            factor *= trial.surprised[own.thing]
        trial.overrun[own.thing] += own.q * (factor - 1.0)
        state.left = own.q * factor
        state.ready = own.release
        state.waiting_for = tasks.preds[task]
        state.refused = 0


@compiled
def run_trial(
    tasks: Tasks, roster: Roster, trial: Trial, out: Outcome, mishaps: Mishaps, seed: np.uint64, n: int, ahead: int
) -> None:
    """Go from decision to decision in order of time until all is done, or nobody will ever come again."""
    left = len(tasks.each)
    while left > 0:
        soonest = NEVER
        for other in range(len(trial.at)):
            soonest = min(soonest, trial.at[other])
        p = 0
        while trial.at[p] > soonest:
            p += 1
        if soonest < NEVER:
            left -= step_forward(tasks, roster, trial, out, mishaps, seed, n, p, ahead)
        elif ahead < len(tasks.each):  # everyone waits for something beyond the others' next steps: look further
            ahead = len(tasks.each)
            for other in range(len(trial.at)):
                trial.at[other] = trial.person[other].free_at
        else:
            break
    people = len(tasks.list_ptr) - 2
    for task in range(len(tasks.each)):
        if left > 0 and trial.each[task].left > HOUR_TOLERANCE:
            out.ready[n, tasks.each[task].thing] = NEVER
            out.missed[n, tasks.each[task].thing] |= tasks.each[task].milestone | CLOSE_LATE
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
    mishaps: Mishaps,
    ahead: int,
) -> None:
    """Trials ``first`` up to ``last``; rows of ``out`` are filled. Several threads may do different rows at once."""
    n, people, things = len(tasks.each), len(tasks.list_ptr) - 1, out.ready.shape[1]
    trial = Trial(
        np.empty(n, STATE),
        np.empty(n, QUEUED),
        np.empty(people, PERSON),
        np.empty(people),
        np.empty(tasks.word_ptr[people], np.uint64),
        np.empty(tasks.capacity.sum()),
        np.empty(things),
        np.empty(things),
        np.empty(things),
        np.empty(things),
        np.empty(people),
        np.empty(people),
        np.empty(people, np.int64),
    )
    for number in range(first, last):
        set_up(tasks, roster, trial, seed, number, step, thing, team, mishaps)
        run_trial(tasks, roster, trial, out, mishaps, seed, number, ahead)
