"""How the simulation holds its data: records of planned steps, and what changes while a trial runs."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Records = NDArray[Any]

# Records, so that all that one decision touches lies side by side in memory: one line of the cache a step.
TASK = np.dtype(
    [
        ("key", np.uint64),  # of its draw of hours
        ("bit", np.uint64),  # its place among those that are ready
        ("q", np.float32),
        ("cure", np.float32),
        ("limit", np.float32),  # last end; ``milestone`` is the bit to set when it is missed
        ("close", np.float32),
        ("waited", np.float32),  # how long the plan itself lets it wait for its person, in time on duty
        ("release", np.float32),
        ("word", np.int32),
        ("person", np.int32),
        ("thing", np.int32),
        ("next", np.int32),  # the steps after it: ``Tasks.next[next : next_end]``
        ("next_end", np.int32),
        ("resource", np.int16),
        ("milestone", np.uint16),
    ]
)
STATE = np.dtype(
    [
        ("left", np.float64),
        ("ready", np.float64),
        ("duty", np.float64),  # the person's time on duty when it became ready
        ("waiting_for", np.int32),
        ("refused", np.int32),  # whether its hood or bench was not free when the person would have begun
    ]
)
QUEUED = np.dtype([("time", np.float64), ("task", np.int64)])
PERSON = np.dtype(
    [
        ("free_at", np.float64),
        ("shift", np.int64),
        ("taken", np.int64),
        ("resume", np.int64),
        ("word", np.int64),  # before it no word of ``Trial.bits`` has a step that is ready
        ("head", np.int64),  # of the queue of what becomes ready later: ``Trial.queue[head:tail]``, in order of time
        ("tail", np.int64),
    ]
)


class Tasks(NamedTuple):
    """Planned steps, ordered by person and then by priority; those of person ``p`` are ``list_ptr[p]:list_ptr[p+1]``.

    ``each`` is an array of `TASK`, times in quarter-hours; ``queue`` one of `QUEUED`, from ``list_ptr[p]`` on the
    ``queued[p]`` steps of a person that wait for no other step, in order of release; ``preds`` counts what each waits
    for; ``exposed`` are steps after a taking down, to whose hours a surprise found there adds.
    """

    list_ptr: Ints
    word_ptr: Ints
    each: Records
    queue: Records
    queued: Ints
    preds: Ints
    exposed: NDArray[np.bool_]
    thing_key: Ints
    next: Ints
    capacity: Ints


class Trial(NamedTuple):
    """What changes while one trial runs: arrays of `STATE`, `QUEUED`, `PERSON`; when each person decides next; more."""

    each: Records
    queue: Records
    person: Records
    at: Floats
    bits: NDArray[np.uint64]
    busy_until: Floats
    worst_wait: Floats
    overrun: Floats
    factor: Floats
    surprised: Floats
    sick_from: Floats
    sick_to: Floats
    spells: Ints


class Outcome(NamedTuple):
    """Per trial and object: when ready (inf: never), which dates were missed (bits), why; per person: work, finish.

    Causes: a person's index; then hood, bench, more hours than estimated, cures and dates alone.
    """

    ready: NDArray[np.float32]
    missed: NDArray[np.uint8]
    cause: NDArray[np.int16]
    worked: NDArray[np.float32]
    finished: NDArray[np.float32]
