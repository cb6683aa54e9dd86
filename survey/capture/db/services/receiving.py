"""Taking operations in: each once, with effect and event in one transaction, and kept whatever becomes of it."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import DataError, IntegrityError, transaction

from media.base import events
from media.base.access import WORKERS
from media.base.errors import FettleError
from media.base.models import User
from survey.capture import checking, operations
from survey.capture.checking import Refused
from survey.capture.db.models import Conflict, Device, Made, Operation, PhotographWanted, Standing, State
from survey.capture.db.services.assessing import add_assessment
from survey.capture.db.services.facts import change_fact
from survey.capture.db.services.holding import Held
from survey.capture.db.services.listing import find_unlisted
from survey.capture.db.services.marking import keep_markup

LONGEST_ABSENCE = timedelta(days=60)
EFFECTS: Mapping[str, Callable[[Operation, operations.Operation], None]] = {
    "assessment": add_assessment,
    "fact": change_fact,
    "unlisted": find_unlisted,
    "markup": keep_markup,
}
ANOTHER_BODY = "Another operation came under the same id before: both are kept, and a person must look."
ANOTHER_ID = (
    "Another operation came from the same place in this tablet's order: the tablet may have been put back from a "
    "copy. Both are kept, and a person must look."
)


@dataclass(frozen=True)
class Delivery:
    """Who brings operations, when, and what the tablet's clock said at that moment (None: it did not say)."""

    by: User
    at: datetime
    sent_at: datetime | None = None


@dataclass(frozen=True)
class Answer:
    """What became of one operation: applied, already had, conflict, held or refused. All but refused is safe here."""

    id: str | None
    status: str
    reason: str = ""
    photographs: tuple[str, ...] = ()


def apply(data: Any, delivery: Delivery) -> Answer:
    """Take in one operation as it came. Whatever it is, it is kept; only what is whole and sure has an effect."""
    hashed = operations.fingerprint(data)
    try:
        outside = operations.envelope(data)
    except Refused as why:
        return _unread(data, hashed, str(why), delivery)
    with transaction.atomic():
        row, new = _row(data, outside, hashed, delivery)
        had = not new and row.state in (State.APPLIED, State.SET_ASIDE)
        if not had and not row.clash:
            attempt(row)
        answer = _answer(row, had)
    take_in_waiting()
    return answer


def apply_all(came: Sequence[Any], delivery: Delivery) -> list[Answer]:
    """Take in a batch, in the order in which it came. What is here already is told by two queries for all of it."""
    names = {each["id"] for each in came if isinstance(each, dict) and isinstance(each.get("id"), str)}
    keys = [name for name in names if _is_key(name)]
    rows = Operation.objects.filter(uuid__in=keys, state__in=(State.APPLIED, State.SET_ASIDE))
    here = {(str(row.uuid), row.body_hash): row for row in rows.defer("raw")}
    missing: dict[int, list[str]] = defaultdict(list)
    wanted = PhotographWanted.objects.filter(operation__in=list(here.values()), attached_at=None, refused="")
    for row_id, name in wanted.order_by("sha256").values_list("operation_id", "sha256"):
        missing[row_id].append(name)
    answers = []
    for each in came:
        row = here.get((each["id"], operations.fingerprint(each))) if _named(each, names) else None
        if row:
            answers.append(Answer(str(row.uuid), "already had", row.reason, tuple(missing[row.pk])))
        else:
            answers.append(apply(each, delivery))
    return answers


def _named(each: Any, names: set[str]) -> bool:
    return isinstance(each, dict) and isinstance(each.get("id"), str) and each["id"] in names


def _is_key(name: str) -> bool:
    try:
        checking.key(name, "id")
    except Refused:
        return False
    return True


def _unread(data: Any, hashed: str, why: str, delivery: Delivery) -> Answer:
    name = data.get("id") if isinstance(data, dict) else None
    Operation.objects.get_or_create(
        uuid=None, body_hash=hashed,
        defaults={
            "raw": operations.canonical(data), "received_at": delivery.at, "delivered_by": delivery.by,
            "state": State.REFUSED, "reason": why[:500],
        },
    )  # fmt: skip
    return Answer(name if isinstance(name, str) and len(name) <= 64 else None, "refused", why)


def _row(data: Any, outside: operations.Envelope, hashed: str, delivery: Delivery) -> tuple[Operation, bool]:
    """The row of an operation, locked; whether it is new."""
    there = Operation.objects.select_for_update(of=("self",)).filter(uuid=outside.id, body_hash=hashed).first()
    if there:
        return there, False
    try:
        with transaction.atomic():
            return _keep(data, outside, hashed, delivery, clash=""), True
    except IntegrityError:
        pass
    # Somebody was first: with this very operation, with its id, or at its place in the tablet's order.
    there = Operation.objects.select_for_update(of=("self",)).filter(uuid=outside.id, body_hash=hashed).first()
    if there:
        return there, False
    same_id = Operation.objects.filter(uuid=outside.id, clash=False).exists()
    return _keep(data, outside, hashed, delivery, clash=ANOTHER_BODY if same_id else ANOTHER_ID), True


