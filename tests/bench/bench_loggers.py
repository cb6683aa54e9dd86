"""Ten million readings of loggers in one run: from files to equivalent years, and what keeping them costs.

    FETTLE_VAR=/somewhere/empty python -m tests.bench.bench_loggers [readings]

Twenty loggers of five-minute readings, in two ways of writing. Processor time of one core is counted, not the clock on
the wall. The peer, in the same run: the time to read the same bytes with the csv module and turn each cell into a
number, the least that any reader of such files does.
"""

from __future__ import annotations

import csv
import io
import os
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

LOGGERS = 20
INTERVAL = 300


def text_of(logger: int, readings: int) -> bytes:
    """A logger's file: seasons, days and noise of its own; every second one with semicolons and decimal commas."""
    rng = np.random.default_rng(logger)
    seconds = np.datetime64("2012-01-01", "s").astype(np.int64) + INTERVAL * np.arange(readings)
    year = 2 * np.pi * seconds / (365.25 * 86400)
    temperature = rng.uniform(10, 22) - 7 * np.cos(year) + rng.normal(0, 0.4, readings)
    humidity = np.clip(rng.uniform(40, 65) + 10 * np.sin(year) + rng.normal(0, 1.5, readings), 5, 98)
    stamps = np.datetime_as_string(seconds.astype("datetime64[s]"))
    if logger % 2:
        rows = (f"{at[8:10]}.{at[5:7]}.{at[:4]} {at[11:]};{t:.2f};{h:.1f}".replace(".", ",").replace(",", ".", 2)
                for at, t, h in zip(stamps, temperature, humidity, strict=True))  # fmt: skip
        return ("Datum;Temperatur (°C);rF (%)\n" + "\n".join(rows) + "\n").encode()
    rows = (f"{at.replace('T', ' ')},{t:.2f},{h:.1f}" for at, t, h in zip(stamps, temperature, humidity, strict=True))
    return ("Date,Temperature (°C),RH (%)\n" + "\n".join(rows) + "\n").encode()


def least(content: bytes) -> int:
    """Read every cell and turn it into numbers, nothing more."""
    text = io.StringIO(content.decode())
    delimiter = ";" if text.readline().startswith("Datum;") else ","
    count = 0
    for row in csv.reader(text, delimiter=delimiter):
        float(row[1].replace(",", ".")), float(row[2].replace(",", "."))
        count += 1
    return count


def main() -> None:
    """Print what each stage took."""
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000_000
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    os.environ.setdefault("FETTLE_VAR", tempfile.mkdtemp(prefix="bench-loggers-"))
    os.environ["FETTLE_JOBS_AT_ONCE"] = "1"
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.utils import timezone

    from survey.models import LoggedMonth, LoggerFile, Place
    from survey.risk.db.selectors.climate import kept_at
    from survey.risk.db.services import loggers
    from survey.risk.parameters import read

    call_command("migrate", verbosity=0)
    at, each = timezone.now(), total // LOGGERS
    contents = [text_of(logger, each) for logger in range(LOGGERS)]
    rooms = [
        Place.objects.create(
            kind="room", name=f"Room {n}", full_name=f"Room {n}", path=f"{90000 + n:05d}.", position=n + 1
        )
        for n in range(LOGGERS)
    ]
    begun = time.process_time()
    for logger, content in enumerate(contents):
        made = loggers.receive([content], f"{logger}.csv", place=rooms[logger], by=None, at=at)
        loggers.look_through(made, reading=made.reading, stays=[(rooms[logger], None)], by=None, at=at)
        loggers.count(made, by=None, at=at)
    taken_in = time.process_time() - begun
    begun = time.process_time()
    kept = kept_at([room.pk for room in rooms] * 5_000, read({}))
    years = kept.years(np.datetime64("1960-01-01"), np.full(LOGGERS * 5_000, np.datetime64("2026-01-01")))
    reckoned = time.process_time() - begun
    begun = time.process_time()
    peer = sum(map(least, contents))
    by_csv = time.process_time() - begun
    counted = sum(file.counts["readings"] for file in LoggerFile.objects.all())
    months = LoggedMonth.objects.count()
    stored = sum(len(bytes(sums)) for sums in LoggedMonth.objects.values_list("sums", flat=True))
    size = sum(map(len, contents)) / 1e6
    print(f"{counted:,} readings of {LOGGERS} loggers, {size:,.0f} MB")
    print(f"taken in, checked, summed, counted: {taken_in:.1f} s, {counted / taken_in:,.0f} readings a second")
    print(f"peer, csv module and float alone:   {by_csv:.1f} s ({peer:,} rows), ratio {taken_in / by_csv:.2f}")
    print(f"kept: {months:,} months, {stored / 1e6:.2f} MB of sums")
    print(f"equivalent years of {years.size:,} joints from it: {reckoned:.2f} s; mean {years.mean():.1f} years")
    print(f"database: {connection.vendor}, {Path(os.environ['FETTLE_VAR'])}")


if __name__ == "__main__":
    main()
