"""Takes an archive into an empty database of either kind, and proves that all of it is there."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from gradation.errors import Refusal
from gradation.management.progress import ProgressBar
from gradation.services.backup import restore_backup


class Command(BaseCommand):
    """Restore an archive; nothing is written into a database that is in use."""

    help = (
        "Takes an archive into an empty database, SQLite or PostgreSQL, compares every row, and "
        "proves the records as verify_records does. Ends with 1 where anything does not hold."
    )
    requires_system_checks: tuple[str, ...] = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options of the command."""
        parser.add_argument("archive", type=Path)
        parser.add_argument("--quiet", action="store_true", help="show no progress")

    def handle(self, *, archive: Path, **options: Any) -> None:
        """Restore and say what came back."""
        bar = ProgressBar(self, is_shown=not options["quiet"])
        try:
            restored = restore_backup(path=archive, told=bar.told)
        except Refusal as refusal:
            raise CommandError(refusal.message) from refusal
        finally:
            bar.clear()
        manifest = restored.manifest
        self.stdout.write(
            f"{manifest.rows} rows of {len(manifest.tables)} tables are back as they were on "
            f"{manifest.made_at}; all counts, values, {manifest.chains.rows} ends of chains and "
            f"counters of keys agree. Looked at: {bar.summary()}. Everything holds."
        )
