"""The application's own role in PostgreSQL adds records; it cannot change, empty or drop them."""

import io

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction

from gradation.migrations import _guards
from gradation.models import LedgerEntry, Sample
from gradation.services import signing_policy
from tests import factories

ROLE = "gradation_application_test"


@pytest.fixture
def as_application(db):
    """Make the role, then act as it until the transaction of the test ends."""
    factories.make_certificate()
    call_command("grant_application_role", ROLE, stdout=io.StringIO())
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute(f"SET LOCAL ROLE {ROLE}")
    yield
    with connection.cursor() as cursor:
        cursor.execute("RESET ROLE")


def refused(statement):
    with (
        pytest.raises(DatabaseError) as refusal,
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)
    assert isinstance(refusal.value.__cause__, psycopg.errors.InsufficientPrivilege)
    return str(refusal.value)


@pytest.mark.postgres_only
def test_s47_application_can_neither_change_empty_alter_nor_drop_what_was_recorded(as_application):
    for table in _guards.APPEND_ONLY:
        for statement in (
            f"UPDATE {table} SET id = id",
            f"DELETE FROM {table}",
            f"TRUNCATE {table}",
            f"ALTER TABLE {table} DISABLE TRIGGER ALL",
            f"DROP TABLE {table}",
        ):
            assert "append-only" not in refused(statement), statement
    for table in (*_guards.ONLY_UP, *_guards.SETTLED, *_guards.KEPT):
        for statement in (f"DELETE FROM {table}", f"TRUNCATE {table}", f"DROP TABLE {table}"):
            assert "append-only" not in refused(statement), statement
    refused("SET session_replication_role = replica")
    refused("DELETE FROM django_migrations")
    refused("CREATE TABLE another (id int)")


@pytest.mark.postgres_only
def test_s47_application_does_its_work_with_these_rights(as_application):
    before = LedgerEntry.objects.count()

    certificate = factories.make_certificate()

    signing_policy.set_signing_policy(actor=factories.quality_manager(), text="I sign what I read.")
    signing_policy.accept_policy(actor=factories.signatory(), version=1)

    assert certificate.state == "issued"
    assert LedgerEntry.objects.count() > before
    assert Sample.objects.count() == 2


@pytest.mark.sqlite_only
def test_sqlite_has_no_roles_and_says_so(db):
    with pytest.raises(CommandError, match="SQLite has no roles"):
        call_command("grant_application_role", ROLE)


@pytest.mark.postgres_only
def test_empty_password_variable_is_named(db, monkeypatch):
    monkeypatch.setenv("ROLE_PASSWORD", "")

    with pytest.raises(CommandError, match="ROLE_PASSWORD is empty"):
        call_command("grant_application_role", ROLE, "--password-env", "ROLE_PASSWORD")
