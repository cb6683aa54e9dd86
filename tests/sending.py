"""A tablet's sending in Python, over real HTTP: what ``sync.js`` does, so that whole days can be driven by script."""

from __future__ import annotations

import hashlib
import http.client
import json
import re
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlencode, urlsplit

BATCH, FIRST_PIECE, MOST_PIECE = 20, 512 * 1024, 2 * 1024 * 1024  # as in sync.js, on a quick network


class Sender:
    """One signed-in connection of one tablet."""

    def __init__(self, address: str, device: str, *, who: str, password: str) -> None:
        self.device, self.piece = device, FIRST_PIECE
        self.cookies: dict[str, str] = {}
        parts = urlsplit(address)
        self.connection = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=120)
        _, page = self.ask("GET", "/sign-in/")
        found = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.decode())
        form = {"csrfmiddlewaretoken": found.group(1) if found else "", "username": who, "password": password}
        kind = {"Content-Type": "application/x-www-form-urlencoded", "Referer": f"{address}/sign-in/"}
        status, _ = self.ask("POST", "/sign-in/", urlencode(form).encode(), kind)
        if status != 302:
            raise AssertionError(f"not signed in: {status}")
        told = self.json("GET", "/capture/status/")
        self.token, self.user = told["token"], told["user"]["id"]

    def ask(self, method: str, path: str, body: bytes = b"", headers: Mapping[str, str] = {}) -> tuple[int, bytes]:
        """Status and bytes of one exchange."""
        cookie = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        self.connection.request(method, path, body, {**headers, "Cookie": cookie})
        answer = self.connection.getresponse()
        for name, value in answer.getheaders():
            if name.lower() == "set-cookie":
                key, _, rest = value.partition("=")
                self.cookies[key] = rest.split(";")[0]
        return answer.status, answer.read()

    def json(self, method: str, path: str, body: bytes = b"", **headers: str) -> Any:
        """The JSON of an answer of 200."""
        token = {"X-CSRFToken": self.token} if method != "GET" else {}
        status, data = self.ask(method, path, body, headers | token)
        if status != 200:
            raise AssertionError(f"{method} {path}: {status} {data[:300]!r}")
        return json.loads(data)

    def operations(self, operations: Iterable[dict[str, Any]], *, size: int = BATCH) -> list[dict[str, Any]]:
        """Deliver operations in batches; the answers."""
        left, results = list(operations), []
        while left:
            batch, left = left[:size], left[size:]
            told = {
                "device": self.device, "name": "", "sent_at": datetime.now(UTC).isoformat(), "unsent": len(left),
                "operations": batch,
            }  # fmt: skip
            body = json.dumps(told).encode()
            results += self.json("POST", "/capture/operations/", body, **{"Content-Type": "application/json"})[
                "results"
            ]
        return results

    def photograph(self, data: bytes) -> None:
        """Deliver one photograph piece by piece from wherever the server is."""
        path = f"/capture/photographs/{hashlib.sha256(data).hexdigest()}/"
        stand = self.json("GET", path)
        while not stand["complete"]:
            first = stand["offset"]
            piece = data[first : first + self.piece]
            self.piece = min(MOST_PIECE, self.piece * 2)
            span = f"bytes {first}-{first + len(piece) - 1}/{len(data)}"
            stand = self.json("PUT", path, piece, **{"Content-Range": span})
