"""Real Celery workers on a real Redis, killed with SIGKILL: work goes on, once, and can be stopped."""

from __future__ import annotations

import json
import os
from typing import NamedTuple

import pytest

from tests.processes import Installation, wait_for

REDIS = os.environ.get("FETTLE_TEST_REDIS", "redis://127.0.0.1:6379/9")
pytestmark = pytest.mark.worker


@pytest.fixture
def department(tmp_path):
    """An installation on Redis with a small demo and a long job waiting: one photograph a step."""
    installation = Installation(tmp_path, broker=REDIS)
    try:
        installation.manage("migrate", "-v", "0")
        installation.manage("defaults")
        installation.manage("demo", "--objects", "400")
        yield installation
    finally:
        installation.close()


class State(NamedTuple):
    pk: str
    state: str
    done: int
    attempts: int
    lost: int
    kept: int
    different: int


def state_of(department: Installation) -> State:
    job = "SELECT id, state, done, attempts, log FROM media_job WHERE name = 'treatments.demo_photographs'"
    pk, state, done, attempts, log = department.rows(job)[0]
    lost = len(json.loads(log) if isinstance(log, str) else log)
    kept = department.rows("SELECT object_id, photograph_id, view, moment, at FROM survey_objectphotograph")
    return State(str(pk), state, done, attempts, lost, len(kept), len(set(kept)))


def test_a_job_goes_on_after_its_worker_is_killed_and_stops_when_asked(department):
    first = department.worker()
    wait_for(lambda: state_of(department).done >= 2, seconds=120)
    department.kill(first)
    dead = state_of(department)
    assert dead.state == "running" and dead.kept == dead.done

    second = department.worker()
    going = wait_for(lambda: (now := state_of(department)).done > dead.done + 1 and now, seconds=120)
    assert (going.attempts, going.lost) == (2, 1)
    department.shell(f"from media.base import jobs; jobs.cancel('{going.pk}')")
    ended = wait_for(lambda: (now := state_of(department)).state == "cancelled" and now, seconds=60)
    assert ended.kept == ended.different == ended.done
    assert second.poll() is None, "the worker outlives the job"


def test_an_emptied_queue_is_rung_for_again_and_a_stopping_worker_hands_its_job_back(department):
    import redis

    redis.Redis.from_url(REDIS).flushdb()
    worker = department.worker()
    wait_for(lambda: state_of(department).done >= 1, seconds=120)
    worker.terminate()
    worker.wait(60)
    after = state_of(department)
    assert (after.state, after.attempts) == ("queued", 0) and after.kept == after.done
