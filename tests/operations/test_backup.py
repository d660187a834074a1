"""A laboratory is kept in one archive while it works, and comes back on either database, whole."""

import json
import subprocess
import sys
import zipfile
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from gradation.errors import Conflict
from gradation.models import Certificate, LedgerEntry, Maintenance, Sample, User, Weighing
from gradation.services import backup, clock
from gradation.services.archive_file import manifest_of
from gradation.services.people import system_account
from tests import factories, tables
from tests.load.served import variables
from tests.tampering import guards_lifted

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def laboratory(transactional_db):
    """Let a laboratory have a sample with a certificate."""
    factories.make_laboratory()
    sample = factories.make_sample()
    factories.make_certificate(sample)
    return sample


def kept(tmp_path, name="kept.zip"):
    path = tmp_path / name
    backup.make_backup(actor=system_account(), path=path)
    return path


def manage(database_url, *arguments):
    """Run a command as another installation, on another database."""
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT, env=variables(database_url, 8160, 1), capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.fixture(params=["sqlite", "postgres"])
def elsewhere(request, tmp_path):
    """Give an empty database of each kind."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'elsewhere.sqlite3'}"
    return request.getfixturevalue("fresh_postgres")


@pytest.fixture
def elsewhere_ready(elsewhere):
    """Give a database of each kind that has its tables: making them is shown by the first test."""
    tables.put_at(elsewhere)
    return elsewhere


@pytest.fixture
def fresh_postgres(postgres_url):
    """Empty the database that this session shares."""
    import psycopg

    address = postgres_url
    home = address.split("@/")[1].rsplit("/", 1)[0]
    with psycopg.connect(f"host={home} user=gradation dbname=gradation", autocommit=True) as there:
        there.execute("DROP SCHEMA public CASCADE")
        there.execute("CREATE SCHEMA public")
    return address


def test_r91_g7_what_is_kept_comes_back_on_either_database(laboratory, tmp_path, elsewhere):
    path = kept(tmp_path)
    if connection.vendor == "postgresql":  # on either kind, from nothing, in the other pass
        tables.put_at(elsewhere)

    done = manage(elsewhere, "restore", str(path))
    again = manage(elsewhere, "backup", str(tmp_path / "again.zip"))

    assert done.returncode == 0, done.stderr
    assert again.returncode == 0, again.stderr
    first, second = manifest_of(path), manifest_of(tmp_path / "again.zip")
    written_since = {"gradation.LedgerEntry", "gradation.ChainHead", "gradation.Maintenance"}
    same = {label for label in first.tables if first.tables[label] == second.tables.get(label)}
    assert set(first.tables) - same <= written_since
    assert second.tables["gradation.Maintenance"].rows == 1  # the restore itself
    assert first.tables["gradation.Certificate"].rows == 1
    for label, last in first.sequences.items():
        assert second.sequences[label] >= last, label


def test_f09_a_counter_of_keys_goes_on_after_the_newest_key_that_was_ever_given(
    laboratory, tmp_path, elsewhere_ready
):
    gone = factories.make_customer()
    with guards_lifted():
        gone.delete()
    last = manifest_of(kept(tmp_path)).sequences["gradation.Customer"]

    manage(elsewhere_ready, "restore", str(tmp_path / "kept.zip"))
    code = "from gradation.models import Customer; print(Customer.objects.create(name='Next').pk)"
    next_key = manage(elsewhere_ready, "shell", "--no-imports", "-c", code)

    assert int(next_key.stdout) == last + 1, next_key.stderr


def test_r91_records_that_did_not_hold_when_kept_are_not_called_restored(laboratory, tmp_path):
    run = factories.make_weighed_run()
    certificate = factories.make_certificate()
    with guards_lifted():
        Weighing.objects.filter(run=run, position=1).update(mass_g="99")
        Certificate.objects.filter(pk=certificate.pk).update(pdf=b"%PDF-1.7 another")
    path, there = kept(tmp_path), f"sqlite:///{tmp_path / 'there.sqlite3'}"
    tables.put_at(there)

    done = manage(there, "restore", "--quiet", str(path))

    assert done.returncode == 1, done.stdout
    assert "the records do not hold" in done.stderr
    assert f"certificate {certificate.number}: its file is not the one that was" in done.stderr
    assert "mass_g differs from what its entries say" in done.stderr


def test_nothing_is_restored_into_a_database_that_is_in_use(laboratory, tmp_path):
    path = kept(tmp_path)
    before = LedgerEntry.objects.count()

    with pytest.raises(Conflict, match="not empty"):
        backup.restore_backup(path=path)

    assert LedgerEntry.objects.count() == before


def test_a_damaged_archive_is_refused_by_table(laboratory, tmp_path):
    path, damaged = kept(tmp_path), tmp_path / "damaged.zip"
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(damaged, "w") as new:
        for name in old.namelist():
            rows = old.read(name)
            is_sample = name == "tables/gradation.Sample.jsonl"
            new.writestr(name, rows.replace(b"bag", b"bad") if is_sample else rows)

    with pytest.raises(Conflict, match=r"damaged: gradation\.Sample"):
        backup.restore_backup(path=damaged)


def test_an_archive_is_never_overwritten(laboratory, tmp_path):
    path = kept(tmp_path)

    with pytest.raises(Conflict, match="exists"):
        backup.make_backup(actor=system_account(), path=path)


def test_a_backup_is_recorded_with_its_digest_and_holds_no_session(laboratory, tmp_path, client):
    client.force_login(factories.technician())
    path = kept(tmp_path)

    done = Maintenance.objects.get(kind="backup")
    entry = LedgerEntry.objects.get(action="backup done")
    assert entry.after["archive_sha256"] == done.archive_sha256
    assert "sessions.Session" not in manifest_of(path).tables
    assert "secret_key" not in json.dumps(zipfile.ZipFile(path).namelist())


def test_an_archive_shows_one_moment_whatever_is_written_meanwhile(
    laboratory, tmp_path, monkeypatch
):
    from gradation.services import archive_writing

    lines_of, samples = archive_writing.lines_of, Sample.objects.count()

    def writing_meanwhile(model, alias):
        if model.__name__ == "LedgerEntry":
            factories.make_sample()
        return lines_of(model, alias)

    monkeypatch.setattr(archive_writing, "lines_of", writing_meanwhile)
    path = kept(tmp_path)

    assert manifest_of(path).tables["gradation.Sample"].rows == samples
    assert Sample.objects.count() == samples + 1


def test_keys_are_kept_apart_or_not_at_all(laboratory, tmp_path):
    with pytest.raises(CommandError, match="no longer apart"):
        call_command("backup", tmp_path / "a.zip", keys=tmp_path / "keys.json")

    (tmp_path / "apart").mkdir()
    keys = tmp_path / "apart" / "keys.json"
    call_command("backup", tmp_path / "b.zip", keys=keys)

    assert json.loads(keys.read_text())["secret_key"]
    assert keys.stat().st_mode & 0o077 == 0


def test_masses_and_moments_come_back_to_the_last_figure(laboratory, tmp_path):
    path = kept(tmp_path)
    with zipfile.ZipFile(path) as archive:
        rows = archive.read("tables/gradation.Sample.jsonl").decode().splitlines()

    sample = Sample.objects.get(pk=laboratory.pk)
    assert sample.received_at.isoformat() in rows[0]
    if sample.mass_received_g is not None:
        assert f'"{Decimal(sample.mass_received_g)}"' in rows[0]
    assert len(rows) == Sample.objects.count()
    assert connection.vendor == manifest_of(path).database
    assert User.objects.exists()
    assert clock.now().isoformat() > manifest_of(path).made_at
