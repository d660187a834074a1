"""New rows of one table written by one prepared statement, where nobody needs their keys after.

`bulk_create` builds the text of a statement anew for every few rows, as many as SQLite takes
parameters: most of what writing the readings of thousands of runs would cost.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from django.db import connections, models, router

__all__ = ["count_anew", "insert_alike", "insert_rows", "insert_values"]

if TYPE_CHECKING:
    Column = models.Field[Any, Any]

_ROWS_AT_ONCE = 500
#: Columns whose values every database takes as they are.
_AS_THEY_ARE = (
    models.BooleanField,
    models.CharField,
    models.FloatField,
    models.IntegerField,
    models.TextField,
)


def insert_rows(rows: Iterable[models.Model]) -> None:
    """Write new rows of one model; the rows in memory do not learn their keys.

    The caller's transaction and ledger entry cover it.
    """
    new = list(rows)
    if new:
        table = _Table(type(new[0]))
        table.insert([table.values_of(row) for row in new])


def insert_alike(
    model: type[models.Model], same: Mapping[str, Any], rows: Iterable[Mapping[str, Any]]
) -> None:
    """Write new rows that are the `same` but for the columns each names itself.

    Columns by the names of the rows in memory, such as `run_id`; those not named have the model's
    default. The caller's transaction and ledger entry cover it.
    """
    table = _Table(model)
    pattern = table.values_of(model(**same))
    table.insert([table.values_like(pattern, row) for row in rows])


def count_anew(models_written: Iterable[type[models.Model]]) -> None:
    """Let PostgreSQL count the rows that this transaction has written, so that it plans by them.

    Its own counting sees only what is committed: to it a table that is filled within one long
    transaction stays empty, and each reference to it is looked up row by row. What somebody else
    counts just now is skipped, and so is all where the role owns no tables. SQLite needs nothing.
    """
    for model in models_written:
        connection = connections[router.db_for_write(model)]
        if connection.vendor == "postgresql":
            table = connection.ops.quote_name(model._meta.db_table)
            with connection.cursor() as cursor:
                cursor.execute(f"ANALYZE (SKIP_LOCKED) {table}")


class _Table:
    """The columns of a model's own table, as its database takes their values."""

    def __init__(self, model: type[models.Model]) -> None:
        self._model, self._alias = model, router.db_for_write(model)
        self._connection = connections[self._alias]
        own = model._meta.local_concrete_fields
        self._columns = [column for column in own if not isinstance(column, models.AutoField)]
        self._places = {column.attname: n for n, column in enumerate(self._columns)}
        self._is_plain = [_is_plain(column) for column in self._columns]

    def values_of(self, row: models.Model) -> list[Any]:
        """Give all values of a row."""
        return [
            self._prepared(place, column.pre_save(row, add=True))
            for place, column in enumerate(self._columns)
        ]

    def values_like(self, pattern: list[Any], row: Mapping[str, Any]) -> list[Any]:
        """Give the values of a pattern, changed as a row says."""
        values = pattern.copy()
        for name, value in row.items():
            place = self._places[name]
            values[place] = self._prepared(place, value)
        return values

    def _prepared(self, place: int, value: object) -> object:
        if self._is_plain[place]:
            return value
        return self._columns[place].get_db_prep_save(value, self._connection)

    def insert(self, values: Sequence[Sequence[Any]]) -> None:
        """Write rows of values."""
        if values:
            insert_values(self._model, self._columns, values, self._alias)


def _is_plain(column: Column) -> bool:
    while isinstance(column, models.ForeignKey):
        column = column.target_field
    return isinstance(column, _AS_THEY_ARE)


def insert_values(
    model: type[models.Model],
    columns: Sequence[Column],
    values: Sequence[Sequence[Any]],
    alias: str,
) -> None:
    """Write values, as the database takes them, into the columns of a model's own table."""
    connection = connections[alias]
    quote = connection.ops.quote_name
    names = ", ".join(quote(str(column.column)) for column in columns)
    row = f"({', '.join(['%s'] * len(columns))})"
    into = f"INSERT INTO {quote(model._meta.db_table)} ({names}) VALUES "  # noqa: S608 - our own names
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.executemany(into + row, values)
            return
        # PostgreSQL would be asked row by row, and each of them would wait for its answer.
        for start in range(0, len(values), _ROWS_AT_ONCE):
            some = values[start : start + _ROWS_AT_ONCE]
            cursor.execute(
                into + ", ".join([row] * len(some)), [each for one in some for each in one]
            )
