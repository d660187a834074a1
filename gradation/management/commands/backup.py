"""Writes one verified archive of a running laboratory; meant to be run once a day by a timer."""

from __future__ import annotations

import json
import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from gradation.errors import Refusal
from gradation.services import clock
from gradation.services.backup import make_backup
from gradation.services.people import system_account


class Command(BaseCommand):
    """Write one verified archive; keys go into a file of their own, if asked for."""

    help = "Writes one archive of everything kept, while the laboratory works, and verifies it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options of the command."""
        parser.add_argument("archive", type=Path, help="a new file, or a directory for one")
        parser.add_argument("--keys", type=Path, help="also write the keys, to another place")

    def handle(self, *, archive: Path, keys: Path | None, **options: Any) -> None:
        """Write the archive and say what is in it."""
        path = (
            archive / f"gradation-{clock.now():%Y%m%d-%H%M%S}.zip" if archive.is_dir() else archive
        )
        if keys is not None and keys.resolve().parent == path.resolve().parent:
            raise CommandError("Keys beside the archive are no longer apart. Name another place.")
        try:
            done = make_backup(actor=system_account(), path=path)
        except (Refusal, OSError) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{path}: {done.rows} rows, {done.told}, SHA-256 {done.archive_sha256}")
        if keys is None:
            self.stdout.write("The keys are not in it. Keep GRADATION_SECRET_KEY apart from it.")
            return
        if keys.resolve().parent == path.resolve().parent:
            raise CommandError(
                "Keys beside the archive open it for whoever has both. Go elsewhere."
            )
        _write_keys(keys)
        self.stdout.write(f"{keys}: the keys. Keep them apart from the archive.")


def _write_keys(path: Path) -> None:
    kept = {"secret_key": settings.SECRET_KEY, "fallbacks": settings.SECRET_KEY_FALLBACKS}
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        json.dump(kept, file)
