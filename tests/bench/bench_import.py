"""How fast a whole register comes in: preview and writing by the jobs' own functions, against bare loading of its rows.

    python tests/bench/bench_import.py [FILE] [--runs N]

On the database configured (FETTLE_DATABASE), in a database of its own made for the run. Bare loading is COPY on
PostgreSQL and one executemany on SQLite of the very rows that the import made, already parsed: into a table with the
register's own keys, indexes and checks ("bare", which "ratio" is about), and into one with none of them ("plain"), the
median of five each. Meant for a machine with nothing else to do.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
OPTIONS = {
    "units": dict.fromkeys(("height", "width", "depth", "diameter"), "in"),
    "zero_is_missing": True,
    "decimal": None,
}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file", nargs="?", type=Path, default=ROOT.parent / "shared" / "data" / "open-register.csv")
    parser.add_argument("--runs", type=int, default=3)
    arguments = parser.parse_args()
    if not arguments.file.is_file():
        print(f"{arguments.file} is not there: give the path of a register.", file=sys.stderr)
        return 2
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    os.environ["FETTLE_VAR"] = own = tempfile.mkdtemp(prefix="fettle-bench-")
    sys.path.insert(0, str(ROOT))
    try:
        return _in_own_database(arguments.file, arguments.runs)
    finally:
        shutil.rmtree(own)


def _in_own_database(path: Path, runs: int) -> int:
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection

    if connection.vendor == "sqlite":
        # On disk, as in service: Django's own choice for tests would be in memory.
        call_command("migrate", verbosity=0)
        found = [_run(path) for _ in range(runs)]
    else:
        before = connection.settings_dict["NAME"]
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        try:
            found = [_run(path) for _ in range(runs)]
        finally:
            connection.creation.destroy_test_db(before, verbosity=0)
    best = min(found, key=lambda run: run["ratio"])
    print(
        json.dumps(
            {
                "database": connection.vendor,
                "runs": found,
                "best_ratio": best["ratio"],
                "best_ratio_to_plain": best["ratio_to_plain"],
            },
            indent=1,
        )
    )
    return 0


def _run(path: Path) -> dict[str, Any]:
    from django.utils import timezone

    from survey.models import ImportRow, Object, RegisterImport
    from survey.register.db.services import imports

    with path.open("rb") as file:
        batch = imports.receive(iter(lambda: file.read(1 << 20), b""), path.name, by=None, at=timezone.now())
    RegisterImport.objects.filter(pk=batch.pk).update(options=OPTIONS)
    look = _timed(imports.LOOK, batch.pk)
    apply = _timed(imports.BRING_IN, batch.pk)
    rows = ImportRow.objects.filter(batch=batch).count()
    made = Object.objects.count()
    plain = median(_bare(plain=True) for _ in range(5))
    own = median(_bare(plain=False) for _ in range(5))
    _empty()
    total = look + apply
    return {
        "rows": rows, "objects": made,
        "preview_seconds": round(look, 3), "apply_seconds": round(apply, 3),
        "preview_and_apply_seconds": round(total, 3), "rows_per_second": round(rows / total),
        "bare_seconds": round(own, 3), "bare_rows_per_second": round(made / own), "ratio": round(total / own, 2),
        "plain_seconds": round(plain, 3), "ratio_to_plain": round(total / plain, 2),
    }  # fmt: skip


def _timed(name: str, batch: Any) -> float:
    from django.utils import timezone

    from media.base import jobs
    from media.base.models import Job, JobState

    row = Job.objects.create(name=name, arguments={"batch": str(batch)}, asked_at=timezone.now())
    start = time.perf_counter()
    jobs.run(row.pk)
    seconds = time.perf_counter() - start
    row.refresh_from_db()
    if row.state != JobState.DONE:
        raise SystemExit(f"{name} ended as {row.state}: {row.error}")
    return seconds


def _bare(*, plain: bool) -> float:
    """Seconds to load the objects' rows, committed: into the register's own table, emptied, or into a plain one."""
    from django.db import connection, transaction

    from survey.models import Object

    fields = Object._meta.local_concrete_fields
    columns = ", ".join(field.column for field in fields)
    found = list(Object.objects.order_by("pk").values_list(*[field.attname for field in fields]))
    rows = [[f.get_db_prep_save(value, connection) for f, value in zip(fields, row, strict=True)] for row in found]
    table = "bare" if plain else "survey_object"
    with connection.cursor() as cursor:
        if plain:
            cursor.execute("CREATE TABLE bare AS SELECT * FROM survey_object LIMIT 0")
        else:
            cursor.execute("TRUNCATE survey_object CASCADE" if _copies() else "DELETE FROM survey_object")
        start = time.perf_counter()
        with transaction.atomic():
            if _copies():
                with cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
                    for row in rows:
                        copy.write_row(row)
            else:
                marks = ", ".join(["%s"] * len(fields))
                cursor.executemany(f"INSERT INTO {table} ({columns}) VALUES ({marks})", rows)  # noqa: S608 our own names
        seconds = time.perf_counter() - start
        if plain:
            cursor.execute("DROP TABLE bare")
    return seconds


def _copies() -> bool:
    from django.db import connection

    return connection.vendor == "postgresql"


def _empty() -> None:
    from media.base.models import Event, Job
    from survey.models import ImportRow, Object, RegisterImport

    RegisterImport.objects.update(job=None)
    for model in (ImportRow, Object, Event, RegisterImport, Job):
        model.objects.all()._raw_delete("default")


if __name__ == "__main__":
    sys.exit(main())
