"""An upgrade looks first, keeps an archive, and goes on where it was killed; on both databases."""

import subprocess
import sys
import time
from pathlib import Path

import pytest

from gradation.services.archive_file import manifest_of
from tests import tables
from tests.load.served import variables

ROOT = Path(__file__).resolve().parents[2]
BEFORE = "0003"  # a release that had no people's second factors, seals or archives
PUT_IN = "from gradation.models import Customer; print(Customer.objects.count())"


@pytest.fixture(params=["sqlite", "postgres"])
def old_installation(request, tmp_path):
    """Give the environment of an installation whose tables are those of an earlier release."""
    if request.param == "sqlite":
        url = f"sqlite:///{tmp_path / 'old.sqlite3'}"
    else:
        import psycopg

        url = request.getfixturevalue("postgres_url")
        home = url.split("@/")[1].rsplit("/", 1)[0]
        address = f"host={home} user=gradation dbname=gradation"
        with psycopg.connect(address, autocommit=True) as there:
            there.execute("DROP SCHEMA public CASCADE")
            there.execute("CREATE SCHEMA public")
    tables.put_at(url, release=BEFORE)
    return variables(url, 8161, 1)


def manage(given, *arguments):
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT, env=given, capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_r92_f10_an_upgrade_keeps_an_archive_of_the_old_tables_first(old_installation, tmp_path):
    looked = manage(old_installation, "upgrade", "--look")
    without = manage(old_installation, "upgrade")
    done = manage(old_installation, "upgrade", "--archive-to", str(tmp_path / "kept"))
    again = manage(old_installation, "upgrade")

    assert "gradation.0004" in looked.stdout, looked.stderr
    assert without.returncode == 1
    assert "--archive-to" in without.stderr
    assert done.returncode == 0, done.stderr
    (archive,) = (tmp_path / "kept").iterdir()
    newest = [name for app, name in manifest_of(archive).migrations if app == "gradation"][-1]
    assert newest.startswith(BEFORE)
    assert "up to date" in again.stdout


def test_f11_an_upgrade_that_is_killed_goes_on_when_it_is_run_again(old_installation, tmp_path):
    command = [sys.executable, "manage.py", "upgrade", "--archive-to", str(tmp_path / "kept")]
    for patience_s in (2.0, 4.0):
        process = subprocess.Popen(
            command, cwd=ROOT, env=old_installation,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        time.sleep(patience_s)  # somewhere on its way, as a power cut would
        process.kill()
        process.wait()

    done = manage(old_installation, "upgrade", "--archive-to", str(tmp_path / "kept"))
    used = manage(old_installation, "shell", "--no-imports", "-c", PUT_IN)

    assert done.returncode == 0, done.stderr
    assert used.stdout.strip() == "0", used.stderr
    assert "up to date" in manage(old_installation, "upgrade").stdout


@pytest.mark.sqlite_only
def test_f10_a_database_of_a_newer_program_is_left_alone(tmp_path):
    given = variables(f"sqlite:///{tmp_path / 'new.sqlite3'}", 8162, 1)
    tables.put_at(given["DATABASE_URL"])
    code = (
        "from django.db.migrations.recorder import MigrationRecorder as R;"
        "from django.db import connection;"
        "R(connection).record_applied('gradation', '9999_from_the_future')"
    )
    manage(given, "shell", "--no-imports", "-c", code)

    refused = manage(given, "upgrade")

    assert refused.returncode == 1
    assert "newer program" in refused.stderr
