"""A bad network between tablets and server: a TCP proxy that cuts at any byte, doubles, delays and invents answers."""

from __future__ import annotations

import random
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress

FAULTS = ("cut on the way", "cut coming back", "no answer", "twice", "again later", "only later", "portal", "killed")
PORTAL = b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: 14\r\nConnection: close\r\n\r\n<p>Sign in</p>"
SENDING = (b"/capture/status/", b"/capture/operations/", b"/capture/photographs/")


class Between:
    """Listens for tablets and speaks to the server; ``seed`` gives the same choices for the same count of requests."""

    def __init__(self, server: int, kill: Callable[[], None]) -> None:
        self.server, self.kill = server, kill
        self.bad, self.seed, self.count = False, 0, 0
        self.seen: Counter[str] = Counter()
        self.late: list[bytes] = []
        self.lock = threading.Lock()
        self.listening = socket.create_server(("127.0.0.1", 0), backlog=64)
        self.port = int(self.listening.getsockname()[1])
        threading.Thread(target=self._listen, daemon=True).start()

    def calm(self) -> None:
        """An end to all faults; what was held back arrives now, in any order."""
        self.bad = False
        time.sleep(0.3)  # what is under way
        with self.lock:
            late, self.late = self.late, []
        random.Random(self.seed).shuffle(late)
        for request in late:
            self.exchange(request)

    def _listen(self) -> None:
        while True:
            try:
                client, _ = self.listening.accept()
            except OSError:
                return
            threading.Thread(target=self._answer, args=(client,), daemon=True).start()

    def _answer(self, client: socket.socket) -> None:
        with client, suppress(OSError):
            client.settimeout(60)
            request = _whole(client)
            if not request:
                return
            answer = self._through(request)
            if answer:
                client.sendall(answer)

    def _through(self, request: bytes) -> bytes:
        path = request.split(b" ", 2)[1]
        if not self.bad or not path.startswith(SENDING):
            return self.exchange(request)
        with self.lock:
            self.count += 1
            chance = random.Random(f"{self.seed}/{self.count}")
        if chance.random() < 0.5:
            return self.exchange(request)
        fault = chance.choice(FAULTS)
        self.seen[fault] += 1
        return self._spoilt(fault, request, chance)

    def _spoilt(self, fault: str, request: bytes, chance: random.Random) -> bytes:
        if fault == "portal":
            return PORTAL
        if fault == "cut on the way":
            return self.exchange(request[: chance.randrange(1, len(request))], cut=True) and b""
        if fault in ("again later", "only later"):
            with self.lock:
                self.late.append(request)
            threading.Timer(chance.uniform(0.1, 2), self._deliver_late).start()
            return b"" if fault == "only later" else self.exchange(request)
        if fault == "killed":
            threading.Timer(chance.uniform(0, 0.06), self.kill).start()
        answer = self.exchange(request)
        if fault == "twice":
            return self.exchange(request)
        if fault == "cut coming back":
            return answer[: chance.randrange(len(answer) + 1)]
        return b"" if fault == "no answer" else answer

    def _deliver_late(self) -> None:
        with self.lock:
            request = self.late.pop(random.Random(self.seed).randrange(len(self.late))) if self.late else b""
        if request:
            self.exchange(request)

    def exchange(self, request: bytes, *, cut: bool = False) -> bytes:
        """What the server answers to these bytes; nothing if it dies meanwhile."""
        answer = b""
        with suppress(OSError), socket.create_connection(("127.0.0.1", self.server), timeout=60) as server:
            server.sendall(_closing(request))
            if cut:
                return b""
            while data := server.recv(65_536):
                answer += data
        return answer


def _whole(client: socket.socket) -> bytes:
    """One request with its body; a browser that gives up leaves nothing."""
    data = b""
    while b"\r\n\r\n" not in data:
        more = client.recv(65_536)
        if not more:
            return b""
        data += more
    head, _, body = data.partition(b"\r\n\r\n")
    length = next((line for line in head.split(b"\r\n") if line.lower().startswith(b"content-length:")), b":0")
    missing = int(length.split(b":")[1]) - len(body)
    while missing > 0:
        more = client.recv(65_536)
        if not more:
            return b""
        data += more
        missing -= len(more)
    return data


def _closing(request: bytes) -> bytes:
    """The request on a connection of its own."""
    head, middle, body = request.partition(b"\r\n\r\n")
    lines = [line for line in head.split(b"\r\n") if not line.lower().startswith(b"connection:")]
    return b"\r\n".join([*lines, b"Connection: close"]) + middle + body if middle else request
