"""The health addresses tell a proxy whom to give work."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.django_db
def test_ready_when_the_database_answers(client):
    answer = client.get("/health/ready")

    assert (answer.status_code, answer.json()) == (200, {"status": "ready"})


def test_alive_without_asking_the_database(client):
    answer = client.get("/health/live")

    assert (answer.status_code, answer.json()) == (200, {"status": "alive"})


def test_not_ready_while_the_database_is_away():
    code = (
        "import django; django.setup();"
        "from django.test import Client;"
        "print(Client().get('/health/ready', secure=True).status_code)"
    )

    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False,
        env={
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "labsite.settings.test",
            "TEST_DATABASE_URL": "postgres://gradation@//nowhere/at-all/gradation",
        },
    )  # fmt: skip

    assert done.stdout.strip() == "503", done.stderr
