"""Answering by HTTPS on one machine, without a proxy before it."""

from __future__ import annotations

import logging
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import Any

from cheroot.ssl.builtin import BuiltinSSLAdapter
from cheroot.wsgi import Server

CONNECTIONS = 100  # kept open between requests


class LateHandshake(BuiltinSSLAdapter):
    """Greets each client in the thread that serves it, not in the one that takes all of them in."""

    def wrap(self, sock: Any) -> tuple[ssl.SSLSocket, dict[str, str]]:
        wrapped = self.context.wrap_socket(sock, server_side=True, do_handshake_on_connect=False)
        return wrapped, {"wsgi.url_scheme": "https", "HTTPS": "on"}


class Patient(Server):
    """A client gets a thread once it says something: those that connect and stay silent hold up nobody."""

    def process_conn(self, conn: Any) -> None:
        if getattr(conn, "spoke", False):
            super().process_conn(conn)
        else:
            conn.spoke = True  # the next time it is because bytes have come
            self.put_conn(conn)

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        """One line, no traceback: plain HTTP or a handshake broken off is no fault of ours."""
        logging.getLogger(__name__).log(level, msg)


class SecureServer:
    """A threaded WSGI server with a certificate. Raises ``OSError`` if certificate and key do not belong together."""

    def __init__(
        self, address: tuple[str, int], application: Callable[..., Any], certificate: Path, key: Path, *, threads: int
    ) -> None:
        self.server = Patient(address, application, numthreads=threads, server_name="")
        self.server.keep_alive_conn_limit = CONNECTIONS
        self.server.ssl_adapter = LateHandshake(str(certificate), str(key))
        self.server.ssl_adapter.context.minimum_version = ssl.TLSVersion.TLSv1_2
        self.server.prepare()

    def run(self) -> None:
        self.server.serve()

    def close(self) -> None:
        self.server.stop()
