"""Half a minute of shifts in which browsers, server and network die; the long form is ``tests.faults.shifts``."""

from __future__ import annotations

import copy
import time

import pytest

from tests.faults.judged import Broken, check
from tests.faults.shifts import Store
from tests.faults.tablets import Tablet

pytestmark = pytest.mark.browser
RUNS, SECONDS = 12, 25


@pytest.fixture
def store(tmp_path, playwright):
    made = Store(tmp_path, playwright, RUNS, 0)
    try:
        yield made
    finally:
        made.close()


def test_shifts_come_home_whole_whatever_dies(store):
    began, done = time.monotonic(), 0
    last: Tablet | None = None
    while done < RUNS and (time.monotonic() - began < SECONDS or last is None):
        print(f"seed {done}")  # shown if it fails
        store.run(done)
        done += 1
        last = next((each for each in store.tablets if any(look.finished for look in each.looks)), None)
    assert last
    assert sum(tablet.kills for tablet in store.tablets) >= 1 and sum(store.faults.values()) >= 1
    a_judge_that_sees(store, last)


def a_judge_that_sees(store, tablet):
    """What the shift just judged whole is judged broken once something of it is gone, doubled or other."""
    disk = tablet.on_disk()
    check(store.museum, tablet.looks, disk)
    [kept, *_] = disk["outbox"]
    gone, doubled, other = (copy.deepcopy(disk) for _ in range(3))
    gone["outbox"].remove(kept)
    doubled["outbox"].append(kept)
    other["outbox"][0]["operation"]["body"]["damage"] = "not_seen"
    for spoilt in (gone, doubled, other):
        with pytest.raises(Broken):
            check(store.museum, tablet.looks, spoilt)
