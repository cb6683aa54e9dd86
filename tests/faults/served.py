"""The web server in a child that may be killed at any moment: the parent holds the listening socket and forks the next.

python -m tests.faults.served PORT: writes the child's process number to ``served.pid`` in the installation's folder.
"""

from __future__ import annotations

import os
import signal
import socket
import sys
from pathlib import Path
from typing import Any


def main(port: int) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    from django.core.wsgi import get_wsgi_application
    from django.urls import get_resolver

    application = get_wsgi_application()
    _ = get_resolver().url_patterns  # everything is loaded before the first fork, so that a child is there at once
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listening.bind(("127.0.0.1", port))
    listening.listen(64)
    child = 0

    def end(*_: Any) -> None:
        os.kill(child, signal.SIGKILL)
        os._exit(0)

    while True:
        child = os.fork()
        if not child:
            serve(application, listening)
        signal.signal(signal.SIGTERM, end)
        path = Path(os.environ["FETTLE_VAR"]) / "served.pid"
        path.with_suffix(".new").write_text(str(child))
        path.with_suffix(".new").replace(path)
        _, status = os.waitpid(child, 0)
        if not os.WIFSIGNALED(status):
            sys.exit(f"the server ended by itself: {status}")


def serve(application: Any, listening: socket.socket) -> None:
    from waitress import create_server

    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    create_server(application, sockets=[listening], threads=8, ident=None).run()  # type: ignore[no-untyped-call]
    os._exit(0)


if __name__ == "__main__":
    main(int(sys.argv[1]))
