"""The short forms of the kills and of the restore, in every run of the tests."""

import os
import subprocess
import sys

import pytest

from tests.load.served import ROOT

pytestmark = pytest.mark.database  # on the database of this pass, which the scripts make themselves
KIND = "postgres" if os.environ.get("TEST_DATABASE_URL") else "sqlite"


def script(name, *arguments):
    command = [sys.executable, "-m", f"tests.load.{name}", "--database", KIND, *arguments]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


def test_p08_p09_r37_g01_g06_f22_no_acknowledged_write_is_lost_though_workers_are_killed():
    done = script("kills", "--writes", "136", "--kills", "3")

    assert done.returncode == 0, done.stdout + done.stderr
    assert "3 workers killed" in done.stdout
    assert "faults: 0" in done.stdout


def test_f08_many_runs_are_kept_and_taken_back_whole():
    done = script("restore", "--runs", "100")

    assert done.returncode == 0, done.stdout + done.stderr
    assert "Everything holds." in done.stdout


def test_g02_no_number_is_given_twice_or_missing_though_who_issues_is_killed():
    done = script("numbers", "--issues", "3", "--kills", "2", "--processes", "2")

    assert done.returncode == 0, done.stdout + done.stderr
    assert "2 processes killed" in done.stdout
    assert "faults: 0" in done.stdout
