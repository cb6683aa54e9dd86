"""On a machine that lacks a part the rest runs and passes; under CI a missing part fails."""

from __future__ import annotations

import pytest

from tests import suite


@pytest.fixture
def runs(monkeypatch):
    """A machine without PostgreSQL, Redis and Chromium, and a note of what would be run on it."""
    monkeypatch.setattr(suite, "POSTGRES", "postgresql://nobody@127.0.0.1:1/none")
    monkeypatch.setattr(suite, "REDIS", "redis://127.0.0.1:1/0")
    monkeypatch.setattr(suite.shutil, "which", lambda name: None)
    monkeypatch.delenv("FETTLE_TEST_CHROMIUM", raising=False)
    monkeypatch.delenv("CI", raising=False)
    noted = []
    monkeypatch.setattr(suite, "_run", lambda name, arguments, **more: noted.append((name, arguments)) or 0)
    return noted


def test_what_is_lacking_is_left_out_and_said_with_how_to_have_it(runs, capsys):
    assert suite.main([]) == 0
    said = capsys.readouterr().out
    assert [name for name, _ in runs] == ["everything, on SQLite"]
    assert "not worker" in runs[0][1][-1] and "not browser" in runs[0][1][-1]
    for part in ("PostgreSQL", "Redis", "Chromium"):
        assert f"left out for want of {part}: apt-get install" in said


def test_under_ci_a_missing_part_fails(runs, monkeypatch):
    monkeypatch.setenv("CI", "true")
    assert suite.main([]) == 1


def test_a_failing_run_fails_the_suite(runs, monkeypatch):
    monkeypatch.setattr(suite, "_run", lambda *a, **k: 3)
    assert suite.main([]) == 3


def test_chosen_tests_are_handed_on(runs):
    assert suite.main(["tests/survey", "-k", "ranking"]) == 0
    assert runs == [("chosen tests", ["tests/survey", "-k", "ranking"])]
