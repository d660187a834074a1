"""`python3 manage.py test`: the whole suite, on both databases and in a real browser."""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from labsite.bootstrap import environment, postgres, system
from labsite.bootstrap.refusal import CannotGoOn

LOCKS = ["requirements.lock", "tests/requirements.lock"]
SLOWEST = ("--durations=40", "--durations-min=2")  # so that a slow test is seen while it is new
NOTHING_COLLECTED = 5  # pytest's exit code when the selection is empty
MEMORY, MEMORY_BYTES = Path("/dev/shm"), 2_000_000_000  # noqa: S108 - a folder of our own in it
LOAD = "tests/load"  # where the load tests are: the other thousands need not be read to leave them
BROWSERS = ("chromium", "chromium-browser", "google-chrome")


@dataclass(frozen=True)
class Part:
    """A program that some tests need, and the Debian package that brings it."""

    name: str
    package: str
    is_here: Callable[[], bool]


@dataclass(frozen=True)
class Pass:
    """One call of pytest: which tests, against which database."""

    title: str
    selection: str
    is_on_postgres: bool = False
    is_alone: bool = False
    folder: str = ""


PARTS = (
    Part("PostgreSQL", "postgresql", lambda: postgres.binaries() is not None),
    Part("Chromium", "chromium", lambda: any(map(shutil.which, BROWSERS))),
    Part("pdftoppm", "poppler-utils", lambda: shutil.which("pdftoppm") is not None),
)
PASSES = (
    Pass("all tests, on SQLite", "not load and not postgres_only"),
    Pass("load tests, on SQLite", "load and not postgres_only", is_alone=True, folder=LOAD),
    Pass("all tests that touch the database, on PostgreSQL", "database and not load", True),
    Pass("load tests, on PostgreSQL", "load and database", True, is_alone=True, folder=LOAD),
)


def run(root: Path, arguments: list[str]) -> int:
    """Run every pass and return an exit code that is 0 only if all of them passed.

    Parameters
    ----------
    root : the project's directory
    arguments : handed on to pytest; they narrow every pass
    """
    # A runner that loses patience sends SIGTERM: leave by the usual way, so that the cluster stops.
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(128 + number))
    system.provide_libraries(also=environment.missing_packages(root))
    missing = _provide_parts()
    python = environment.provide(root, LOCKS)
    with tempfile.TemporaryDirectory(prefix="gradation-skips-") as folder:
        skips = Path(folder) / "skips.txt"
        passes = [each for each in PASSES if not (each.is_on_postgres and "PostgreSQL" in missing)]
        _make_tables(root, python, passes)
        codes = [_run_pass(root, python, each, arguments, skips) for each in passes]
        return _verdict(codes, missing, _read_lines(skips))


def _provide_parts() -> list[str]:
    """Install what the tests need; return the names of what could not be had."""
    absent = [part for part in PARTS if not part.is_here()]
    if absent and system.can_install():
        with contextlib.suppress(CannotGoOn):
            system.provide_packages(
                [part.package for part in absent], purpose="for the tests", elsewhere=""
            )
    return [part.name for part in PARTS if not part.is_here()]


def _make_tables(root: Path, python: Path, passes: list[Pass]) -> None:
    """Have the tables that the tests copy made ahead, for both databases at the same time."""
    kinds = sorted({"postgres" if each.is_on_postgres else "sqlite" for each in passes})
    command = [str(python), "-m", "tests.tables"]
    made = [subprocess.Popen([*command, kind], cwd=root, env=_variables()) for kind in kinds]
    codes = [each.wait() for each in made]
    if any(codes):
        print("The tables could not be made ahead; the tests try again and tell why.")


def _variables() -> dict[str, str]:
    """Give the environment: hundreds of processes read this code, and compile it once for all."""
    return {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}


def _run_pass(root: Path, python: Path, each: Pass, arguments: list[str], skips: Path) -> int:
    """Run pytest once and return its exit code."""
    rest, own_selection = _take_selection(arguments)
    selection = f"({own_selection}) and {each.selection}" if own_selection else each.selection
    workers = ["-n", "0"] if each.is_alone else _workers(rest)
    print(f"\n=== {each.title} ===", flush=True)
    with _database(each) as database_url, _memory() as folder:
        variables = {
            **_variables(),
            "GRADATION_TEST_FOLDER": folder,
            "DJANGO_SETTINGS_MODULE": "labsite.settings.test",
            "TEST_DATABASE_URL": database_url,
            "GRADATION_TEST_SKIPS": str(skips),
        }
        where = rest or ([each.folder] if each.folder else [])
        command = [str(python), "-m", "pytest", *workers, "-m", selection, *SLOWEST, *where]
        return subprocess.run(command, cwd=root, env=variables, check=False).returncode


def _take_selection(arguments: list[str]) -> tuple[list[str], str]:
    """Split a person's own `-m EXPRESSION` from the other arguments: pytest heeds only one."""
    if "-m" not in arguments[:-1]:
        return arguments, ""
    place = arguments.index("-m")
    return arguments[:place] + arguments[place + 2 :], arguments[place + 1]


def _workers(arguments: list[str]) -> list[str]:
    """Use every processor, unless the person said how many or wants to debug."""
    told = any(argument.startswith(("-n", "--numprocesses", "--pdb")) for argument in arguments)
    return [] if told else ["-n", "auto"]


@contextlib.contextmanager
def _database(each: Pass) -> Iterator[str]:
    """Give the address of the pass's database; empty means SQLite."""
    if not each.is_on_postgres:
        yield ""
        return
    with postgres.throwaway_cluster(durable=each.is_alone) as cluster:
        yield cluster.url


@contextlib.contextmanager
def _memory() -> Iterator[str]:
    """Give a folder in memory for SQLite's files, where there is room: a sync costs nothing there.

    What is measured under load, and the drills of crashes, have databases of their own on a disk.
    """
    is_roomy = MEMORY.is_dir() and shutil.disk_usage(MEMORY).free >= MEMORY_BYTES
    place = MEMORY if is_roomy and os.access(MEMORY, os.W_OK) else None
    with tempfile.TemporaryDirectory(prefix="gradation-tests-", dir=place) as folder:
        yield folder


def _verdict(codes: list[int], missing: list[str], skips: list[str]) -> int:
    """Say what was not tested and return the exit code of the whole."""
    failures = [code for code in codes if code not in (0, NOTHING_COLLECTED)]
    if missing or skips:
        print("\nNot tested:")
    for name in missing:
        print(f"  everything that needs {name}, which is not on this machine")
    for line in skips:
        print(f"  {line}")
    if failures:
        return failures[0]
    if missing and os.environ.get("CI") == "true":
        print("CI=true: a missing part is a failure.")
        return 1
    return 0 if 0 in codes else NOTHING_COLLECTED


def _read_lines(file: Path) -> list[str]:
    """Return each line once, in order."""
    if not file.exists():
        return []
    return list(dict.fromkeys(file.read_text(encoding="utf-8").splitlines()))
