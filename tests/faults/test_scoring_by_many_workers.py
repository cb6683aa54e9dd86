"""One scoring divided over real Celery workers on a real Redis: alike with one, two and four, one of them killed."""

from __future__ import annotations

import os
import signal

import pytest

from tests.processes import Installation, wait_for

REDIS = os.environ.get("FETTLE_TEST_REDIS", "redis://127.0.0.1:6379/9")
pytestmark = pytest.mark.worker

OBJECTS, PARTS = 400, 8
COLLECTION = f"""
from datetime import UTC, datetime
from uuid import UUID
from media.models import User
from survey.models import Assessment, Joint, JointSeen, Object, Restoration, Workshop
at = datetime(2026, 3, 2, 9, tzinfo=UTC)
by = User.objects.create(username="surveyor", role="surveyor")
shops = [Workshop.objects.create(name=name) for name in "ABC"]
things = [Object(id=UUID(int=n << 64 | n), number=f"K {{n}}", number_key=f"K {{n}}", simple_name="jar", height_mm=200)
          for n in range(1, {OBJECTS} + 1)]
Object.objects.bulk_create(things)
work = [Restoration(object=thing, workshop=[*shops, None][n % 4], year_earliest=1950 + n % 30)
        for n, thing in enumerate(things)]
Restoration.objects.bulk_create(work)
joints = [Joint(restoration=one, label=f"J{{i}}", part="foot", length_mm=80) for one in work for i in range(3)]
Joint.objects.bulk_create(joints)
looks = [Assessment(object=thing, surveyor=by, definitions=1, started_at=at, finished_at=at) for thing in things[::2]]
Assessment.objects.bulk_create(looks)
look = {{one.object_id: one for one in looks}}
JointSeen.objects.bulk_create(
    JointSeen(assessment=look[joint.restoration.object_id], joint=joint, stage=n % 4)
    for n, joint in enumerate(joints) if joint.restoration.object_id in look
)
"""
ASK = """
from datetime import UTC, datetime
from survey.risk.db import jobs
from survey.risk.db.services import start_run
print(start_run(by=None, at=datetime(2026, 3, 3, tzinfo=UTC))[0].pk)
"""
HELD = "SELECT owner FROM media_job WHERE name = 'survey.risk.part' AND state = 'running'"
SCORES = (
    "SELECT run_id, object_id, before_opening, before_opening_low, before_opening_high, loss, rank_by_weighted, "
    "rank_by_loss, among_first, band FROM survey_objectrisk ORDER BY object_id"
)


@pytest.fixture
def department(tmp_path):
    installation = Installation(tmp_path, broker=REDIS)
    try:
        installation.manage("migrate", "-v", "0")
        installation.manage("defaults")
        installation.shell(COLLECTION)
        yield installation
    finally:
        installation.close()


def whole_run(department: Installation) -> tuple[str, int]:
    """State and progress of the newest run's job."""
    query = "SELECT state, done FROM media_job WHERE name = 'survey.risk.run' ORDER BY asked_at DESC LIMIT 1"
    state, done = department.rows(query)[0]
    return str(state), int(done)


def killed_with_a_part(department: Installation) -> bool:
    """Kill a worker that is in the middle of a part: held still first, so that it cannot end meanwhile."""
    for (owner,) in department.rows(HELD):
        group = os.getpgid(int(owner.split(":")[1]))
        os.killpg(group, signal.SIGSTOP)
        if (owner,) in department.rows(HELD):
            department.kill(next(process for process in department.started if process.pid == group))
            return True
        os.killpg(group, signal.SIGCONT)
    return False


def scored(department: Installation, *, killing: bool = False) -> list[tuple[object, ...]]:
    """Scores of a new run; with ``killing``, a worker is killed in the middle of a part once some is done."""
    run = department.shell(ASK).strip().splitlines()[-1].replace("-", "")
    if killing:
        wait_for(lambda: whole_run(department)[1] > 0, seconds=60, every=0.02)
        wait_for(lambda: killed_with_a_part(department), seconds=30, every=0.02)
    wait_for(lambda: whole_run(department)[0] == "done", seconds=90)
    assert whole_run(department)[1] == OBJECTS
    found = department.rows(SCORES)
    rows = [row[1:] for row in found if str(row[0]).replace("-", "") == run]
    assert len(rows) == OBJECTS
    return rows


def test_the_same_scores_whoever_takes_the_parts_and_whoever_dies(department):
    department.worker()
    alone = scored(department)
    department.worker()
    assert scored(department) == alone
    for _ in range(2):
        department.worker()
    assert scored(department, killing=True) == alone
    attempts = department.rows("SELECT COUNT(*), MAX(attempts) FROM media_job WHERE name = 'survey.risk.part'")[0]
    assert attempts == (3 * PARTS, 2), "what the dead worker held was taken up again"
