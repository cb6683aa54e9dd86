"""The record of changes: written by services, in the same transaction as the change."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models, transaction

from media.base import bulk
from media.base.models import Event, User

_encoder = DjangoJSONEncoder()


@dataclass(frozen=True)
class Change:
    """One change of a bulk write; ``was`` and ``became`` hold the changed fields only."""

    subject: models.Model
    verb: str
    was: Mapping[str, Any] | None = None
    became: Mapping[str, Any] | None = None
    thread: str = ""
    note: str = ""


def _plain(values: Mapping[str, Any] | None) -> Any:
    """Dates, numbers and keys as JSON holds them."""
    return None if values is None else json.loads(_encoder.encode(dict(values)))


def _event(change: Change, by: User | None, at: datetime) -> Event:
    return Event(
        at=at,
        by=by,
        verb=change.verb,
        subject_kind=change.subject._meta.label_lower,
        subject_id=str(change.subject.pk),
        thread=change.thread,
        was=_plain(change.was),
        became=_plain(change.became),
        note=change.note[:500],
    )


def record(
    subject: models.Model,
    verb: str,
    *,
    by: User | None,
    at: datetime,
    was: Mapping[str, Any] | None = None,
    became: Mapping[str, Any] | None = None,
    thread: str = "",
    note: str = "",
) -> Event:
    """Add one event. ``thread`` is the id of the object whose story it belongs to."""
    event = _event(Change(subject, verb, was, became, thread, note), by, at)
    event.save(force_insert=True)
    return event


def record_many(changes: Iterable[Change], *, by: User | None, at: datetime) -> int:
    """Add the events of a bulk write, by the fastest road the database has; returns how many."""
    with transaction.atomic():
        return bulk.insert(Event, (_event(change, by, at) for change in changes), leave_out=("id",))


def record_from(
    model: type[models.Model],
    verb: str,
    rows: models.QuerySet[Any],
    *,
    key: str,
    became: str,
    by: User | None,
    at: datetime,
    note: str = "",
) -> int:
    """Add one event for each of ``rows`` without reading them: ``key`` and ``became`` name their columns."""
    shown = bulk.KeyText(models.F(key))
    return bulk.insert_from(
        Event,
        {"subject_id": shown, "thread": shown, "became": models.F(became)},
        rows,
        leave_out=("id",),
        at=at,
        by_id=by.pk if by else None,
        verb=verb,
        subject_kind=model._meta.label_lower,
        note=note[:500],
    )


def record_rows(
    model: type[models.Model],
    verb: str,
    rows: Iterable[tuple[str, str | None, str | None]],
    *,
    by: User | None,
    at: datetime,
    note: str = "",
) -> int:
    """Add one event to the thread of each of many objects of one kind, without building rows; returns how many.

    ``rows`` gives key, ``was`` and ``became``: the key as the event's text has it, the others as JSON text or None.
    """
    names = ("subject_id", "thread", "was", "became")
    with transaction.atomic():
        return bulk.insert_rows(
            Event,
            names,
            ((key, key, was, became) for key, was, became in rows),
            leave_out=("id",),
            at=at,
            by_id=by.pk if by else None,
            verb=verb,
            subject_kind=model._meta.label_lower,
            note=note[:500],
        )
