"""Gives the application a role of its own in PostgreSQL: it adds records, and changes none."""

from __future__ import annotations

import os
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection, transaction
from psycopg import sql

from gradation.migrations import _guards


class Command(BaseCommand):
    """Create the role if it is not there, and give it exactly the rights the application needs."""

    help = (
        "Create or renew a PostgreSQL role for the running application. It reads and adds; it "
        "changes rows only of tables that may change; it cannot empty, alter or drop a table or "
        "switch a guard off. Run it as the owner, after each migrate."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Ask for the role, and where its password stands."""
        parser.add_argument("role", help="name of the role")
        parser.add_argument(
            "--password-env", metavar="VARIABLE", help="environment variable with its password"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Create, grant, and say what was done."""
        if connection.vendor != "postgresql":
            msg = "SQLite has no roles: there the guards in the database stand alone."
            raise CommandError(msg)
        variable = options["password_env"]
        password = os.environ.get(variable) if variable else None
        if variable and not password:
            msg = f"{variable} is empty. Put the role's password into it, then run this again."
            raise CommandError(msg)
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [options["role"]])
            is_there = cursor.fetchone() is not None
            for statement in statements(options["role"], password, is_there=is_there):
                cursor.execute(statement.as_string(cursor.connection))
        self.stdout.write(f"Role {options['role']} may use the application's tables.")


def statements(role: str, password: str | None, *, is_there: bool) -> list[sql.Composed]:
    """Give the statements that make the role what it should be, whatever it was before."""
    names = {"role": sql.Identifier(role)}
    act = "ALTER" if is_there else "CREATE"
    known = " PASSWORD {password}" if password else ""
    plain = "LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS"
    begin = [
        f"{act} ROLE {{role}} {plain}{known}",
        "GRANT USAGE ON SCHEMA public TO {role}",
        "REVOKE CREATE ON SCHEMA public FROM {role}",
        "REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {role}",
        "GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {role}",
        "GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {role}",
        "REVOKE INSERT, UPDATE, DELETE ON django_migrations FROM {role}",
    ]
    written = [sql.SQL(line).format(**names, password=sql.Literal(password)) for line in begin]
    written += [_revoke("UPDATE, DELETE", table, role) for table in _guards.APPEND_ONLY]
    kept = (*_guards.ONLY_UP, *_guards.SETTLED, *_guards.KEPT)
    return written + [_revoke("DELETE", table, role) for table in kept]


def _revoke(rights: str, table: str, role: str) -> sql.Composed:
    return sql.SQL("REVOKE " + rights + " ON {table} FROM {role}").format(
        table=sql.Identifier(table), role=sql.Identifier(role)
    )
