"""Seals the records; meant to be run once a day by the machine's own timer."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from gradation.errors import Refusal
from gradation.queries.seals import anchor_of, seal_words
from gradation.services.people import system_account
from gradation.services.seals import Occasion, seal_now, send_seal


class Command(BaseCommand):
    """Seal the records and keep a copy of the seal outside the database."""

    help = (
        "Bind all chains of the ledger into one seal. Keep the line it writes outside this "
        "installation: with it verify_records finds a cut or rewritten history."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Ask where the seal goes."""
        parser.add_argument("--export", metavar="FILE", help="add the seal to this file as a line")
        parser.add_argument("--mail", metavar="ADDRESS", help="send the seal to this address")

    def handle(self, *args: Any, **options: Any) -> None:
        """Seal, and hand the seal out."""
        actor = system_account()
        try:
            seal = seal_now(actor=actor, occasion=Occasion.DAILY)
            if options["mail"]:
                send_seal(actor=actor, seal=seal, address=options["mail"])
        except Refusal as refusal:
            raise CommandError(refusal.message) from refusal
        line = anchor_of(seal).to_json()
        if options["export"]:
            _add_line(Path(options["export"]), line)
        self.stdout.write(f"{seal_words(seal)}.")
        self.stdout.write(line)


def _add_line(file: Path, line: str) -> None:
    try:
        with file.open("a", encoding="utf-8") as out:
            out.write(f"{line}\n")
    except OSError as error:
        msg = f"The seal was made, but {file} cannot be written: {error.strerror}."
        raise CommandError(msg) from error
