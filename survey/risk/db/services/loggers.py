"""Files of loggers: kept by hash, looked through as a job, counted when a person says so, taken back whole."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any
from uuid import UUID

import numpy as np
from django.db import transaction

from media.base import bulk, events, files, jobs
from media.base.errors import Clash, FettleError
from media.base.jobs import Work
from media.base.models import User
from survey.register.db.models import Place
from survey.risk.climate import Month, by_month
from survey.risk.db.models import LoggedMonth, LoggerFile, LoggerFileState
from survey.risk.db.selectors.climate import STORED
from survey.risk.db.selectors.loggers import LOOK_JOB, folder, same_content, stored, the_file
from survey.risk.logger_files import Readings, read_file
from survey.risk.logger_layout import Layout, LoggerFileError, guess_layout

MOST_BYTES = 400_000_000
MOST_STAYS = 12
OPEN = {LoggerFileState.RECEIVED, LoggerFileState.LOOKED, LoggerFileState.UNDONE}
SLACK = timedelta(days=2)  # a logger's clock may run ahead, and stands in its own zone


def receive(chunks: Iterable[bytes], name: str, *, place: Place | None, by: User | None, at: datetime) -> LoggerFile:
    """Take in a file and guess how it is read. One that holds no readings is kept as refused, with the reason."""
    too_large = f"The file has more than {MOST_BYTES // 1_000_000} MB: split it by years and bring in the parts."
    sha256, size = files.keep(chunks, folder(), most=MOST_BYTES, too_large=too_large)
    file = LoggerFile(
        file_name=Path(name.replace("\\", "/")).name[:255] or "logger", sha256=sha256, size=size,
        stays=[[str(place.pk), None]] if place else [], received_at=at, received_by=by,
    )  # fmt: skip
    try:
        with stored(sha256).open("rb") as content:
            guess = guess_layout(content)
        file.reading = guess.layout.as_saved()
        file.counts = {"unsure": guess.unsure}
    except LoggerFileError as error:
        file.state, file.error = LoggerFileState.REFUSED, str(error)
    with transaction.atomic():
        file.save(force_insert=True)
        became = {"file": file.file_name, "sha256": sha256, "bytes": size}
        events.record(file, "received", by=by, at=at, became=became, note=file.error)
    return file


Stays = Sequence[tuple[Place | None, date | None]]


@transaction.atomic
def look_through(
    file: LoggerFile, *, reading: Mapping[str, Any], stays: Stays, by: User | None, at: datetime
) -> LoggerFile:
    """Say how a file is read and where its logger stood, and have it looked through; nothing counts by this."""
    file = _held(file)
    _refuse_while_working(file)
    if file.state not in OPEN:
        raise Clash("This file counts, or is refused. Take it back first, then say how it is read.")
    try:
        layout = Layout.of(reading)
    except (ValueError, TypeError, KeyError) as error:
        raise FettleError(f"{error}.") from error
    was = {"reading": file.reading, "stays": file.stays}
    file.reading, file.stays = layout.as_saved(), _in_order(stays)
    file.state, file.error = LoggerFileState.RECEIVED, ""
    file.months.all().delete()
    file.job = jobs.enqueue(LOOK_JOB, by=by, title=f"Looking through {file.file_name}", file=str(file.pk))
    file.save(update_fields=["reading", "stays", "state", "error", "job"])
    events.record(file, "reading chosen", by=by, at=at, was=was, became={"reading": file.reading, "stays": file.stays})
    return file


def _in_order(stays: Stays) -> list[list[str | None]]:
    """Stays as a file keeps them. The first begins with the file, the others on their days, each later."""
    if not stays or stays[0][0] is None:
        raise FettleError("Say where the logger stood.")
    if len(stays) > MOST_STAYS:
        raise FettleError(f"A file is taken for at most {MOST_STAYS} places: split it.")
    days = [since for _, since in stays[1:]]
    if any(day is None for day in days) or days != sorted(set(days), key=str):
        raise FettleError("Give each move of the logger its day, one later than the other.")
    first, rest = stays[0], stays[1:]
    kept: list[list[str | None]] = [[str(first[0].pk) if first[0] else None, None]]
    return kept + [[str(place.pk) if place else None, since.isoformat() if since else None] for place, since in rest]


def work_through(work: Work, pk: UUID, *, at: datetime) -> None:
    """Read a file and keep its months; begun again from the start if it was broken off."""
    file = the_file(pk)
    latest = int((at.replace(tzinfo=UTC) + SLACK).timestamp())
    work.say("Reading", total=int(file.counts.get("expected", 0)) or None)
    try:
        with stored(file.sha256).open("rb") as content:
            readings = read_file(content, Layout.of(file.reading), latest=latest, tell=_teller(work))
    except FileNotFoundError:
        raise FettleError("The file is not on this machine any more: bring it in again.") from None
    except LoggerFileError as error:
        with work.step(saying="Refused"):
            LoggerFile.objects.filter(pk=pk).update(error=str(error), counts={**file.counts, "refused": 0})
        work.finish({"refused": str(error)})
        return
    with work.step(saying="Keeping the months"):
        file.months.all().delete()
        months = bulk.insert(LoggedMonth, _months(file, readings), leave_out=("id",))
        counts = {**_counts(readings), "months": months, "unsure": file.counts.get("unsure", [])}
        LoggerFile.objects.filter(pk=pk).update(
            state=LoggerFileState.LOOKED, counts=counts, refused=readings.refused, error=""
        )
    work.finish({"readings": int(readings.counts["readings"]), "months": months})


def _teller(work: Work) -> Any:
    def tell(rows: int) -> None:
        work.say(f"{rows:,} rows read".replace(",", " "))

    return tell


def _counts(readings: Readings) -> dict[str, Any]:
    ends = [str(np.datetime64(int(readings.seconds[place]), "s")) for place in (0, -1)]
    gaps = [[str(np.datetime64(a, "s")), str(np.datetime64(b, "s"))] for a, b in readings.gaps()]
    told = {name: int(readings.counts[name]) for name in ("rows", "readings", "missed", "refused", "repeated", "wet")}
    return {**told, "first": ends[0], "last": ends[1], "interval": readings.interval, "gaps": gaps}


def _months(file: LoggerFile, readings: Readings) -> Iterable[LoggedMonth]:
    """The months of each stay; what was logged where the logger stood nowhere is left out."""
    begins = [np.datetime64(day or "0001-01-01", "s").astype(np.int64) for _, day in file.stays]
    edges = [*np.searchsorted(readings.seconds, begins).tolist(), readings.seconds.size]
    merged: dict[tuple[str, int], Month] = {}
    for (place, _), (start, end) in zip(file.stays, pairwise(edges), strict=True):
        here = slice(start, end)
        if place is None or end - start < 2:
            continue
        for month in by_month(readings.seconds[here], readings.temperature[here], readings.humidity[here]):
            key = place, month.number
            merged[key] = month.with_(merged[key]) if key in merged else month
    for (place, _), month in merged.items():
        yield _row(file, place, month)


def _row(file: LoggerFile, place: str, month: Month) -> LoggedMonth:
    return LoggedMonth(
        file=file,
        place_id=UUID(place),
        month=date(1970 + month.number // 12, month.number % 12 + 1, 1),
        readings=month.readings,
        days=month.days,
        sums=month.sums.astype(STORED).tobytes(),
        temperature_days=month.temperature_days,
        temperature_low=month.temperature[0],
        temperature_high=month.temperature[1],
        humidity_days=month.humidity_days,
        humidity_low=month.humidity[0],
        humidity_high=month.humidity[1],
    )


@transaction.atomic
def count(file: LoggerFile, *, by: User | None, at: datetime) -> LoggerFile:
    """Let what was looked through count for the climate of its places."""
    file = _held(file)
    _refuse_while_working(file)
    if file.state not in {LoggerFileState.LOOKED, LoggerFileState.UNDONE}:
        raise Clash("This file is not looked through, or counts already.")
    places = set(file.months.values_list("place_id", flat=True).distinct())
    for other in same_content(file):
        if other.reading == file.reading and places & set(other.months.values_list("place_id", flat=True)):
            raise Clash(
                f"The same file counts already, received on {other.received_at:%-d %B %Y}: it would count twice."
            )
    file.state, file.counted_at, file.undone_at = LoggerFileState.COUNTED, at, None
    file.save(update_fields=["state", "counted_at", "undone_at"])
    became = {"places": sorted(map(str, places)), "months": file.counts.get("months"), "sha256": file.sha256}
    events.record(file, "counted", by=by, at=at, became=became)
    return file


@transaction.atomic
def take_back(file: LoggerFile, *, by: User | None, at: datetime) -> LoggerFile:
    """Let a file count no longer. Its months stay, so that it can count again."""
    file = _held(file)
    if file.state != LoggerFileState.COUNTED:
        raise Clash("This file does not count, so there is nothing to take back.")
    file.state, file.undone_at = LoggerFileState.UNDONE, at
    file.save(update_fields=["state", "undone_at"])
    events.record(file, "taken back", by=by, at=at)
    return file


@transaction.atomic
def discard(file: LoggerFile, *, by: User | None, at: datetime) -> None:
    """Remove a file that never counted; its content goes if no other file has the same."""
    file = _held(file)
    _refuse_while_working(file)
    if file.counted_at is not None:
        raise Clash("Scores may rest on this file, so its record stays. Take it back if it was wrong.")
    events.record(file, "discarded", by=by, at=at, was={"file": file.file_name, "sha256": file.sha256})
    sha256 = file.sha256
    file.delete()
    if not LoggerFile.objects.filter(sha256=sha256).exists():
        transaction.on_commit(lambda: stored(sha256).unlink(missing_ok=True))


def _refuse_while_working(file: LoggerFile) -> None:
    if file.job and not file.job.ended:
        raise Clash("This file is still being looked through: wait until that ends, or stop it.")


def _held(file: LoggerFile) -> LoggerFile:
    found = LoggerFile.objects.select_for_update(of=("self",)).select_related("job").filter(pk=file.pk).first()
    if found is None:
        raise Clash("This file was put away meanwhile.")
    return found
