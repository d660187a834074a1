"""Brings the tables up to the program: looks first, makes an archive, then changes them."""

from __future__ import annotations

import shutil
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connection
from django.db.migrations.exceptions import InconsistentMigrationHistory
from django.db.migrations.executor import MigrationExecutor

from gradation.errors import Refusal
from gradation.models import Maintenance
from gradation.services import clock
from gradation.services.archive_writing import write_archive
from gradation.services.maintenance import note_maintenance
from gradation.services.people import system_account

#: Room that the archive, SQLite's copy of the moment, and the changed tables may take together.
TIMES_ITS_SIZE = 3
OURS = frozenset({"gradation", "auth", "contenttypes", "sessions"})


class Command(BaseCommand):
    """Upgrade the tables. Killed at any point, it goes on where it stopped when run again."""

    help = "Looks whether the database can be upgraded, makes an archive of it, then upgrades it."
    requires_system_checks: tuple[str, ...] = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options of the command."""
        parser.add_argument("--archive-to", type=Path, help="directory for the archive made first")
        parser.add_argument("--look", action="store_true", help="look only; change nothing")

    def handle(self, *, archive_to: Path | None, look: bool, **options: Any) -> None:
        """Look, keep, change, record."""
        pending = self._looked(archive_to)
        if not pending:
            self.stdout.write("The tables are up to date.")
            return
        self.stdout.write(f"{len(pending)} changes: {', '.join(pending)}")
        if look:
            return
        self._kept(archive_to)
        call_command("migrate", interactive=False, verbosity=0)
        done = Maintenance(kind=Maintenance.Kind.UPGRADE.value, told=", ".join(pending)[:400])
        note_maintenance(actor=system_account(), done=done)
        self.stdout.write("The tables are up to date now.")

    def _looked(self, archive_to: Path | None) -> list[str]:
        """Refuse what would fail halfway; give the changes that are due."""
        try:
            executor = MigrationExecutor(connection)
            executor.loader.check_consistent_history(connection)
        except (DatabaseError, InconsistentMigrationHistory) as error:
            raise CommandError(f"The database cannot be upgraded: {error}") from error
        _refuse_newer(executor)
        _refuse_damaged()
        if archive_to is not None:
            _refuse_full(archive_to)
        plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
        return [f"{migration.app_label}.{migration.name}" for migration, _ in plan]

    def _kept(self, archive_to: Path | None) -> None:
        """Make the archive that the way back needs; an empty database needs none."""
        if "gradation_ledgerentry" not in connection.introspection.table_names():
            return
        if archive_to is None:
            raise CommandError("Say where the archive goes first: --archive-to DIRECTORY")
        path = archive_to / f"before-upgrade-{clock.now():%Y%m%d-%H%M%S-%f}.zip"
        try:
            kept = write_archive(path)
        except (Refusal, OSError) as error:
            raise CommandError(f"No archive, no upgrade: {error}") from error
        self.stdout.write(f"Kept {kept.rows} rows in {path}")


def _refuse_newer(executor: MigrationExecutor) -> None:
    known = executor.loader.disk_migrations or {}
    strange = [
        f"{app}.{name}"
        for app, name in executor.loader.applied_migrations
        if app in OURS and (app, name) not in known
    ]
    if strange:
        raise CommandError(
            f"The database is of a newer program ({strange[0]}). Install that one, or restore the "
            "archive made before its upgrade."
        )


def _refuse_damaged() -> None:
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA quick_check(1)")
        told = cursor.fetchone()[0]
    if told != "ok":
        raise CommandError(f"The database file is damaged ({told}). Restore the newest archive.")


def _refuse_full(directory: Path) -> None:
    directory.mkdir(parents=True, exist_ok=True)
    if connection.vendor != "sqlite":
        return
    needed = TIMES_ITS_SIZE * Path(str(connection.settings_dict["NAME"])).stat().st_size
    free = shutil.disk_usage(directory).free
    if free < needed:
        raise CommandError(
            f"{directory} has room for {free >> 20} MB; {needed >> 20} MB may be needed. Make room."
        )
