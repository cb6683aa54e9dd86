"""What ``manage.py test`` runs: everything this machine has the parts for, and a line per part that it lacks.

On a machine that lacks PostgreSQL, Redis or Chromium the rest runs and passes; with CI=true a missing part fails.
Arguments are handed to pytest for a single run on the configured database: ``manage.py test tests/survey -k ranking``.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path
from urllib.parse import urlsplit

ROOT = Path(__file__).resolve().parent.parent
POSTGRES = os.environ.get("FETTLE_TEST_POSTGRES", "postgresql://postgres@127.0.0.1:5432/postgres")
REDIS = os.environ.get("FETTLE_TEST_REDIS", "redis://127.0.0.1:6379/9")
# Tables and pages behave by database; cores, the look, house rules and documents do not.
ON_BOTH = ["tests/media", "tests/survey", "tests/treatments", "tests/browser", "tests/fixtures", "tests/faults"]
EVERY_PAGE = "tests/browser/test_every_page.py::test_every_page_is_whole_quiet_and_accessible"
NOT_TWICE = [
    "--ignore-glob=*/core/*", "--ignore=tests/media/look", "--ignore=tests/fixtures/test_demo_drawing.py",
    f"--deselect={EVERY_PAGE}[desk-dark]", f"--deselect={EVERY_PAGE}[phone-light]",
]  # fmt: skip


def _answers(address: str, default_port: int) -> bool:
    parts = urlsplit(address)
    try:
        with socket.create_connection((parts.hostname or "127.0.0.1", parts.port or default_port), timeout=2):
            return True
    except OSError:
        return False


def _postgres_answers() -> bool:
    import psycopg

    try:
        psycopg.connect(POSTGRES, connect_timeout=3).close()
    except psycopg.Error:
        return False
    return True


def chromium() -> str | None:
    """Path of the machine's own Chromium; tests never download one."""
    names = ("chromium", "chromium-browser", "google-chrome")
    return os.environ.get("FETTLE_TEST_CHROMIUM") or next(filter(None, map(shutil.which, names)), None)


def parts() -> dict[str, str]:
    """Each part that this machine lacks, and how to have it."""
    lacking = {}
    if not _postgres_answers():
        lacking["PostgreSQL"] = (
            "apt-get install postgresql, start it, and set FETTLE_TEST_POSTGRES=postgresql://user@127.0.0.1:5432/postgres"
        )
    if not _answers(REDIS, 6379):
        lacking["Redis"] = "apt-get install redis-server, start it, or set FETTLE_TEST_REDIS=redis://host:6379/9"
    if not chromium():
        lacking["Chromium"] = "apt-get install chromium, or set FETTLE_TEST_CHROMIUM to its path"
    return lacking


def _run(name: str, arguments: list[str], **environment: str) -> int:
    print(f"\n== {name}", flush=True)
    began = time.monotonic()
    command = [sys.executable, "-m", "pytest", *arguments]
    code = subprocess.call(command, cwd=ROOT, env={**os.environ, **environment})
    print(f"== {name}: {'passed' if code == 0 else f'failed ({code})'} in {time.monotonic() - began:.0f} s", flush=True)
    return code


def _unless(lacking: dict[str, str]) -> str:
    """A marker expression that leaves out what cannot run here."""
    marks = {"Redis": "worker", "Chromium": "browser"}
    return " and ".join(f"not {mark}" for part, mark in marks.items() if part in lacking)


def main(arguments: list[str]) -> int:
    if arguments:
        return _run("chosen tests", arguments)
    lacking = parts()
    quick = ["-q", "-n", "2", "--dist", "loadscope"]
    marked = _unless(lacking)
    select = ["-m", " and ".join(filter(None, [marked, "not postgres"]))]
    codes = [_run("everything, on SQLite", [*quick, *select], FETTLE_TEST_REDIS=REDIS)]
    if "PostgreSQL" not in lacking:
        both = [path for path in ON_BOTH if (ROOT / path).exists()]
        select = ["-m", marked] if marked else []
        codes.append(
            _run("tables, pages and jobs, on PostgreSQL", [*quick, *select, *NOT_TWICE, *both],
                 FETTLE_DATABASE=POSTGRES, FETTLE_TEST_REDIS=REDIS)
        )  # fmt: skip
    for part, how in lacking.items():
        print(f"left out for want of {part}: {how}")
    if lacking and os.environ.get("CI") == "true":
        print("CI must run every part: failed")
        return 1
    return max(codes)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
