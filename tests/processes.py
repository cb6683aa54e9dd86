"""Fettle in real processes: its own files and database, a server, workers; for tests that kill things or browse."""

from __future__ import annotations

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.request
import uuid
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

ROOT = Path(__file__).resolve().parent.parent


def free_port() -> int:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return int(listening.getsockname()[1])


def wait_for(what: Callable[[], Any], *, seconds: float, every: float = 0.2) -> Any:
    """The first true answer of ``what``; fails the test after ``seconds``."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if answer := what():
            return answer
        time.sleep(every)
    raise AssertionError(f"not within {seconds} s: {what}")


class Installation:
    """One Fettle with nothing shared: ``var`` folder, database, spool."""

    def __init__(self, folder: Path, *, broker: str = "", **environment: str) -> None:
        self.folder = folder
        self.database, self._drop = self._own_database()
        self.environment = {
            **os.environ,
            "FETTLE_VAR": str(folder),
            "FETTLE_DATABASE": self.database,
            "FETTLE_JOB_SWEEP_SECONDS": "1",
            "FETTLE_JOB_LEASE_SECONDS": "4",
            "FETTLE_LOG_LEVEL": "ERROR",
            **({"FETTLE_BROKER": broker} if broker else {}),
            **environment,
        }
        self.environment.pop("DJANGO_ALLOW_ASYNC_UNSAFE", None)
        self.started: list[subprocess.Popen[bytes]] = []
        self.address = ""

    def _own_database(self) -> tuple[str, Callable[[], None]]:
        """A database of the kind that the suite runs on, made for this installation alone."""
        given = os.environ.get("FETTLE_DATABASE", "")
        if not given.startswith("postgresql:"):
            return f"sqlite:///{self.folder}/fettle.sqlite3", lambda: None
        import psycopg

        name = f"fettle_{uuid.uuid4().hex[:12]}"
        with psycopg.connect(given, autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{name}"')  # type: ignore[call-overload]  # our own name

        def drop() -> None:
            with psycopg.connect(given, autocommit=True) as connection:
                connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')  # type: ignore[call-overload]

        return urlunsplit(urlsplit(given)._replace(path=f"/{name}")), drop

    def manage(self, *arguments: str) -> str:
        """Run one management command; its output. A failure shows what was said."""
        done = subprocess.run(
            [sys.executable, "manage.py", *arguments], cwd=ROOT, env=self.environment, capture_output=True, text=True
        )
        if done.returncode:
            raise AssertionError(f"{arguments}: {done.stdout[-1500:]} {done.stderr[-1500:]}")
        return done.stdout

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Rows of a query that changes nothing, straight from the database: a shell would take seconds."""
        if self.database.startswith("sqlite"):
            with closing(sqlite3.connect(f"file:{self.folder}/fettle.sqlite3?mode=ro", uri=True, timeout=20)) as found:
                return found.execute(query).fetchall()
        import psycopg

        with psycopg.connect(self.database) as found:
            return found.execute(query).fetchall()  # type: ignore[call-overload]  # the tests' own queries

    def shell(self, code: str) -> str:
        """Run ``code`` in a shell of the installation."""
        return self.manage("shell", "-v", "0", "-c", code)

    def begin(self, arguments: list[str], **environment: str) -> subprocess.Popen[bytes]:
        log = (self.folder / f"{len(self.started)}.log").open("wb")
        process = subprocess.Popen(
            [sys.executable, *arguments], cwd=ROOT, env=self.environment | environment, stdin=subprocess.DEVNULL,
            stdout=log, stderr=subprocess.STDOUT, start_new_session=True,
        )  # fmt: skip
        self.started.append(process)
        return process

    def worker(self) -> subprocess.Popen[bytes]:
        """One Celery worker with one child process."""
        name = f"w{uuid.uuid4().hex[:8]}@test"
        arguments = ["-m", "celery", "-A", "config", "worker", "--concurrency", "1", "-n", name]
        return self.begin([*arguments, "--loglevel", "WARNING"])

    def server(self, *arguments: str) -> str:
        """Start the product as a person would; the address once it answers."""
        port = free_port()
        process = self.begin(["manage.py", "start", "--port", str(port), *arguments])
        self.address = f"http://127.0.0.1:{port}"

        def answers() -> bool:
            if process.poll() is not None:
                raise AssertionError(self.said())
            with suppress(OSError):
                return urllib.request.urlopen(f"{self.address}/alive/", timeout=2).status == 200  # noqa: S310 ours
            return False

        wait_for(answers, seconds=180)
        return self.address

    def said(self) -> str:
        """The last lines of everything that was started."""
        return "\n".join(log.read_text(errors="replace")[-1500:] for log in sorted(self.folder.glob("*.log")))

    def kill(self, process: subprocess.Popen[bytes]) -> None:
        """As a power cut would: the process and its children at once."""
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def close(self) -> None:
        for process in self.started:
            if process.poll() is None:
                process.terminate()
        for process in self.started:
            with suppress(subprocess.TimeoutExpired):
                process.wait(25)
            self.kill(process)
        self._drop()
