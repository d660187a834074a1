"""A PostgreSQL cluster of our own for the tests: made in a temporary directory, then gone."""

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from labsite.bootstrap import system
from labsite.bootstrap.refusal import CannotGoOn

DEBIAN_BINARIES = Path("/usr/lib/postgresql")
SETTINGS = (
    "listen_addresses=",  # reached through a socket in its own directory only
    "max_connections=200",
    "shared_buffers=128MB",
)
# Nothing here outlives the tests, so nothing waits for the disk; load tests measure, and do.
# Nor is a query of a few rows compiled: in tables that were never counted it looks like many.
CARELESS = ("fsync=off", "synchronous_commit=off", "full_page_writes=off", "jit=off")


@dataclass(frozen=True)
class Cluster:
    """A running throw-away cluster."""

    directory: Path

    @property
    def url(self) -> str:
        """The address for DATABASE_URL, through the socket, of a database that may be filled."""
        return f"postgres://gradation@/{self.directory}/gradation"


def binaries() -> Path | None:
    """Return the directory with initdb and pg_ctl, newest first, or None."""
    found = sorted(
        DEBIAN_BINARIES.glob("*/bin/initdb"), key=lambda file: float(file.parts[-3]), reverse=True
    )
    if found:
        return found[0].parent
    on_path = shutil.which("initdb")
    return Path(on_path).resolve().parent if on_path else None


@contextlib.contextmanager
def throwaway_cluster(*, durable: bool = False, more: tuple[str, ...] = ()) -> Iterator[Cluster]:
    """Run a cluster for the time of the block; stop and delete it whatever happens.

    Parameters
    ----------
    durable : wait for the disk at each commit, as a laboratory's server does
    more : further settings, which win over those that are usual here
    """
    programs = binaries()
    if programs is None:
        raise CannotGoOn("PostgreSQL's programs (initdb, pg_ctl) are not on this machine.")
    directory = Path(tempfile.mkdtemp(prefix="gradation-pg-"))
    try:
        usual = SETTINGS if durable else SETTINGS + CARELESS
        with _running(programs, directory, usual + more):
            yield Cluster(directory)
    finally:
        shutil.rmtree(directory, ignore_errors=True)


@contextlib.contextmanager
def _running(programs: Path, directory: Path, settings: tuple[str, ...]) -> Iterator[None]:
    owner = server_account()
    if owner:
        shutil.chown(directory, owner, _group_of(owner))
    data = directory / "data"
    options = " ".join(f'-c "{setting}"' for setting in settings)
    control = [str(programs / "pg_ctl"), "--pgdata", str(data), "--wait"]
    _run(
        [
            *(str(programs / "initdb"), "--pgdata", str(data), "--username", "gradation"),
            *("--auth", "trust", "--encoding", "UTF8", "--no-locale", "--no-sync"),
        ],
        owner,
    )
    log = str(directory / "server.log")
    socket = f'-k "{directory}"'
    port = dict(setting.split("=", 1) for setting in settings).get("port", "5432")
    _run([*control, "--log", log, "--options", f"{socket} {options}", "start"], owner)
    try:
        _run(
            [
                *(str(programs / "createdb"), "-h", str(directory), "-p", port),
                *("-U", "gradation", "gradation"),
            ],
            owner,
        )
        yield
    finally:
        _run([*control, "--mode", "immediate", "stop"], owner)


def server_account() -> str | None:
    """Return the account the server runs under: PostgreSQL refuses to run as root."""
    if not system.is_root():
        return None
    names = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in names else "nobody"


def _group_of(owner: str) -> int:
    return pwd.getpwnam(owner).pw_gid


def _run(command: list[str], owner: str | None) -> None:
    """Run one of PostgreSQL's programs, as its owner and far from root's directories."""
    identity = (
        {} if owner is None else {"user": owner, "group": _group_of(owner), "extra_groups": []}
    )
    environment = {key: value for key, value in os.environ.items() if not key.startswith("PG")}
    done = subprocess.run(
        command,
        cwd=tempfile.gettempdir(),
        env={**environment, "LC_ALL": "C"},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        **identity,  # type: ignore[call-overload] # mypy cannot see through the mapping
    )
    if done.returncode:
        raise CannotGoOn(f"PostgreSQL for the tests did not do '{command[0]}': {done.stderr}")
