"""Adding many rows at once: COPY on PostgreSQL, one prepared statement on SQLite.

Measured on 100,000 rows, both are about eight times faster than ``bulk_create``; signals and ``save`` are not run,
and Fettle uses neither.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
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
    Database errors are Django's, on either database.
    """
    fields = [field for field in model._meta.local_concrete_fields if field.name not in leave_out]
    count = 0
    for batch in _batches(rows):
        values = [[_prepared(field, row) for field in fields] for row in batch]
        count += _write(model, [str(field.column) for field in fields], values)
    return count


def insert_rows(
    model: type[models.Model],
    names: Sequence[str],
    rows: Iterable[tuple[Any, ...]],
    *,
    leave_out: tuple[str, ...] = (),
    **constants: Any,
) -> int:
    """Insert rows given as tuples of what the columns hold, streamed, without building objects; returns how many.

    Parameters
    ----------
    model : model class
    names : sequence of str
        Attributes that the tuples give (``batch_id`` for a key), in their order. Keys as 32 hexadecimal digits or the
        database's own form, JSON as text, times prepared by ``as_stored``.
    rows : iterable of tuple
        May be a generator: it is read while the database writes. Call inside a transaction.
    leave_out : tuple of str
        Fields that the database fills (automatic keys).
    **constants
        Other attributes, the same for every row. What neither names has its field's default.
    """
    given = set(names)
    fields = [f for f in model._meta.local_concrete_fields if f.name not in leave_out and f.attname not in given]
    rest = tuple(as_stored(model, f.attname, constants.pop(f.attname, f.get_default())) for f in fields)
    if constants:
        raise ValueError(f"constants names what is no field left to give: {', '.join(constants)}")
    by_name = {f.attname: str(f.column) for f in model._meta.local_concrete_fields}
    columns = [by_name[name] for name in names] + [str(f.column) for f in fields]
    return _write(model, columns, (row + rest for row in rows))


def update_rows(model: type[models.Model], names: Sequence[str], rows: Iterable[tuple[Any, ...]]) -> int:
    """Set ``names`` of many rows; each tuple holds their values as stored and, last, the key. Returns how many."""
    by_name = {f.attname: str(f.column) for f in model._meta.local_concrete_fields}
    quote = connection.ops.quote_name
    sets = ", ".join(f"{quote(by_name[name])} = %s" for name in names)
    key = quote(str(model._meta.pk.column)) if model._meta.pk else "id"
    values = list(rows)
    with connection.cursor() as cursor:
        cursor.executemany(
            f"UPDATE {quote(model._meta.db_table)} SET {sets} WHERE {key} = %s",  # noqa: S608 our own names
            values,
        )
    return len(values)


def as_stored(model: type[models.Model], name: str, value: Any) -> Any:
    """A value as the column of an attribute holds it, for the tuples of ``insert_rows``."""
    field = next(f for f in model._meta.local_concrete_fields if f.attname == name)
    return _stored(field, value)


def _write(model: type[models.Model], columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> int:
    table = connection.ops.quote_name(model._meta.db_table)
    names = ", ".join(map(connection.ops.quote_name, columns))
    tally = _Tally(rows)
    # COPY goes past Django's own cursor: its errors are made Django's here.
    with connection.wrap_database_errors, connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                write_row = copy.write_row
                for row in tally:
                    write_row(row)
        else:
            marks = ", ".join(["%s"] * len(columns))
            cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", tally)  # type: ignore[arg-type]  # noqa: S608 our own names; any iterable will do
    return tally.count


class _Tally:
    """Rows, counted as they go by."""

    def __init__(self, rows: Iterable[Sequence[Any]]) -> None:
        self.rows, self.count = rows, 0

    def __iter__(self) -> Iterator[Sequence[Any]]:
        for row in self.rows:
            self.count += 1
            yield row


def _prepared(field: models.Field[Any, Any], row: models.Model) -> Any:
    return _stored(field, getattr(row, field.attname))


def _stored(field: models.Field[Any, Any], value: Any) -> Any:
    value = field.get_db_prep_save(value, connection)
    if connection.vendor == "postgresql" and isinstance(field, models.JSONField) and value is not None:
        from psycopg.types.json import Jsonb

        return value if isinstance(value, (Jsonb, str)) else Jsonb(value)
    return value