def _keep(data: Any, outside: operations.Envelope, hashed: str, delivery: Delivery, *, clash: str) -> Operation:
    row = Operation.objects.create(
        uuid=outside.id, device=seen_device(outside.device, delivery), sequence=outside.sequence,
        schema_version=outside.schema_version, kind=_short(data.get("kind")), body_hash=hashed,
        raw=operations.canonical(data), made_by=User.objects.filter(pk=outside.made_by).first(),
        delivered_by=delivery.by, received_at=delivery.at, happened_at=_happened(outside, delivery),
        state=State.HELD, reason=clash, clash=bool(clash),
    )  # fmt: skip
    if clash:
        events.record(row, "held", by=delivery.by, at=delivery.at, note=clash)
    return row


def _short(kind: Any) -> str:
    return kind if kind in operations.KINDS else ""


def _happened(outside: operations.Envelope, delivery: Delivery) -> datetime:
    """When it was made by the server's clock: its age by the tablet's, unless that makes no sense."""
    age = delivery.sent_at - outside.wall_clock if delivery.sent_at else timedelta(0)
    return delivery.at - age if timedelta(0) <= age <= LONGEST_ABSENCE else delivery.at


def seen_device(name: str, delivery: Delivery) -> Device:
    """The tablet's row, made at its first delivery."""
    return Device.objects.get_or_create(
        id=name, defaults={"first_seen_at": delivery.at, "last_seen_at": delivery.at, "last_by": delivery.by}
    )[0]


def attempt(row: Operation) -> None:
    """Give an operation its effect, or note why not; nothing is half done."""
    was = row.reason
    try:
        with transaction.atomic():
            operation = operations.parse(json.loads(row.raw))
            row.kind, row.object_ref = operation.kind, operation.object_id
            _may_survey(row.made_by)
            EFFECTS[operation.kind](row, operation)
        row.state, row.reason, row.waits_for = State.APPLIED, "", None
    except Refused as why:
        row.state, row.reason = State.REFUSED, str(why)
    except Held as why:
        row.state, row.reason, row.waits_for = State.HELD, why.message, why.waits_for
    except operations.TooNew as why:
        row.state, row.reason = State.HELD, str(why)
    except FettleError as why:
        row.state, row.reason = State.HELD, why.message
    except (DataError, IntegrityError):
        row.state, row.reason = (
            State.HELD,
            "The database did not take this: a person must read it as it came.",
        )
    if row.state != State.APPLIED:
        row.object = row.assessment = None
    row.reason = row.reason[:500]
    row.save()
    if row.state != State.APPLIED and row.reason != was:
        events.record(row, row.state, by=row.delivered_by, at=row.received_at, note=row.reason)


def _may_survey(person: User | None) -> None:
    """An account that was closed meanwhile does not undo the work; one that never surveyed cannot have done it."""
    if person is None:
        raise Held("The person who made this is not known here: say who it was by adding them, then take it in.")
    if not (person.is_superuser or person.role in WORKERS):
        raise Held(f"{person.shown} may only read: a person must say whether this stands.")


def take_in_waiting() -> int:
    """Take in what waited for a thing that is known by now; returns how many were tried."""
    tried: set[int] = set()
    known = Made.objects.values("client_id")
    while True:
        with transaction.atomic():
            rows = Operation.objects.select_for_update(of=("self",)).exclude(pk__in=tried)
            row = rows.filter(state=State.HELD, clash=False, waits_for__in=known).order_by("pk").first()
            if row is None:
                return len(tried)
            tried.add(row.pk)
            attempt(row)


def _answer(row: Operation, had: bool) -> Answer:
    missing = PhotographWanted.objects.filter(operation=row, attached_at=None, refused="")
    wanted = tuple(missing.order_by("sha256").values_list("sha256", flat=True))
    if had:
        return Answer(str(row.uuid), "already had", row.reason, wanted)
    if row.state == State.APPLIED and _disputed(row):
        return Answer(str(row.uuid), "conflict", "Somebody else said otherwise: both are kept for a person.", wanted)
    return Answer(str(row.uuid), str(row.state), row.reason, wanted)


def _disputed(row: Operation) -> bool:
    named = Conflict.objects.filter(object=row.object, state=Standing.OPEN)
    return any(side.get("operation") == str(row.uuid) for each in named for side in each.sides)
