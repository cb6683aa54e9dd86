"""Everything on one machine, started by one command: what happens when it ends, however it ends."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.processes import ROOT, Installation, wait_for


@pytest.fixture
def installation(tmp_path):
    made = Installation(tmp_path)
    yield made
    made.close()


def workers_of(pid: int) -> list[int]:
    """Processes that were started as the worker of server ``pid`` and still run."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            words = (folder / "cmdline").read_bytes().split(b"\0")
        except OSError:
            continue
        if any(word.startswith(f"child-{pid}@".encode()) for word in words):
            found.append(int(folder.name))
    return found


def test_the_worker_ends_with_the_server_even_when_that_is_killed(installation):
    installation.server()
    server = installation.started[-1].pid
    wait_for(lambda: workers_of(server), seconds=60)
    os.kill(server, signal.SIGKILL)
    wait_for(lambda: not workers_of(server), seconds=30)


def test_a_server_told_to_end_ends_cleanly_and_its_worker_with_it(installation):
    installation.server()
    process = installation.started[-1]
    process.terminate()
    assert process.wait(60) == 0
    assert "Traceback" not in installation.said()


def test_a_port_in_use_is_said_with_what_to_do(installation):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = subprocess.run(
            [sys.executable, "manage.py", "start", "--port", str(port)],
            cwd=ROOT, env=installation.environment, capture_output=True, text=True, timeout=120,
        )  # fmt: skip
    assert done.returncode == 1
    assert f"--port {port + 1}" in done.stderr and "Traceback" not in done.stderr
