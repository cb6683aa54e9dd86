"""Start Fettle on this machine: tables, demo if asked for, one worker, the web server."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
from argparse import ArgumentParser
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.wsgi import get_wsgi_application
from django.utils import timezone

if TYPE_CHECKING:
    from media.management.certificates import Certificate

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
        parser.add_argument(
            "--tls", action="store_true",
            help="answer by HTTPS, which tablets need; makes a certificate unless --certificate and --key are given",
        )  # fmt: skip
        parser.add_argument("--certificate", type=Path, help="PEM file of a certificate that you have, with its chain")
        parser.add_argument("--key", type=Path, help="PEM file of its key")
        parser.add_argument("--name", action="append", help="what tablets call this machine, if not its own host name")

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = options["host"], options["port"]
        shown = "127.0.0.1" if host in {"0.0.0.0", "::"} else host  # noqa: S104 compared, not listened on
        tls = self._tls(options, shown, port)
        listening = _listen(host, port)
        call_command("migrate", interactive=False, verbosity=0)
        call_command("defaults", verbosity=0)
        if options["demo"]:
            call_command("demo", if_empty=True, stdout=self.stdout)
        worker = None if options["no_worker"] else _start_worker()
        server = _secure(listening, tls) if tls else _plain(listening)
        self.stdout.write(f"Fettle is at {'https' if tls else 'http'}://{shown}:{port}  (Ctrl-C ends it)")
        self._say_who()
        self.stdout.flush()
        _serve(server, worker)

    def _tls(self, options: dict[str, Any], shown: str, port: int) -> Certificate | None:
        """The certificate to answer with, and what to do on a tablet; none without ``--tls``."""
        given = [options["certificate"], options["key"]]
        if not options["tls"]:
            if any(given):
                raise CommandError("--certificate and --key belong to --tls: add that")
            return None
        from media.management import certificates

        names = list(dict.fromkeys([*(options["name"] or []), *certificates.names_of_this_machine()]))
        if any(given) and not all(path and path.is_file() for path in given):
            raise CommandError("give both files: --certificate server.crt --key server.key")
        try:
            if all(given):
                found = certificates.Certificate(*given)
            else:
                found = certificates.kept(settings.VAR / "tls", [*names, *_apart(shown, names)], at=timezone.now())
        except (ValueError, OSError) as error:
            raise CommandError(f"no certificate could be made for {', '.join(names)}: {error}") from error
        settings.ALLOWED_HOSTS = list(dict.fromkeys([*settings.ALLOWED_HOSTS, *names]))
        settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = True
        called = ", ".join(name for name in names[1:] if name not in certificates.ITSELF)
        self.stdout.write(f"Tablets reach it at https://{names[0]}:{port}{called and f', or by {called}'}")
        if shown in certificates.ITSELF and options["host"] == shown:
            self.stdout.write("So far it listens to this machine only: for tablets add --host 0.0.0.0")
        if found.root:
            self.stdout.write(
                f"On each tablet, once: bring {found.root} over, open it, and trust it in the tablet's settings as a "
                "certificate authority (some ask a second time, under trusted roots). Then open the address above, "
                "sign in, touch Tablet, and add the page to the home screen."
            )
        return found

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


def _apart(name: str, names: list[str]) -> list[str]:
    return [] if name in names else [name]


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


class Server(Protocol):
    """What answers requests until it is closed."""

    def run(self) -> None: ...

    def close(self) -> None: ...


def _plain(listening: socket.socket) -> Server:
    from waitress import create_server

    made: Server = create_server(get_wsgi_application(), sockets=[listening], threads=THREADS, ident=None)
    return made


def _secure(listening: socket.socket, tls: Certificate) -> Server:
    """A server by HTTPS; waitress speaks no TLS."""
    from media.management.secure import SecureServer

    address = listening.getsockname()[:2]
    listening.close()  # it was taken to say early that the port is in use
    return SecureServer(address, get_wsgi_application(), tls.certificate, tls.key, threads=THREADS)


def _serve(server: Server, worker: subprocess.Popen[bytes] | None) -> None:
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
