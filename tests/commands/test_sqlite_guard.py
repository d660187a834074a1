"""The embedded database is used only with all its safeguards in force."""

import threading
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db import connection

from gradation import checks
from gradation.models import Customer

pytestmark = pytest.mark.sqlite_only


@pytest.fixture
def open_connection(transactional_db):
    connection.ensure_connection()
    return connection


def test_the_shipped_settings_have_every_safeguard(open_connection):
    assert checks.sqlite_faults(open_connection) == []


@pytest.mark.parametrize(
    ("pragma", "sentence"),
    [
        ("journal_mode=DELETE", "its journal is 'delete'"),
        ("synchronous=NORMAL", "not synced to disk"),
        ("foreign_keys=OFF", "foreign keys are not enforced"),
        ("busy_timeout=100", "wait less than 5 s"),
    ],
)
def test_f05_p03_a_safeguard_that_is_off_keeps_the_database_from_being_used(
    open_connection, pragma, sentence
):
    open_connection.connection.execute(f"PRAGMA {pragma}")
    try:
        with pytest.raises(ImproperlyConfigured, match=sentence):
            checks.refuse_unsafe_sqlite(open_connection)
    finally:
        open_connection.close()


def test_the_log_is_copied_into_the_database_when_the_last_connection_closes(open_connection):
    Customer.objects.create(name="Kept")
    log = Path(open_connection.settings_dict["NAME"] + "-wal")
    was_written_ahead = log.stat().st_size > 0

    open_connection.close()

    assert was_written_ahead
    assert not log.exists()
    assert Customer.objects.filter(name="Kept").exists()


def test_f05_writers_queue_behind_one_another_instead_of_failing(transactional_db):
    writers, each = 8, 10
    failures = []

    def write(number):
        try:
            for turn in range(each):
                Customer.objects.create(name=f"Customer {number} {turn}")
        except Exception as error:  # noqa: BLE001 - every kind is reported below
            failures.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=write, args=(number,)) for number in range(writers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)

    assert failures == []
    assert Customer.objects.count() == writers * each
