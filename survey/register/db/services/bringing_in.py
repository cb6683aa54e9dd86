"""Bringing a register in: what was looked through is written in batches, each with its events and its progress."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Expression, F, FloatField, IntegerField, QuerySet, TextField, Value
from django.db.models.functions import Cast, Coalesce

from media.base import bulk, events
from media.base.errors import Clash
from media.base.jobs import Work
from media.base.models import User
from survey.register.db.models import ImportRow, ImportState, Object, RegisterImport, Verdict
from survey.register.db.selectors.imports import KEY, MODEL_NAMES, SAID, applied_rows
from survey.register.deciding import number_key
from survey.register.fields import BY_NAME

BATCH = 5_000
ATTRIBUTES = {field.attname: field for field in Object._meta.local_concrete_fields}
TEXTS = frozenset(name for name, field in ATTRIBUTES.items() if field.empty_strings_allowed and not field.null)
_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


def bring_in(work: Work, batch: RegisterImport, *, by: User | None, at: datetime) -> None:
    """Write every decided row once, in order of the file; taken up after a kill where the last batch ended."""
    _begin(work, batch, by=by, at=at)
    todo = applied_rows(batch)
    work.say("Writing the objects", total=todo.count())
    lines = todo.values_list("line", flat=True)
    while ahead := list(lines.filter(line__gt=int(work.cursor or 0))[:BATCH]):
        with work.step(cursor=str(ahead[-1]), done=len(ahead)):
            _write(batch, todo.filter(line__range=(ahead[0], ahead[-1])), by=by, at=at)
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


def _write(batch: RegisterImport, rows: QuerySet[ImportRow], *, by: User | None, at: datetime) -> None:
    new = rows.filter(verdict=Verdict.CREATE)
    try:
        with transaction.atomic():
            _create(batch, new, by=by, at=at)
    except IntegrityError:
        # Somebody has used a number meanwhile, or these rows were written before: sort them out, then write the rest.
        _create(batch, new.filter(line__in=_still_new(batch, new)), by=by, at=at)
    _change(batch, list(rows.exclude(verdict=Verdict.CREATE)), by=by, at=at)


def _create(batch: RegisterImport, rows: QuerySet[ImportRow], *, by: User | None, at: datetime) -> None:
    """New objects and their events, from what the rows hold, inside the database."""
    names = [BY_NAME[name].value for name in batch.columns if BY_NAME[name].value != "accession_number"]
    values: dict[str, Expression | F] = {
        MODEL_NAMES[name]: _value(name) for name in dict.fromkeys([*names, "date_earliest", "date_latest"])
    }
    values |= {"id": F("object_id"), "number": F("number"), SAID: bulk.JsonText("fields", SAID)}
    values["number_key"] = Coalesce(bulk.JsonText("fields", KEY), F("number"), output_field=TextField())
    bulk.insert_from(Object, values, rows)
    events.record_from(
        Object, "brought in", rows, key="object_id", became="fields", by=by, at=at, note=_note(batch)
    )  # fmt: skip


def _value(name: str) -> Expression:
    """What a row says of one field, as the object's column holds it."""
    attribute, said = MODEL_NAMES[name], bulk.JsonText("fields", name)
    if attribute in TEXTS:
        return Coalesce(said, Value(""), output_field=TextField())
    return Cast(said, FloatField() if isinstance(ATTRIBUTES[attribute], FloatField) else IntegerField())


def _still_new(batch: RegisterImport, rows: QuerySet[ImportRow]) -> list[int]:
    """Lines whose object is not there yet. One whose number another object now has is noted as refused."""
    there = set(Object.objects.filter(pk__in=rows.values("object_id")).values_list("pk", flat=True))
    rest = {row.line: number_key(row.number) for row in rows if row.object_id not in there}
    taken = set(Object.objects.filter(number_key__in=rest.values()).values_list("number_key", flat=True))
    ImportRow.objects.filter(batch=batch, line__in=[line for line, key in rest.items() if key in taken]).update(
        verdict=Verdict.REFUSED, reason="An object with this number was added after the file was looked through."
    )
    return [line for line, key in rest.items() if key not in taken]


def _change(batch: RegisterImport, rows: Sequence[ImportRow], *, by: User | None, at: datetime) -> None:
    """Set what is still as it was when the file was looked through; what was changed since stays, with a remark."""
    wanted = {row.object_id: (row.line, row.fields) for row in rows if row.object_id}
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
