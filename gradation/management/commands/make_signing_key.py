"""Make the laboratory's signing key: `manage.py make_signing_key FILE`."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from gradation.queries.laboratory import laboratory
from gradation.services.signing_keys import make_key_once


class Command(BaseCommand):
    """Makes a key with a certificate that it signs itself, in the laboratory's name."""

    help = (
        "Makes a signing key for certificates (P-256, ten years). Name the file in "
        "GRADATION_SIGNING_KEY_FILE and back it up apart from the database."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the file that is to be made."""
        parser.add_argument("file", metavar="FILE")

    def handle(self, *args: Any, file: str, **options: Any) -> None:
        """Make the file, for its owner's eyes only; one that is there is left as it is."""
        owner = laboratory()
        if owner is None:
            raise CommandError("Set the laboratory up first; the key bears its name.")
        if not make_key_once(Path(file), owner):
            raise CommandError(f"{file} is there already; it was left as it is.")
        self.stdout.write(f"{file} is made. It signs in the name of {owner.name}.")
