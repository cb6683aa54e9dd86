"""What the tests of the scores share: jobs that are asked for done at once, and a whole scoring."""

from __future__ import annotations

import pytest

from media.base.models import JobState
from survey.risk.db import services
from survey.risk.db.models import RiskRun
from tests import builders


@pytest.fixture
def done(db, django_capture_on_commit_callbacks):
    """Call something; the jobs that it asks for are done before it returns."""

    def run(call):
        with django_capture_on_commit_callbacks(execute=True):
            return call()

    return run


@pytest.fixture
def score(done):
    """Score everything as of the builders' day."""

    def run(exhibition=None) -> RiskRun:
        made, job = done(lambda: services.start_run(by=None, at=builders.NOW, exhibition=exhibition))
        job.refresh_from_db()
        assert job.state == JobState.DONE, job.error
        made.refresh_from_db()
        return made

    return run
