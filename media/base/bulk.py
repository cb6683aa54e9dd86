"""Adding many rows at once: COPY on PostgreSQL, one prepared statement on SQLite.

Measured on 100,000 rows, both are about eight times faster than ``bulk_create``; signals and ``save`` are not run,
and Fettle uses neither.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import Any

from django.core.exceptions import EmptyResultSet
from django.db import DEFAULT_DB_ALIAS, connection, connections, models

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
    database = connections[DEFAULT_DB_ALIAS]  # looked up once: the proxy takes longer than the rest of a value
    for batch in _batches(rows):
        values = [[_stored(field, getattr(row, field.attname), database) for field in fields] for row in batch]
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


def insert_from(
    model: type[models.Model],
    values: Mapping[str, Any],
    rows: models.QuerySet[Any],
    *,
    leave_out: tuple[str, ...] = (),
    **constants: Any,
) -> int:
    """Insert one row for each of ``rows``, worked out by the database itself; returns how many.

    Nothing travels: measured on 28,000 rows, this takes less than half the time of reading them and ``insert_rows``.

    Parameters
    ----------
    model : model class
    values : mapping of attribute to expression on ``rows``
    rows : queryset
        Its order does not count.
    leave_out, **constants
        As for ``insert_rows``; what would be None is left to the database.
    """
    fields = {f.attname: f for f in model._meta.local_concrete_fields if f.name not in leave_out}
    given: dict[str, Any] = dict(values)
    for name in fields.keys() - given.keys():
        constant = constants.pop(name, fields[name].get_default())
        if constant is not None:
            given[name] = models.Value(constant, output_field=fields[name])
    if constants:
        raise ValueError(f"constants names what is no field left to give: {', '.join(constants)}")
    columns = ", ".join(connection.ops.quote_name(str(fields[name].column)) for name in given)
    named = {f"value_{n}": expression for n, expression in enumerate(given.values())}
    try:
        select, parameters = rows.order_by().annotate(**named).values_list(*named).query.sql_with_params()
    except EmptyResultSet:  # Django saw that no row can match
        return 0
    table = connection.ops.quote_name(model._meta.db_table)
    with connection.cursor() as cursor:
        cursor.execute(f"INSERT INTO {table} ({columns}) {select}", parameters)
        return cursor.rowcount


class JsonText(models.Func):
    """The value of one name in a JSON column, as text (as it is stored on SQLite); NULL where the name is missing."""

    output_field = models.TextField()

    def __init__(self, column: str, name: str) -> None:
        super().__init__(models.F(column), models.Value(name), template="(%(expressions)s)", arg_joiner=" ->> ")
        self.name = name

    def as_sqlite(self, compiler: Any, connection: Any, **_: Any) -> tuple[str, tuple[Any, ...]]:
        # The arrow operator came with SQLite 3.38; this does the same on all that Django supports.
        column, parameters = compiler.compile(self.source_expressions[0])
        return f"JSON_EXTRACT({column}, %s)", (*parameters, f'$."{self.name}"')


class KeyText(models.Func):
    """A UUID column as events write it: with hyphens, on either database."""

    output_field = models.TextField()
    template = "(%(expressions)s)::text"

    def as_sqlite(self, compiler: Any, connection: Any, **_: Any) -> tuple[str, tuple[Any, ...]]:
        column, parameters = compiler.compile(self.source_expressions[0])
        parts = [f"SUBSTR({column}, {start}, {size})" for start, size in ((1, 8), (9, 4), (13, 4), (17, 4), (21, 12))]
        return "(" + " || '-' || ".join(parts) + ")", (*parameters,) * len(parts)


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


def _stored(field: models.Field[Any, Any], value: Any, database: Any = connection) -> Any:
    value = field.get_db_prep_save(value, database)
    if database.vendor == "postgresql" and isinstance(field, models.JSONField) and value is not None:
        from psycopg.types.json import Jsonb

        return value if isinstance(value, (Jsonb, str)) else Jsonb(value)
    return value
