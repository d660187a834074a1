"""One moment of a running database, held still while it is read."""

from __future__ import annotations

import copy
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from django.db import connections, transaction
from django.db.utils import load_backend

__all__ = ["SNAPSHOT", "snapshot"]

SNAPSHOT = "snapshot"


@contextmanager
def snapshot() -> Iterator[str]:
    """Give the name of a connection that sees one moment; benches go on writing meanwhile.

    SQLite is copied by its own backup interface; PostgreSQL is read in one transaction of
    REPEATABLE READ, which sees what was committed before its first question.
    """
    default = connections["default"]
    with tempfile.TemporaryDirectory(prefix="gradation-backup-") as home:
        entry = copy.deepcopy(default.settings_dict)
        if default.vendor == "sqlite":
            entry["NAME"] = str(_copied(str(entry["NAME"]), Path(home)))
        else:
            from psycopg import IsolationLevel

            options = {"isolation_level": IsolationLevel.REPEATABLE_READ}
            entry["OPTIONS"] = {**entry.get("OPTIONS", {}), **options}
        with _connected(entry), transaction.atomic(using=SNAPSHOT):
            yield SNAPSHOT


def _copied(source: str, home: Path) -> Path:
    target = home / "copy.sqlite3"
    address = (
        f"file:{Path(source).as_posix()}?mode=ro" if not source.startswith("file:") else source
    )
    with (
        closing(sqlite3.connect(address, uri=True, timeout=60)) as original,
        closing(sqlite3.connect(target)) as duplicate,
    ):
        original.backup(duplicate)
    return target


@contextmanager
def _connected(entry: dict[str, Any]) -> Iterator[None]:
    made = load_backend(entry["ENGINE"]).DatabaseWrapper(entry, SNAPSHOT)
    connections[SNAPSHOT] = made
    try:
        yield
    finally:
        made.close()
        del connections[SNAPSHOT]
