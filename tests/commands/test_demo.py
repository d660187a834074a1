"""`manage.py demo`, run in a copy of the project with a database of its own."""

import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STARTS_WITHIN_S = 60


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A copy of the project whose demo was started over once, which fills it."""
    home = tmp_path_factory.mktemp("demo")
    for name in ("gradation", "labsite", "static", "templates"):
        shutil.copytree(ROOT / name, home / name, ignore=shutil.ignore_patterns("__pycache__"))
    (home / "var").mkdir()
    with sqlite3.connect(home / "var" / "gradation.sqlite3") as database:
        database.execute("CREATE TABLE left_over (id)")
    done = _demo(home, "--fresh", "--yes", "--no-serve")
    assert done.returncode == 0, done.stderr
    return home


def _command(*arguments):
    return [sys.executable, "-m", "django", "demo", *arguments]


def _demo(home, *arguments):
    return subprocess.run(
        _command(*arguments), cwd=home, env=_variables(home),
        stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False,
    )  # fmt: skip


def _variables(home):
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "labsite.settings.development",
        "PYTHONPATH": str(home),
    }


def _samples(home):
    with sqlite3.connect(home / "var" / "gradation.sqlite3") as database:
        return database.execute("SELECT count(*) FROM gradation_sample").fetchone()[0]


@pytest.fixture
def free_port():
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return trial.getsockname()[1]


def test_the_demo_holds_about_forty_samples(home):
    assert _samples(home) >= 40


def test_starting_over_with_yes_leaves_nothing_of_what_was_there(home):
    with sqlite3.connect(home / "var" / "gradation.sqlite3") as database:
        tables = {row[0] for row in database.execute("SELECT name FROM sqlite_master")}

    assert "gradation_sample" in tables
    assert "left_over" not in tables


def test_the_database_is_written_ahead_and_its_key_is_for_the_owner_only(home):
    with sqlite3.connect(home / "var" / "gradation.sqlite3") as database:
        assert database.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert (home / "var" / "secret_key").stat().st_mode & 0o077 == 0


def test_run_twice_it_keeps_what_is_there(home):
    with sqlite3.connect(home / "var" / "gradation.sqlite3") as database:
        database.execute("UPDATE gradation_customer SET name = name || ' (kept)'")

    done = _demo(home, "--no-serve")

    assert done.returncode == 0, done.stderr
    with sqlite3.connect(home / "var" / "gradation.sqlite3") as database:
        names = [row[0] for row in database.execute("SELECT name FROM gradation_customer")]
    assert names
    assert all(name.endswith("(kept)") for name in names)


def test_starting_over_is_asked_for_and_without_an_answer_deletes_nothing(home):
    before = _samples(home)

    done = _demo(home, "--fresh", "--no-serve")

    assert done.returncode == 1
    assert "Nothing was deleted. Add --yes" in done.stderr
    assert "Traceback" not in done.stderr
    assert _samples(home) == before


def test_a_taken_port_is_told_in_a_sentence_with_another_to_try(home, free_port):
    with socket.socket() as other:
        other.bind(("127.0.0.1", free_port))
        other.listen()

        done = _demo(home, "--port", str(free_port))

    assert done.returncode == 1
    assert f"Port {free_port} cannot be used" in done.stderr
    assert f"--port {free_port + 1}" in done.stderr
    assert "Traceback" not in done.stderr


def test_it_serves_the_sign_in_page_and_a_second_demo_steps_back(home, free_port):
    server = subprocess.Popen(
        _command("--port", str(free_port)), cwd=home, env=_variables(home),
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    try:
        page = _first_answer(f"http://127.0.0.1:{free_port}/sign-in/", server)
        second = _demo(home, "--no-serve")
    finally:
        server.send_signal(signal.SIGTERM)
        told = server.communicate(timeout=30)[0]

    assert "<form" in page
    assert f"http://127.0.0.1:{free_port}/" in told
    for role in ("technician", "reviewer", "signatory"):
        assert role in told
    assert second.returncode == 1
    assert "running already" in second.stderr


def _first_answer(url, server):
    deadline = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < deadline and server.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=5) as answer:
                return answer.read().decode()
        except ConnectionError:
            time.sleep(0.1)  # there is no event to wait for before the first answer
        except urllib.error.URLError as error:
            if not isinstance(error.reason, ConnectionError):
                raise
            time.sleep(0.1)
    server.terminate()
    pytest.fail(f"nothing was served: {server.communicate()[0]}")
