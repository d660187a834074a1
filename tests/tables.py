"""The tables of a fresh installation, made once for each state of the code and copied from then on.

Making them migration by migration takes half a minute of a processor, and nearly every test needs
no more than that they are there. What is about the making (an upgrade, a restore into nothing, the
demo) makes them itself.

`python -m tests.tables sqlite|postgres` makes them ahead. They are kept under a digest of all that
decides how they look, and a file gets its name only when it is whole: an old one or half of one is
never taken.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from labsite.bootstrap import postgres

ROOT = Path(__file__).resolve().parents[1]
KEPT = ROOT / ".pytest_cache" / "tables"
#: What decides about the tables and about what the migrations and their signals enter.
DECIDING = (
    "gradation/migrations", "gradation/models", "gradation/apps.py", "gradation/policy.py",
    "gradation/language.py", "labsite/settings", "requirements.lock", "tests/tables.py",
)  # fmt: skip
#: Each is made from the one before it, so that every migration runs once.
EARLIER = {"": "0003", "0003": "0002"}


def put_into(database: Mapping[str, object], release: str = "") -> None:
    """Put the tables into an empty database, described as in Django's settings.

    Where PostgreSQL's own programs cannot do it the database stays empty, for `migrate` to fill.

    Parameters
    ----------
    database : engine, name and the way to it
    release : the number of the migration after which to stop; empty means all of them
    """
    if str(database["ENGINE"]).endswith("sqlite3"):
        shutil.copyfile(kept("sqlite", release), str(database["NAME"]))
        return
    if postgres.binaries() is None:
        return
    options = {"-h": "HOST", "-p": "PORT", "-U": "USER", "-d": "NAME"}
    told = [f"{option}{database[name]}" for option, name in options.items() if database.get(name)]
    loading = ["--no-psqlrc", "--quiet", "--single-transaction", "--set", "ON_ERROR_STOP=1"]
    subprocess.run(
        [_program("psql"), *told, *loading, "--file", str(kept("postgres", release))],
        env={**os.environ, "PGPASSWORD": str(database.get("PASSWORD") or "")},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        check=bool(release),  # nothing else would bring an earlier release
    )  # fmt: skip


def put_at(url: str, release: str = "") -> None:
    """Put the tables into the empty database at an address."""
    import environ

    put_into(environ.Env.db_url_config(url), release)


@contextlib.contextmanager
def apart(release: str, folder: Path) -> Iterator[None]:
    """Let the block work in a database of its own that has the tables of an earlier release."""
    from django.db import connection

    home = connection.settings_dict["NAME"]
    other = str(folder / "apart.sqlite3") if connection.vendor == "sqlite" else f"{home}_apart"
    _ask_server(connection, f'CREATE DATABASE "{other}"')
    put_into({**connection.settings_dict, "NAME": other}, release)
    connection.close()
    connection.settings_dict["NAME"] = other
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict["NAME"] = home
        _ask_server(connection, f'DROP DATABASE "{other}"')


def _ask_server(connection: Any, statement: str) -> None:
    """Make or drop a database where a server keeps them; a file needs no asking."""
    if connection.vendor != "sqlite":
        with connection._nodb_cursor() as cursor:
            cursor.execute(statement)


def kept(kind: str, release: str = "") -> Path:
    """Give the file to copy from; make it if this state of the code has none yet."""
    file = KEPT / f"{_digest(kind)}.{release or 'newest'}.{kind}"
    if not file.exists():
        KEPT.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=KEPT) as folder:
            made = Path(folder) / "made"
            make = _make_sqlite if kind == "sqlite" else _make_postgres
            make(made, release)
            made.replace(file)
    return file


@functools.cache
def _digest(kind: str) -> str:
    engine = sqlite3.sqlite_version if kind == "sqlite" else str(postgres.binaries())
    digest = hashlib.sha256(f"{sys.version}\n{engine}\n".encode())
    for name in DECIDING:
        place = ROOT / name
        for file in sorted(place.rglob("*.py")) if place.is_dir() else [place]:
            digest.update(f"{file.relative_to(ROOT)}\n".encode())
            digest.update(hashlib.sha256(file.read_bytes()).digest())
    return digest.hexdigest()[:32]


def _make_sqlite(file: Path, release: str) -> None:
    _migrate(f"sqlite:///{file}", release)
    with contextlib.closing(sqlite3.connect(file)) as there:
        there.execute("PRAGMA journal_mode=DELETE")  # all of it in the one file


def _make_postgres(file: Path, release: str) -> None:
    with postgres.throwaway_cluster() as cluster:
        _migrate(cluster.url, release)
        database = ["-h", str(cluster.directory), "-U", "gradation", "gradation"]
        dumping = ["--no-owner", "--no-privileges", "--file", str(file)]
        subprocess.run([_program("pg_dump"), *dumping, *database], check=True)


def _migrate(url: str, release: str) -> None:
    from tests.load import served

    if release in EARLIER:
        put_at(url, EARLIER[release])
    up_to = ["gradation", release] if release else []
    command = [sys.executable, "manage.py", "migrate", *up_to, "--verbosity", "0"]
    subprocess.run(command, cwd=ROOT, env=served.variables(url, 0, 1), check=True)


def _program(name: str) -> str:
    return str((postgres.binaries() or Path()) / name)


if __name__ == "__main__":
    kept(sys.argv[1])
