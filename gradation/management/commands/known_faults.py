"""Looks whether a locked library has a known fault; meant to be run by a timer."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from gradation.management.known_faults import (
    BrokenListError,
    Listed,
    Part,
    browser_parts,
    compare,
    locked_parts,
)
from gradation.services import clock

NO_LIST = 2  # exit status; 1 says that faults were found


class Command(BaseCommand):
    """Compare what is locked with a list of known faults; ends with 1 when one is found."""

    help = "Compares the locked libraries with lists of known faults in the form of OSV."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the lists and the options."""
        parser.add_argument(
            "lists", nargs="+", type=Path, help="records, folders of them, archives (all.zip)"
        )
        parser.add_argument(
            "--lock", action="append", type=Path, help="a lock file instead of requirements.lock"
        )
        parser.add_argument(
            "--days", type=int, default=7, help="refuse lists whose newest record is older; 7"
        )
        parser.add_argument(
            "--looked-at", action="append", default=[], metavar="ID",
            help="a fault that cannot be reached here: told, not counted",
        )  # fmt: skip

    def handle(self, *, lists: list[Path], looked_at: list[str], **options: Any) -> None:
        """Tell each fault with the version that mends it; refuse a list that tells too little."""
        parts = _parts(options["lock"] or [settings.BASE_DIR / "requirements.lock"])
        try:
            listed = compare(parts, lists)
        except BrokenListError as error:
            raise CommandError(str(error), returncode=NO_LIST) from error
        self._tell_list(listed, parts)
        _refuse_old(listed, options["days"])
        counted = 0
        for fault in listed.faults:
            is_looked_at = not set(fault.names).isdisjoint(looked_at)
            counted += not is_looked_at
            self.stdout.write(fault.words() + (", looked at" if is_looked_at else ""))
        if counted:
            raise CommandError(
                f"Known faults: {counted}. Renew the lock file, or say by --looked-at what cannot "
                "be reached here (docs/security.md, Libraries)."
            )
        self.stdout.write("No known fault.")

    def _tell_list(self, listed: Listed, parts: list[Part]) -> None:
        days = (clock.now() - listed.newest).days
        compared = [part for part in parts if part.ecosystem in listed.ecosystems]
        self.stdout.write(
            f"{listed.records} records, the newest of {listed.newest:%d %b %Y} ({days} days old); "
            f"{len(compared)} libraries compared."
        )
        missing = [f"{it.name} {it.version} ({it.ecosystem})" for it in parts if it not in compared]
        if not compared:
            raise CommandError(
                "The lists speak of none of the ecosystems used here.", returncode=NO_LIST
            )
        if missing:
            self.stdout.write(f"Not compared, no list of theirs was given: {', '.join(missing)}.")


def _parts(locks: list[Path]) -> list[Part]:
    try:
        parts = [part for lock in locks for part in locked_parts(lock.read_text("utf-8"))]
    except OSError as error:
        raise CommandError(f"The lock file cannot be read: {error}", returncode=NO_LIST) from error
    if not parts:
        raise CommandError("The lock file names no library.", returncode=NO_LIST)
    return [*parts, *browser_parts(settings.BASE_DIR / "static/vendor")]


def _refuse_old(listed: Listed, days: int) -> None:
    if clock.now() - listed.newest > timedelta(days=days):
        raise CommandError(
            f"The newest record is older than {days} days: what became known since is missing. "
            "Bring the list anew.",
            returncode=NO_LIST,
        )
