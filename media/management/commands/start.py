"""Start Fettle on this machine: tables, demo if asked for, one worker, the web server."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.wsgi import get_wsgi_application

THREADS = 8
DEMO_PASSWORD = "glaze and slip"  # noqa: S105 printed on purpose: it opens invented data only


class Command(BaseCommand):
    help = (
        "Prepare the database, start a worker and the web server, and print the address. "
        "Example: python3 manage.py start --demo"
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--demo", action="store_true", help="fill an empty database with the invented museum")
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default 127.0.0.1)")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on (default 8000)")
        parser.add_argument("--no-worker", action="store_true", help="another process does the long work")

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = options["host"], options["port"]
        listening = _listen(host, port)
        call_command("migrate", interactive=False, verbosity=0)
        call_command("defaults", verbosity=0)
        if options["demo"]:
            call_command("demo", if_empty=True, stdout=self.stdout)
        worker = None if options["no_worker"] else _start_worker()
        shown = "127.0.0.1" if host in {"0.0.0.0", "::"} else host  # noqa: S104 compared, not listened on
        self.stdout.write(f"Fettle is at http://{shown}:{port}  (Ctrl-C ends it)")
        self._say_who()
        self.stdout.flush()
        _serve(listening, worker)

    def _say_who(self) -> None:
        from media.base.models import User

        demo = User.objects.filter(username="head", first_name__gt="").first()
        usable = User.objects.filter(is_active=True).exclude(password__startswith="!")  # noqa: S106 nobody's password
        if demo and demo.check_password(DEMO_PASSWORD):
            self.stdout.write(f"Sign in as head, conservator, surveyor or reader; the password is {DEMO_PASSWORD}")
        elif not usable.exists():
            self.stdout.write("Nobody can sign in yet: in another window run  python3 manage.py createsuperuser")


def _listen(host: str, port: int) -> socket.socket:
    """The listening socket, taken before anything else so that a port in use is said at once."""
    if not 1 <= port <= 65535:
        raise CommandError(f"port {port} does not exist: give one from 1 to 65535, for example --port 8001")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as error:
        raise CommandError(
            f"cannot listen on {host}:{port} ({error.strerror}). Stop what uses it or take another: "
            f"python3 manage.py start --port {min(port + 1, 65535)}"
        ) from error
    return listening


def _worker_command() -> list[str]:
    return [
        sys.executable,
        *("-m", "celery", "--quiet", "-A", "config", "worker", "--pool", "solo", "--loglevel", "WARNING"),
        *("--without-gossip", "--without-mingle", "--without-heartbeat", "-n", f"child-{os.getpid()}@%h"),
    ]


def _start_worker() -> subprocess.Popen[bytes]:
    """A child that ends with this process, however this one ends: it reads the pipe that we hold."""
    return subprocess.Popen(
        _worker_command(),
        stdin=subprocess.PIPE,
        cwd=settings.ROOT,
        env={**os.environ, "FETTLE_CHILD": "1"},
    )


def _watch(over: threading.Event, held: list[subprocess.Popen[bytes]]) -> None:
    """Start the worker again when it dies, slower each time it dies young."""
    pause = 1.0
    while not over.wait(1.0):
        if held[0].poll() is None:
            continue
        over.wait(pause)
        pause = min(pause * 2, 60.0)
        if not over.is_set():
            held[0] = _start_worker()


def _serve(listening: socket.socket, worker: subprocess.Popen[bytes] | None) -> None:
    from waitress import create_server

    server = create_server(get_wsgi_application(), sockets=[listening], threads=THREADS, ident=None)
    over, held = threading.Event(), [worker] if worker else []
    if worker:
        threading.Thread(target=_watch, args=(over, held), daemon=True).start()

    def stop(*_: Any) -> None:
        # Once is enough: a second signal must not break off the ending.
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)
    try:
        server.run()
    finally:
        over.set()
        server.close()
        for child in held:
            child.terminate()
            try:
                child.wait(20)
            except subprocess.TimeoutExpired:
                child.kill()
