"""Rows of any table as lines of JSON that either database takes back, and their sum.

Tables are read as the applied migrations left them, not as the program would have them, so that an
archive can be made before an upgrade and read after it.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import connections, models
from django.db.migrations.executor import MigrationExecutor

from gradation.services.bulk_rows import insert_values

__all__ = [
    "LEFT_OUT",
    "Sum",
    "applied_migrations",
    "columns_of",
    "decoded",
    "inserted",
    "lines_of",
    "models_at",
]

#: What ends with the server: open sessions, counts of tries.
LEFT_OUT = frozenset({"sessions.Session", "gradation.SignInTally"})
BATCH = 2000
_MODULUS = 2**256


@dataclass
class Sum:
    """How many rows, and a sum of their SHA-256 that does not depend on their order.

    Two databases sort words differently; the archive as a whole has a digest of its own.
    """

    rows: int = 0
    total: int = 0

    def add(self, line: bytes) -> None:
        """Add a row's line."""
        self.rows += 1
        self.total = (self.total + int.from_bytes(hashlib.sha256(line).digest())) % _MODULUS

    @property
    def digest(self) -> str:
        """Give the sum in hexadecimal figures."""
        return f"{self.total:064x}"


def applied_migrations(alias: str) -> list[tuple[str, str]]:
    """List the migrations a database has had, of the apps that this program knows."""
    executor = MigrationExecutor(connections[alias])
    known = executor.loader.disk_migrations or {}
    return sorted(key for key in executor.loader.applied_migrations if key in known)


def models_at(migrations: Iterable[tuple[str, str]], alias: str) -> dict[str, type[models.Model]]:
    """Give the models as those migrations describe them, by label, with their joining tables."""
    loader = MigrationExecutor(connections[alias]).loader
    nodes = [node for node in migrations if node in loader.graph.nodes]
    state = loader.project_state(nodes).apps
    found = {
        model._meta.label: model
        for model in state.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy
    }
    return {label: found[label] for label in sorted(found) if label not in LEFT_OUT}


def columns_of(model: type[models.Model]) -> list[models.Field[Any, Any]]:
    """List the columns of a model's own table; what a parent's table holds is read there."""
    return [field for field in model._meta.local_concrete_fields if field.column]


def lines_of(model: type[models.Model], alias: str) -> Iterator[bytes]:
    """Give every row of a table as one line."""
    names = [field.attname for field in columns_of(model)]
    rows = model._base_manager.using(alias).order_by("pk").values_list(*names)
    for row in rows.iterator(chunk_size=BATCH):
        yield json.dumps([_plain(value) for value in row], sort_keys=True).encode() + b"\n"


def _plain(value: object) -> object:
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, Decimal | UUID | timedelta):
        return str(value)
    if isinstance(value, bytes | bytearray | memoryview):
        return base64.b64encode(value).decode("ascii")
    return value


def decoded(model: type[models.Model], line: bytes, alias: str) -> list[Any]:
    """Turn a line into values as the database takes them."""
    connection = connections[alias]
    return [
        field.get_db_prep_save(
            value if isinstance(field, models.JSONField) else field.to_python(value), connection
        )
        for field, value in zip(columns_of(model), json.loads(line), strict=True)
    ]


def inserted(model: type[models.Model], lines: Sequence[bytes], alias: str) -> None:
    """Write rows into a table under the keys they had."""
    if lines:
        values = [decoded(model, line, alias) for line in lines]
        insert_values(model, columns_of(model), values, alias)
