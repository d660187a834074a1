"""The counters from which a database gives keys: never behind a key that was given."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import connections, models
from django.db.models import Max

__all__ = ["behind", "read_sequences", "set_sequences"]


def _counted(tables: Iterable[type[models.Model]]) -> list[type[models.Model]]:
    return [model for model in tables if isinstance(model._meta.pk, models.AutoField)]


def read_sequences(tables: Iterable[type[models.Model]], alias: str) -> dict[str, int]:
    """Give the newest key each counter has given, by the model's label."""
    connection, found = connections[alias], {}
    with connection.cursor() as cursor:
        for model in _counted(tables):
            value = _read(connection.vendor, cursor, model)
            if value:
                found[model._meta.label] = value
    return found


def _read(vendor: str, cursor: Any, model: type[models.Model]) -> int:  # noqa: ANN401 - any cursor
    table = model._meta.db_table
    if vendor == "sqlite":
        cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
        row = cursor.fetchone()
        return int(row[0]) if row else 0
    name = _sequence_name(cursor, table, model._meta.pk.column or "id")
    cursor.execute(f"SELECT CASE WHEN is_called THEN last_value ELSE 0 END FROM {name}")  # noqa: S608
    return int(cursor.fetchone()[0])


def _sequence_name(cursor: Any, table: str, column: str) -> str:  # noqa: ANN401 - any cursor
    """Give a counter's name as PostgreSQL itself quotes it."""
    cursor.execute("SELECT pg_get_serial_sequence(%s, %s)", [f'"{table}"', column])
    return str(cursor.fetchone()[0])


def set_sequences(
    tables: Iterable[type[models.Model]], recorded: dict[str, int], alias: str
) -> None:
    """Let each counter go on after the newest key it had given, or the highest that is there."""
    connection = connections[alias]
    with connection.cursor() as cursor:
        for model in _counted(tables):
            last = max(recorded.get(model._meta.label, 0), _highest(model, alias))
            if last:
                _set(connection.vendor, cursor, model, last)


def _highest(model: type[models.Model], alias: str) -> int:
    found = model._base_manager.using(alias).aggregate(highest=Max("pk"))["highest"]
    return int(found or 0)


def _set(vendor: str, cursor: Any, model: type[models.Model], last: int) -> None:  # noqa: ANN401
    table = model._meta.db_table
    if vendor == "sqlite":
        cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [table])
        cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [table, last])
        return
    name = _sequence_name(cursor, table, model._meta.pk.column or "id")
    cursor.execute("SELECT setval(%s::regclass, %s, true)", [name, last])


def behind(tables: Iterable[type[models.Model]], alias: str) -> list[str]:
    """Name the tables whose counter would give a key that is there already."""
    listed = _counted(tables)
    now = read_sequences(listed, alias)
    return [
        model._meta.label
        for model in listed
        if now.get(model._meta.label, 0) < _highest(model, alias)
    ]
