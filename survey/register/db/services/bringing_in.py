"""Bringing a register in: what was looked through is written in batches, each with its events and its progress."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, cast
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import TextField
from django.db.models.functions import Cast

from media.base import bulk, events
from media.base.errors import Clash
from media.base.jobs import Work
from media.base.models import User
from survey.register.db.models import ImportRow, ImportState, Object, RegisterImport, Verdict
from survey.register.db.selectors.imports import MODEL_NAMES, SAID, applied_rows
from survey.register.deciding import number_key
from survey.register.fields import BY_NAME

BATCH = 5_000
Stored = tuple[int, str, str, UUID, str]
"""Line, verdict, number, key of the object, and fields as JSON text."""
TEXTS = frozenset(f.attname for f in Object._meta.local_concrete_fields if f.empty_strings_allowed and not f.null)
_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


def bring_in(work: Work, batch: RegisterImport, *, by: User | None, at: datetime) -> None:
    """Write every decided row once, in order of the file; taken up after a kill where the last batch ended."""
    _begin(work, batch, by=by, at=at)
    todo = applied_rows(batch)
    work.say("Writing the objects", total=todo.count())
    shape = _values_named(batch)
    raw = todo.annotate(text=Cast("fields", TextField())).values_list("line", "verdict", "number", "object_id", "text")
    # Rows to be applied have an object's key, though the column may be empty for others.
    while rows := cast(list[Stored], list(raw.filter(line__gt=int(work.cursor or 0))[:BATCH])):
        with work.step(cursor=str(rows[-1][0]), done=len(rows)):
            _write(batch, rows, shape, by=by, at=at)
    with work.step(saying="Brought in"):
        RegisterImport.objects.filter(pk=batch.pk).update(state=ImportState.APPLIED, applied_at=at)
        events.record(batch, "brought in", by=by, at=at, became=batch.counts)
    work.finish(batch.counts)


def _begin(work: Work, batch: RegisterImport, *, by: User | None, at: datetime) -> None:
    if batch.state not in {ImportState.LOOKED, ImportState.APPLYING}:
        raise Clash("This import is not ready to be brought in: look it through first.")
    if batch.state == ImportState.LOOKED:
        with work.step(saying="Beginning"):
            RegisterImport.objects.filter(pk=batch.pk).update(state=ImportState.APPLYING)


def _values_named(batch: RegisterImport) -> list[str]:
    """The values that new objects of this import may have, besides what the register said."""
    names = [BY_NAME[name].value for name in batch.columns if name in BY_NAME]
    return [*dict.fromkeys([*names, "date_earliest", "date_latest"])]


def _write(batch: RegisterImport, rows: Sequence[Stored], shape: list[str], *, by: User | None, at: datetime) -> None:
    new = [row for row in rows if row[1] == Verdict.CREATE]
    old = [row for row in rows if row[1] != Verdict.CREATE]
    try:
        with transaction.atomic():
            _create(batch, new, shape, by=by, at=at)
    except IntegrityError:
        # Somebody has used a number meanwhile, or these rows were written before: sort them out, then write the rest.
        _create(batch, _still_new(batch, new), shape, by=by, at=at)
    if old:
        _change(batch, old, by=by, at=at)


def _create(batch: RegisterImport, rows: Sequence[Stored], shape: list[str], *, by: User | None, at: datetime) -> None:
    attributes = [MODEL_NAMES[name] for name in shape if name != "accession_number"]
    wanted = [name for name in shape if name != "accession_number"]
    blanks = ["" if attribute in TEXTS else None for attribute in attributes]
    pairs = list(zip(wanted, blanks, strict=True))

    def values() -> Iterable[tuple[Any, ...]]:
        for _, _, number, key, text in rows:
            said = json.loads(text)
            yield (key.hex, number, number_key(number), said[SAID], *[said.get(name, blank) for name, blank in pairs])

    bulk.insert_rows(Object, ("id", "number", "number_key", SAID, *attributes), values())
    made = ((str(key), None, text) for _, _, _, key, text in rows)
    events.record_rows(Object, "brought in", made, by=by, at=at, note=_note(batch))


def _still_new(batch: RegisterImport, rows: Sequence[Stored]) -> list[Stored]:
    """Rows whose object is not there yet. One whose number another object now has is noted as refused."""
    there = set(Object.objects.filter(pk__in=[row[3] for row in rows]).values_list("pk", flat=True))
    rest = [row for row in rows if row[3] not in there]
    taken = set(
        Object.objects.filter(number_key__in=[number_key(row[2]) for row in rest]).values_list("number_key", flat=True)
    )
    clashing = [row[0] for row in rest if number_key(row[2]) in taken]
    ImportRow.objects.filter(batch=batch, line__in=clashing).update(
        verdict=Verdict.REFUSED, reason="An object with this number was added after the file was looked through."
    )
    return [row for row in rest if number_key(row[2]) not in taken]


def _change(batch: RegisterImport, rows: Sequence[Stored], *, by: User | None, at: datetime) -> None:
    """Set what is still as it was when the file was looked through; what was changed since stays, with a remark."""
    wanted = {row[3]: (row[0], json.loads(row[4])) for row in rows}
    names = sorted({name for _, fields in wanted.values() for name in fields})
    attributes = [MODEL_NAMES.get(name, name) for name in names]
    now = {
        pk: dict(zip(names, values, strict=True))
        for pk, *values in Object.objects.filter(pk__in=wanted).values_list("pk", *attributes)
    }
    doing: dict[UUID, dict[str, Any]] = {}
    left: list[tuple[int, str]] = []
    for pk, (line, fields) in wanted.items():
        mine = {name: pair for name, pair in fields.items() if same_as(now.get(pk, {}).get(name), pair[0])}
        other = [
            name for name in fields if name not in mine and not same_as(now.get(pk, {}).get(name), fields[name][1])
        ]
        if pk in now and mine:
            doing[pk] = mine
        if other:
            left.append((line, ", ".join(other)))
    set_values(doing, by=by, at=at, verb="changed by import", note=_note(batch))
    for line, which in left:
        reason = f"changed here after the file was looked through and left so: {which}"
        ImportRow.objects.filter(batch=batch, line=line).update(reason=reason[:500])


def set_values(doing: Mapping[UUID, Mapping[str, Any]], *, by: User | None, at: datetime, verb: str, note: str) -> None:
    """Write [was, becomes] of each object, those with the same fields together, and one event for each."""
    alike: dict[tuple[str, ...], list[UUID]] = defaultdict(list)
    for pk, fields in doing.items():
        alike[tuple(sorted(fields))].append(pk)
    for names, keys in alike.items():
        attributes = [MODEL_NAMES.get(name, name) for name in names]
        values = [
            (*(_stored(doing[pk][n][1], a) for n, a in zip(names, attributes, strict=True)), pk.hex) for pk in keys
        ]
        bulk.update_rows(Object, attributes, values)
    told = {pk: {n: pair for n, pair in fields.items() if n != SAID} for pk, fields in doing.items()}
    events.record_rows(
        Object, verb,
        (
            (str(pk), _encode({n: was for n, (was, _) in f.items()}), _encode({n: new for n, (_, new) in f.items()}))
            for pk, f in told.items() if f
        ),
        by=by, at=at, note=note,
    )  # fmt: skip


def _stored(value: Any, attribute: str) -> Any:
    return "" if value is None and attribute in TEXTS else value


def same_as(now: Any, was: Any) -> bool:
    return (now in (None, "") and was in (None, "")) or now == was


def _note(batch: RegisterImport) -> str:
    return f"From {batch.file_name}"
