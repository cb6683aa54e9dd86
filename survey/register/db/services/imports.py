"""Receiving a register file, choosing how it is read, and asking for the long work on it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

from django.conf import settings
from django.db import transaction

from media.base import events, files, jobs
from media.base.errors import Clash, FettleError
from media.base.models import User
from survey.register.db.models import ImportState, RegisterImport, RegisterSource
from survey.register.db.selectors.imports import remembered_source, stored_file
from survey.register.filtering import Condition
from survey.register.matching import Matching, guess_columns, header_fingerprint, remembered
from survey.register.reading import open_table, sample_of
from survey.register.table import Limits, RegisterFileError, Row, Table

LOOK, BRING_IN, UNDO = "register.look_through", "register.bring_in", "register.undo_import"


@dataclass(frozen=True)
class Reading:
    """How a file is read now: its headings, some rows, which column is which field, and which rows are taken."""

    table: Table
    sample: list[Row]
    matching: Matching
    conditions: tuple[Condition, ...]
    blanks: str


def keep_file(chunks: Iterable[bytes]) -> tuple[str, int]:
    """Keep an upload by its content; returns SHA-256 and size. Raises ``FettleError`` if it is too large."""
    most = Limits().file_bytes
    too_large = f"The file has more than {most // 1_000_000} MB: split it and import the parts."
    return files.keep(chunks, Path(settings.UPLOADS), most=most, too_large=too_large)


def receive(chunks: Iterable[bytes], name: str, *, by: User | None, at: datetime) -> RegisterImport:
    """Take in a file, guess its columns, and keep it. A file that is no table is kept as refused, with the reason."""
    sha256, size = keep_file(chunks)
    batch = RegisterImport(
        file_name=Path(name.replace("\\", "/")).name[:255] or "register", sha256=sha256, size=size,
        received_by=by, received_at=at,
    )  # fmt: skip
    try:
        with stored_file(sha256).open("rb") as file:
            table = open_table(file, batch.file_name)
            sample = sample_of(table)
    except RegisterFileError as error:
        batch.state, batch.error = ImportState.REFUSED, str(error)
    else:
        batch.source = remembered_source(table.header)
        matching = _as_remembered(batch.source, table, sample) or guess_columns(table.header, sample)
        batch.columns = matching.columns
        batch.options = {**(batch.source.options if batch.source else {}), **_options(matching)}
        batch.counts = {"expected": _rows_expected(sample, size)}
    with transaction.atomic():
        batch.save(force_insert=True)
        became = {"file": batch.file_name, "sha256": sha256, "bytes": size}
        events.record(batch, "received", by=by, at=at, became=became, note=batch.error)
    return batch


def _as_remembered(source: RegisterSource | None, table: Table, sample: list[Row]) -> Matching | None:
    if source is None:
        return None
    return remembered(table.header, {"columns": source.columns, **source.options}, sample)


def _options(matching: Matching) -> dict[str, Any]:
    return {name: value for name, value in matching.to_saved().items() if name != "columns"}


def _rows_expected(sample: list[Row], size: int) -> int:
    """About how many rows there are, from the size of the first; for the progress bar only."""
    characters = sum(len(value) + 1 for row in sample for value in row.values)
    return max(len(sample), round(size * len(sample) / max(characters, 1)))


def reading_of(batch: RegisterImport, file: BinaryIO) -> Reading:
    """The file with the choices made for it. Raises ``RegisterFileError``, or ``ValueError`` for choices that fail."""
    table = open_table(file, batch.file_name)
    sample = sample_of(table)
    options = batch.options
    guessed = guess_columns(table.header, sample)
    matching = remembered(table.header, {"columns": batch.columns, **options}, sample)
    reasons = {(guess.field, guess.column): guess for guess in guessed.guesses}
    kept = options.get("keep")
    conditions = (Condition(kept["column"], kept["how"], tuple(kept["words"])),) if kept else ()
    if kept and kept["column"] not in table.header:
        raise ValueError(f"The rows to keep are told by “{kept['column']}”, a column that this file does not have.")
    matching = Matching(
        matching.header,
        tuple(reasons.get((guess.field, guess.column), guess) for guess in matching.guesses),
        matching.units, matching.zero_is_missing, matching.decimal, matching.questions,
    )  # fmt: skip
    return Reading(table, sample, matching, conditions, options.get("blanks", "keep"))


@transaction.atomic
def choose(
    batch: RegisterImport,
    *,
    columns: Mapping[str, str],
    options: Mapping[str, Any],
    source: str,
    by: User | None,
    at: datetime,
) -> RegisterImport:
    """Say how a file is read and which source it is from; the source remembers it for its next file."""
    batch = _held(batch)
    if batch.state not in {ImportState.RECEIVED, ImportState.LOOKED}:
        raise Clash("This import has been brought in or refused: its columns cannot be changed any more.")
    if not source.strip():
        raise FettleError("Name the source, so that its next file is read the same way.")
    was = {"columns": batch.columns, "options": batch.options}
    batch.columns, batch.options = dict(columns), dict(options)
    try:
        with stored_file(batch.sha256).open("rb") as file:
            reading = reading_of(batch, file)
    except ValueError as error:
        raise FettleError(str(error)) from error
    if reading.matching.missing:
        raise FettleError("Choose the column that holds the accession number: objects are found by it.")
    batch.source, _ = RegisterSource.objects.get_or_create(name=" ".join(source.split())[:200])
    batch.source.fingerprint = header_fingerprint(reading.table.header)
    batch.source.columns, batch.source.options = batch.columns, batch.options
    batch.source.save()
    batch.save(update_fields=["columns", "options", "source"])
    events.record(batch, "matched", by=by, at=at, was=was, became={"columns": batch.columns, "options": batch.options})
    return batch


def ask_to_look(batch: RegisterImport, *, by: User | None) -> RegisterImport:
    """Have every row decided, without writing to the register."""
    return _ask(batch, LOOK, {ImportState.RECEIVED, ImportState.LOOKED}, f"Look through {batch.file_name}", by)


def ask_to_bring_in(batch: RegisterImport, *, by: User | None) -> RegisterImport:
    """Have what was looked through written to the register."""
    return _ask(batch, BRING_IN, {ImportState.LOOKED, ImportState.APPLYING}, f"Bring in {batch.file_name}", by)


def ask_to_undo(batch: RegisterImport, *, by: User | None) -> RegisterImport:
    """Have the register put back as it was before an import."""
    return _ask(batch, UNDO, {ImportState.APPLYING, ImportState.APPLIED}, f"Undo the import of {batch.file_name}", by)


@transaction.atomic
def _ask(batch: RegisterImport, name: str, states: set[ImportState], title: str, by: User | None) -> RegisterImport:
    batch = _held(batch)
    if batch.job and not batch.job.ended:
        raise Clash("Work on this import is still going on: wait until it ends, or stop it.")
    if batch.state not in states:
        raise Clash(f"This import is “{ImportState(batch.state).label.lower()}”: this cannot be done with it now.")
    batch.job = jobs.enqueue(name, by=by, title=title, batch=str(batch.pk))
    batch.save(update_fields=["job"])
    return batch


@transaction.atomic
def discard(batch: RegisterImport, *, by: User | None, at: datetime) -> None:
    """Remove an import that has written nothing, with its rows; its file goes if no other import has the same."""
    batch = _held(batch)
    if batch.state in {ImportState.APPLYING, ImportState.APPLIED, ImportState.UNDONE}:
        raise Clash("This import has written to the register, so its record stays. Undo it if it was wrong.")
    if batch.job and not batch.job.ended:
        raise Clash("Work on this import is still going on: stop it first.")
    events.record(batch, "discarded", by=by, at=at, was={"file": batch.file_name, "sha256": batch.sha256})
    sha256 = batch.sha256
    batch.delete()
    if not RegisterImport.objects.filter(sha256=sha256).exists():
        transaction.on_commit(lambda: stored_file(sha256).unlink(missing_ok=True))


def _held(batch: RegisterImport) -> RegisterImport:
    return RegisterImport.objects.select_for_update(of=("self",)).select_related("job", "source").get(pk=batch.pk)
