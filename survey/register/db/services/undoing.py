"""Undoing an import whole: what it made goes, what it changed is put back, what was touched since stays."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import ForeignKey, Model
from django.db.models.fields.reverse_related import ForeignObjectRel

from media.base import events
from media.base.errors import Clash
from media.base.jobs import Work
from media.base.models import User
from survey.register.db.models import ImportRow, ImportState, Object, RegisterImport, Verdict
from survey.register.db.selectors.imports import MODEL_NAMES, SAID, VALUE_LABELS, applied_rows
from survey.register.db.services.bringing_in import same_as, set_values

BATCH = 2_000


def undo_import(work: Work, batch: RegisterImport, *, by: User | None, at: datetime) -> None:
    """Put the register back row by row; taken up after a kill where the last batch ended."""
    if batch.state not in {ImportState.APPLYING, ImportState.APPLIED}:
        raise Clash("This import has not been brought in, so there is nothing to undo.")
    todo = applied_rows(batch)
    work.say("Putting the register back", total=todo.count())
    while rows := list(todo.filter(line__gt=int(work.cursor or 0))[:BATCH]):
        with work.step(cursor=str(rows[-1].line), done=len(rows)):
            _undo_rows(rows, by=by, at=at, note=f"Import of {batch.file_name} undone")
    kept = batch.rows.exclude(kept="").count()
    with work.step(saying="Undone"):
        RegisterImport.objects.filter(pk=batch.pk).update(
            state=ImportState.UNDONE, undone_at=at, counts={**batch.counts, "kept": kept}
        )
        events.record(batch, "undone", by=by, at=at, became={"kept": kept})
    work.finish({"kept": kept})


def _undo_rows(rows: Sequence[ImportRow], *, by: User | None, at: datetime, note: str) -> None:
    made = {row.object_id: row for row in rows if row.verdict == Verdict.CREATE and row.object_id}
    changed = {row.object_id: row for row in rows if row.verdict != Verdict.CREATE and row.object_id}
    kept = _take_out(made, by=by, at=at, note=note) | _put_back(changed, by=by, at=at, note=note)
    for row in rows:
        row.kept = kept.get(row.object_id, "")[:500] if row.object_id else ""
    ImportRow.objects.bulk_update([row for row in rows if row.kept], ["kept"], batch_size=300)


def _take_out(made: Mapping[UUID, ImportRow], *, by: User | None, at: datetime, note: str) -> dict[UUID, str]:
    """Remove the objects that nothing else speaks of and nobody has changed; returns why the others stay."""
    objects = {thing.pk: thing for thing in Object.objects.filter(pk__in=made)}
    kept = {pk: f"{' and '.join(sorted(what))} refer to it" for pk, what in referring(Object, list(objects)).items()}
    for pk, thing in objects.items():
        if pk not in kept and (touched := _touched(thing, made[pk].fields)):
            kept[pk] = f"changed here since: {touched}"
    going = [pk for pk in objects if pk not in kept]
    was = ((str(pk), json.dumps(made[pk].fields, ensure_ascii=False), None) for pk in going)
    events.record_rows(Object, "removed", was, by=by, at=at, note=note)
    Object.objects.filter(pk__in=going).delete()
    return kept


def referring(model: type[Model], keys: list[UUID]) -> dict[UUID, set[str]]:
    """For each row of a model with these keys, what kinds of record point to it, in any room."""
    found: dict[UUID, set[str]] = defaultdict(set)
    for relation in model._meta.get_fields(include_hidden=True):
        if not (isinstance(relation, ForeignObjectRel) and isinstance(relation.field, ForeignKey)):
            continue
        other, column = relation.related_model, relation.field.attname
        words = str(other._meta.verbose_name_plural)
        for pk in other._base_manager.filter(**{f"{column}__in": keys}).values_list(column, flat=True).distinct():
            found[pk].add(words)
    return found


def _touched(thing: Object, made: Mapping[str, Any]) -> str:
    """The fields in which an object is no longer as the import made it, in words."""
    names = [name for name in VALUE_LABELS if not same_as(getattr(thing, MODEL_NAMES[name]), made.get(name))]
    others = {"place_id": "place", "body": "body", "significance": "significance", "restriction": "restriction"}
    words = [
        VALUE_LABELS[name].lower() for name in names if name != "accession_number" or thing.number != made.get(name)
    ]
    return ", ".join([*words, *(word for name, word in others.items() if getattr(thing, name) not in (None, ""))])


def _put_back(changed: Mapping[UUID, ImportRow], *, by: User | None, at: datetime, note: str) -> dict[UUID, str]:
    """Set every field that is still as the import left it to what it was; returns what stays as it is now."""
    doing: dict[UUID, dict[str, Any]] = {}
    kept: dict[UUID, str] = {}
    for thing in Object.objects.filter(pk__in=changed):
        fields = changed[thing.pk].fields
        now = {name: getattr(thing, MODEL_NAMES.get(name, name)) for name in fields}
        doing[thing.pk] = {n: [new, was] for n, (was, new) in fields.items() if same_as(now[n], new)}
        other = [
            n for n, (was, new) in fields.items() if not same_as(now[n], new) and not same_as(now[n], was) and n != SAID
        ]
        if other:
            kept[thing.pk] = f"changed here since: {', '.join(VALUE_LABELS[n].lower() for n in other)}"
    set_values({pk: fields for pk, fields in doing.items() if fields}, by=by, at=at, verb="put back", note=note)
    return kept
