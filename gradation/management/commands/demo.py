"""`python3 manage.py demo`: the whole laboratory on this machine, ready to look at."""

import contextlib
import os
import socket
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from django.conf import settings
from django.core.management import CommandError, call_command
from django.core.management.base import BaseCommand
from django.db import connection, transaction

from gradation.management import demo_scenario

HOST = "127.0.0.1"
LAST_PORT = 65_535
THREADS = 4  # one process writes SQLite; its threads queue behind one another's transactions


class Command(BaseCommand):
    """Keeps what is there when run again; `--fresh` starts over."""

    help = "Fills an embedded database with a fictional laboratory and serves it."
    requires_system_checks: tuple[str, ...] = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options of the command."""
        parser.add_argument("--port", type=int, default=8000, help="where to serve (8000)")
        parser.add_argument("--fresh", action="store_true", help="delete the demo and start over")
        parser.add_argument("--yes", action="store_true", help="with --fresh: do not ask")
        parser.add_argument("--no-serve", action="store_true", help="stop before serving")

    def handle(self, *, port: int, fresh: bool, yes: bool, no_serve: bool, **_: object) -> None:
        """Prepare the database and serve it until Ctrl-C."""
        database = _database_file()
        with _sole_user_of(database) as lock:
            if not no_serve:
                _refuse_taken(port)
            settings.BASE_URL = f"http://{HOST}:{port}"  # frozen into each certificate's code
            os.environ["GRADATION_DEMO_URL"] = settings.BASE_URL
            if fresh:
                self._start_over(database, asks=not yes)
            self._fill()
            if no_serve:
                self.stdout.write("The demo is ready. Serve it with: python3 manage.py demo")
                return
            self._tell(port)
            self.stdout.flush()
            os.set_inheritable(lock.fileno(), True)  # the server goes on holding the lock
            _become_server(port)

    def _start_over(self, database: Path, *, asks: bool) -> None:
        """Delete the database, after asking."""
        if asks and database.exists():
            self.stdout.write(f"This deletes {database} with everything entered in the demo.")
            if not sys.stdin.isatty() or input("Type yes to go on: ").strip().lower() != "yes":
                raise CommandError("Nothing was deleted. Add --yes to delete without being asked.")
        connection.close()
        for suffix in ("", "-wal", "-shm"):
            database.with_name(database.name + suffix).unlink(missing_ok=True)

    def _fill(self) -> None:
        """Bring the tables up to date and load the scenario if it is not there yet."""
        call_command("migrate", interactive=False, verbosity=0)
        if demo_scenario.is_loaded():
            return
        self.stdout.write("Filling the demo laboratory (a minute, once) ...")
        self.stdout.flush()
        with transaction.atomic():  # all of it or nothing, so that a stopped start is no harm
            demo_scenario.load_scenario()

    def _tell(self, port: int) -> None:
        """Print where to go and who can sign in."""
        self.stdout.write(f"\nGradation is at  http://{HOST}:{port}/\n\nSign in as")
        for sign_in in demo_scenario.SIGN_INS:
            self.stdout.write(f"  {sign_in.role:<20} {sign_in.username:<20} {sign_in.password}")
        self.stdout.write("\nStop with Ctrl-C. What you enter is kept for the next start.\n")


def _database_file() -> Path:
    """Return the embedded database's file; the demo fills no other kind of database."""
    if connection.vendor != "sqlite":
        raise CommandError(
            "The demo fills the embedded SQLite database only. Unset DJANGO_SETTINGS_MODULE and "
            "DATABASE_URL, then start again."
        )
    file = Path(str(connection.settings_dict["NAME"]))
    file.parent.mkdir(parents=True, exist_ok=True)
    return file


@contextlib.contextmanager
def _sole_user_of(database: Path) -> Iterator[TextIO]:
    """Hold the demo's lock: two of them writing one SQLite file could damage it."""
    with database.with_name(f"{database.name}.lock").open("a") as lock:
        if not _locks(lock):
            raise CommandError(
                "The demo is running already, in another window. Use that one, or stop it first."
            )
        yield lock


def _locks(lock: TextIO) -> bool:
    try:
        import fcntl
    except ImportError:  # Windows: the taken port is the only guard there
        return True
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _refuse_taken(port: int) -> None:
    """Say so at once when the port cannot be had."""
    if not 0 < port <= LAST_PORT:
        raise CommandError(f"There is no port {port}. Choose one from 1 to {LAST_PORT}.")
    with socket.socket() as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((HOST, port))
        except OSError:
            raise CommandError(
                f"Port {port} cannot be used; another program probably has it. "
                f"Choose another: python3 manage.py demo --port {min(port + 1, LAST_PORT)}"
            ) from None


def _become_server(port: int) -> None:
    """Replace this process by gunicorn with one worker process."""
    connection.close()
    os.environ["GRADATION_DEMO_URL"] = f"http://{HOST}:{port}"
    os.execv(  # noqa: S606 - our own interpreter, our own arguments
        sys.executable,
        [
            *(sys.executable, "-m", "gunicorn", "labsite.wsgi", "--bind", f"{HOST}:{port}"),
            *("--workers", "1", "--threads", str(THREADS), "--worker-class", "gthread"),
            *("--log-level", "warning", "--chdir", str(settings.BASE_DIR)),
        ],
    )
