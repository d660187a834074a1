"""A short soak of the bench in every run of the tests: nothing lost, nothing doubled."""

import os
import subprocess
import sys

import pytest

from tests.load.served import ROOT

pytestmark = pytest.mark.database  # on the database of this pass, which the script makes itself


def test_every_acknowledged_reading_is_kept_once_though_workers_are_killed():
    kind = "postgres" if os.environ.get("TEST_DATABASE_URL") else "sqlite"
    command = [sys.executable, "-m", "tests.load.bench_soak", "--database", kind]
    asked = ["--benches", "4", "--runs", "1", "--kill-every", "3"]

    done = subprocess.run([*command, *asked], cwd=ROOT, capture_output=True, text=True, check=False)

    assert done.returncode == 0, done.stdout + done.stderr
    assert "68 readings acknowledged" in done.stdout  # 4 runs of 15 sieves, pan and dry mass
    assert " 0 workers killed" not in done.stdout
