"""Looking a register file through: every row decided and kept with its reason, nothing written to the register."""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Iterator
from itertools import islice
from typing import Any

from django.db.models import Count

from media.base import bulk
from media.base.jobs import Work
from survey.register.db.models import ImportRow, ImportState, RegisterImport, Verdict
from survey.register.db.selectors.imports import KEY, SAID, Register, stored_file
from survey.register.db.services.imports import Reading, reading_of
from survey.register.deciding import Decision, decide
from survey.register.fields import BY_NAME
from survey.register.table import RegisterFileError

BATCH = 5_000
NAMES = ("line", "verdict", "number", "object_id", "fields", "reason")
LEFT_REGISTER = "the object has left the register: take it back there first"
_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


def look_through(work: Work, batch: RegisterImport) -> None:
    """Decide every row. Done again, or taken up after a kill, each row still has one verdict."""
    seen = int(work.cursor or 0)
    if not seen:
        _begin(work, batch)
    work.say("Reading the register and the file", total=batch.counts.get("expected"))
    try:
        with stored_file(batch.sha256).open("rb") as file:
            reading = reading_of(batch, file)
            register = Register([BY_NAME[name].value for name in reading.matching.columns])
            rows = _rows(reading, register, time_ordered_keys(round(batch.received_at.timestamp() * 1000)))
            for _ in islice(rows, seen):
                pass
            missing = _keep(work, batch, rows, seen)
    except RegisterFileError as error:
        _refuse(work, batch, str(error))
        return
    _finish(work, batch, missing)


def _begin(work: Work, batch: RegisterImport) -> None:
    with work.step(saying="Beginning"):
        batch.rows.all().delete()
        RegisterImport.objects.filter(pk=batch.pk).update(state=ImportState.RECEIVED, error="")


def _keep(work: Work, batch: RegisterImport, rows: Iterator[tuple[Any, ...]], seen: int) -> int:
    """Write the rows in batches; returns how many the last batch had too few.

    The cursor counts rows, since the last line of a batch is known only once the batch has been read, while it is
    being written.
    """
    while True:
        with work.step(cursor=str(seen + BATCH), done=BATCH, saying="Looking through the rows"):
            written = bulk.insert_rows(ImportRow, NAMES, islice(rows, BATCH), leave_out=("id",), batch_id=batch.pk)
        seen += written
        if written < BATCH:
            return BATCH - written


def time_ordered_keys(milliseconds: int) -> Iterator[str]:
    """Fresh keys in rising order, so that every index on them grows at its end only, which is quicker by a third.

    Source: RFC 9562, UUID version 7, its 12 bits after the time used as a counter (method 1 of section 6.2).
    """
    while True:
        chance = os.urandom(8 * 4096).hex()
        for counter in range(4096):
            yield f"{milliseconds:012x}7{counter:03x}8{chance[16 * counter : 16 * counter + 15]}"
        milliseconds += 1


def _rows(reading: Reading, register: Register, keys: Iterator[str]) -> Iterator[tuple[Any, ...]]:
    """Each decision as the tuple of its row."""
    blanks: Any = reading.blanks
    decisions = decide(reading.table, reading.matching, register, conditions=reading.conditions, blanks=blanks)
    for decision in decisions:
        yield _row(decision, register, keys)


def _row(decision: Decision, register: Register, keys: Iterator[str]) -> tuple[Any, ...]:
    kind = decision.kind.value
    if kind == Verdict.CREATE:
        values = {name: value for name, value in decision.values.items() if value or value == 0}
        values[SAID] = decision.fingerprint
        if decision.key != decision.number:
            values[KEY] = decision.key
        return (decision.row, kind, decision.number, next(keys), _encode(values), _remarks(decision))
    if kind == Verdict.LEFT or kind == Verdict.REFUSED:
        return (decision.row, kind, decision.number[:120], None, "{}", _why(decision))
    if register.has_left(decision.key):
        return (decision.row, Verdict.LEFT.value, decision.number, None, "{}", LEFT_REGISTER)
    changes: dict[str, list[Any]] = {change.name: [change.was, change.becomes] for change in decision.changes}
    said = register[decision.key].fingerprint
    if said != decision.fingerprint:
        changes[SAID] = [said, decision.fingerprint]
    key = register.key_of(decision.key).hex
    return (decision.row, kind, decision.number, key, _encode(changes), _remarks(decision))


def _remarks(decision: Decision) -> str:
    if not decision.notes:
        return ""
    return "; ".join(f"{n.column}: {n.message}" if n.column else n.message for n in decision.notes)[:500]


def _why(decision: Decision) -> str:
    return decision.reason[:500] if decision.problems else "not among the rows to keep"


def _refuse(work: Work, batch: RegisterImport, why: str) -> None:
    """Nothing of a file that cannot be read to its end is offered."""
    with work.step(saying="The file cannot be taken in"):
        batch.rows.all().delete()
        RegisterImport.objects.filter(pk=batch.pk).update(state=ImportState.REFUSED, error=why, counts={})
    work.finish({"refused": why})


def _finish(work: Work, batch: RegisterImport, missing: int) -> None:
    counts = counts_of(batch)
    work.say("Looked through", total=counts["total"])
    with work.step(done=-missing):
        RegisterImport.objects.filter(pk=batch.pk).update(state=ImportState.LOOKED, counts=counts)
    work.finish(counts)


def counts_of(batch: RegisterImport) -> dict[str, Any]:
    """Rows per verdict, rows with a remark, and how many objects change in each value."""
    rows = batch.rows.order_by()
    found = dict(rows.values_list("verdict").annotate(number=Count("pk")))
    counts: dict[str, Any] = {verdict: found.get(verdict, 0) for verdict in Verdict.values}
    decided = rows.filter(verdict__in=(Verdict.CREATE, Verdict.CHANGE, Verdict.SAME))
    counts |= {"total": sum(found.values()), "remarks": decided.exclude(reason="").count()}
    changed: Counter[str] = Counter()
    for fields in rows.filter(verdict=Verdict.CHANGE).values_list("fields", flat=True).iterator():
        changed.update(name for name in fields if name != SAID)
    return {**counts, "changed": dict(changed)}
