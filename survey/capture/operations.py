"""What a tablet sends: operations, each applied once, checked strictly and refused in one line.

Four kinds suffice. ``assessment`` holds a whole finished assessment, which is only ever added; ``fact`` changes one
lasting fact of a joint, fill or overpaint and says what it was based on; ``unlisted`` tells of an object that the
tablet's list does not hold; ``markup`` holds all that was drawn on one photograph.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from survey.capture import bodies
from survey.capture.checking import Refused, choice, items, key, moment, number, sha256, table, whole

SCHEMA_VERSION = 1
KINDS = ("assessment", "fact", "unlisted", "markup")
MOST_BYTES = 256 * 1024
MOST_PHOTOGRAPHS = 40
MOST_OPERATIONS = 50
NEEDS = (
    "id", "device", "sequence", "schema_version", "kind", "object_id", "based_on", "body", "photographs",
    "made_by", "wall_clock", "monotonic",
)  # fmt: skip
LARGEST = 2**53 - 1  # the largest whole number that a tablet counts exactly

Upgrade = Callable[[dict[str, Any]], dict[str, Any]]
UPGRADES: Mapping[int, Upgrade] = {}
"""From a version to the next: how an operation of an older tablet reads today. The raw one is kept as it came."""


class TooNew(Exception):
    """The tablet is newer than this server."""

    def __init__(self, version: int) -> None:
        super().__init__(
            f"This tablet writes version {version}, this server reads up to {SCHEMA_VERSION}: it is kept until the "
            "server is brought up to date."
        )


@dataclass(frozen=True, slots=True)
class Operation:
    """One checked operation. ``body`` and ``based_on`` are as `bodies` describes them for the kind."""

    id: str
    device: str
    sequence: int
    schema_version: int
    kind: str
    object_id: str
    based_on: Mapping[str, Any]
    body: Mapping[str, Any]
    photographs: tuple[str, ...]
    made_by: int
    wall_clock: datetime
    monotonic: float


@dataclass(frozen=True, slots=True)
class Envelope:
    """What can be read of any operation, also of one that this server is too old for."""

    id: str
    device: str
    sequence: int
    schema_version: int
    made_by: int
    wall_clock: datetime


def canonical(data: Any) -> str:
    """JSON in one spelling: names sorted, no blanks, ASCII only, so that any database holds it and any hash agrees."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)


def fingerprint(data: Any) -> str:
    """SHA-256 of the canonical JSON: two deliveries of one operation have the same."""
    return hashlib.sha256(canonical(data).encode("ascii")).hexdigest()


def envelope(data: Any) -> Envelope:
    """The outside of an operation. Raises ``Refused``."""
    if not isinstance(data, dict):
        raise Refused("operation: must be an object")
    for name in ("id", "device", "sequence", "schema_version", "made_by", "wall_clock"):
        if name not in data:
            raise Refused(f"operation: {name} is missing")
    return Envelope(
        id=key(data["id"], "id"),
        device=key(data["device"], "device"),
        sequence=whole(data["sequence"], "sequence", low=1, high=LARGEST),
        schema_version=whole(data["schema_version"], "schema_version", low=1, high=10_000),
        made_by=whole(data["made_by"], "made_by", low=1, high=LARGEST),
        wall_clock=moment(data["wall_clock"], "wall_clock"),
    )


def parse(data: Any) -> Operation:
    """A checked operation, of whatever version up to today's.

    Raises
    ------
    Refused
        One line naming the place.
    TooNew
        The envelope is good, but of a version that this server does not know.
    """
    outside = envelope(data)
    if outside.schema_version > SCHEMA_VERSION:
        raise TooNew(outside.schema_version)
    if len(canonical(data)) > MOST_BYTES:
        raise Refused(f"operation: is longer than {MOST_BYTES // 1024} kB")
    now = upgraded(data)
    table(now, "operation", needs=NEEDS)
    kind = choice(now["kind"], "kind", KINDS)
    photographs = tuple(
        sha256(each, f"photographs[{i}]")
        for i, each in enumerate(items(now["photographs"], "photographs", most=MOST_PHOTOGRAPHS))
    )
    body = bodies.CHECKS[kind](now["body"], photographs)
    return Operation(
        id=outside.id,
        device=outside.device,
        sequence=outside.sequence,
        schema_version=outside.schema_version,
        kind=kind,
        object_id=key(now["object_id"], "object_id"),
        based_on=bodies.based_on(kind, now["based_on"], body),
        body=body,
        photographs=photographs,
        made_by=outside.made_by,
        wall_clock=outside.wall_clock,
        monotonic=number(now["monotonic"], "monotonic", above=-1, most=float(LARGEST)),
    )


def upgraded(data: dict[str, Any]) -> dict[str, Any]:
    """An operation of an older version in the words of today's. Raises ``Refused`` for a version nobody ever wrote."""
    for version in range(data["schema_version"], SCHEMA_VERSION):
        if version not in UPGRADES:
            raise Refused(f"schema_version: {version} was never in use")
        data = UPGRADES[version](dict(data)) | {"schema_version": version + 1}
    return data
