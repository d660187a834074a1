"""Checks at the door: a database that could lose or damage records is not used at all."""

from collections.abc import Sequence

from django.apps import AppConfig
from django.core.exceptions import ImproperlyConfigured
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate, pre_migrate

from gradation.migrations import _guards

SYNCHRONOUS_FULL = 2  # sqlite.org/pragma.html#pragma_synchronous
SQLITE_LEAST_TIMEOUT_MS = 5000
POSTGRESQL_KEEPS_COLLATION = 150000  # postgresql.org/docs/15/catalog-pg-database.html


def connect() -> None:
    """Look at every database connection when it is opened, and at the guards after migrations."""
    connection_created.connect(refuse_unsafe_sqlite, dispatch_uid="refuse_unsafe_sqlite")
    pre_migrate.connect(lift_guards, dispatch_uid="lift_guards")
    post_migrate.connect(renew_guards, dispatch_uid="renew_guards")


def lift_guards(sender: AppConfig, *, using: str, plan: Sequence[object] = (), **_: object) -> None:
    """Take the guards away while the owner changes tables, which neither database does under them.

    Should the work end halfway, `verify_records` names what is missing and the server does not
    start.
    """
    if sender.label == "gradation" and plan:
        _guards.lift(connections[using])


def renew_guards(
    sender: AppConfig, *, using: str, plan: Sequence[object] = (), **_: object
) -> None:
    """Put the guards of the records back after migrations: SQLite drops those of rebuilt tables."""
    connection = connections[using]
    if sender.label == "gradation" and (plan or missing_guards(connection)):
        _guards.install(connection)


def missing_guards(connection: BaseDatabaseWrapper) -> list[str]:
    """Name the guards of the records that do not stand in the database."""
    return list(_guards.missing(connection))


def refuse_unsafe_sqlite(connection: BaseDatabaseWrapper, **_: object) -> None:
    """Read back what SQLite really granted: a request for WAL can fail without an error."""
    if connection.vendor != "sqlite":
        return
    faults = sqlite_faults(connection)
    if faults:
        raise ImproperlyConfigured("The embedded database is not safe to use: " + "; ".join(faults))


def sqlite_faults(connection: BaseDatabaseWrapper) -> list[str]:
    """Return one sentence for each safeguard that is not in force on this connection."""
    faults = []
    journal = _pragma(connection, "journal_mode")
    if journal not in {"wal", "memory"}:
        faults.append(
            f"its journal is '{journal}' instead of write-ahead (keep the file on a local disk)"
        )
    if int(_pragma(connection, "synchronous")) < SYNCHRONOUS_FULL:
        faults.append("commits are not synced to disk (synchronous must be FULL)")
    if int(_pragma(connection, "foreign_keys")) != 1:
        faults.append("foreign keys are not enforced")
    if int(_pragma(connection, "busy_timeout")) < SQLITE_LEAST_TIMEOUT_MS:
        faults.append("writers wait less than 5 s for one another (busy_timeout)")
    if getattr(connection, "transaction_mode", None) != "IMMEDIATE":
        faults.append("transactions are not immediate (transaction_mode must be IMMEDIATE)")
    return faults


def _pragma(connection: BaseDatabaseWrapper, name: str) -> str:
    """Return a pragma's value, asked past Django's cursor so that query counts stay true."""
    return str(connection.connection.execute(f"PRAGMA {name}").fetchone()[0])


def stale_collation(connection: BaseDatabaseWrapper) -> str:
    """Say how the order of letters changed under a PostgreSQL database; empty when it did not.

    After such a change an index may no longer find what is in it, and a unique one lets doubles in.
    PostgreSQL keeps the version with the database since release 15.
    """
    if connection.vendor != "postgresql":
        return ""
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_setting('server_version_num')::int")
        if cursor.fetchone()[0] < POSTGRESQL_KEEPS_COLLATION:
            return ""
        cursor.execute(
            "SELECT datcollversion, pg_database_collation_actual_version(oid) FROM pg_database "
            "WHERE datname = current_database()"
        )
        made, present = cursor.fetchone()
    return f"{made} to {present or 'none'}" if made and made != present else ""
