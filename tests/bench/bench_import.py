"""How fast a whole register comes in: preview and writing by the jobs' own functions, against bare loading of its rows.

    python tests/bench/bench_import.py [FILE] [--runs N]

On the database configured (FETTLE_DATABASE), in a database of its own made for the run. Bare loading is COPY on
PostgreSQL and one executemany on SQLite of the very values that the import decided, into a table with the register's
columns and nothing else: no key, no index, no constraint, no reading of the file.
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
    best = min(found, key=lambda run: run["preview_and_apply_seconds"] / run["bare_seconds"])
    print(json.dumps({"database": connection.vendor, "runs": found, "best_ratio": best["ratio"]}, indent=1))
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
    bare = min(_bare() for _ in range(3))
    _empty()
    total = look + apply
    return {
        "rows": rows, "objects": made,
        "preview_seconds": round(look, 3), "apply_seconds": round(apply, 3),
        "preview_and_apply_seconds": round(total, 3), "rows_per_second": round(rows / total),
        "bare_seconds": round(bare, 3), "bare_rows_per_second": round(made / bare), "ratio": round(total / bare, 2),
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


def _bare() -> float:
    """Seconds to load the objects' imported values into a plain table, committed."""
    from django.db import connection, transaction

    from survey.models import Object
    from survey.register.db.selectors.imports import MODEL_NAMES

    names = list(dict.fromkeys(MODEL_NAMES.values()))
    types = {"FloatField": "double precision", "IntegerField": "integer"}
    kinds = [types.get(Object._meta.get_field(name).get_internal_type(), "text") for name in names]
    rows = list(Object.objects.order_by("number_key").values_list(*names))
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS bare")
        cursor.execute(f"CREATE TABLE bare ({', '.join(f'{n} {k}' for n, k in zip(names, kinds, strict=True))})")
        start = time.perf_counter()
        with transaction.atomic():
            if connection.vendor == "postgresql":
                with cursor.copy("COPY bare FROM STDIN") as copy:
                    for row in rows:
                        copy.write_row(row)
            else:
                cursor.executemany(f"INSERT INTO bare VALUES ({', '.join(['%s'] * len(names))})", rows)  # noqa: S608
        seconds = time.perf_counter() - start
        cursor.execute("DROP TABLE bare")
    return seconds


def _empty() -> None:
    from media.base.models import Event, Job
    from survey.models import ImportRow, Object, RegisterImport

    RegisterImport.objects.update(job=None)
    for model in (ImportRow, Object, Event, RegisterImport, Job):
        model.objects.all()._raw_delete("default")


if __name__ == "__main__":
    sys.exit(main())
