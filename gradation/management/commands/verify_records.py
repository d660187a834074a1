"""Proves the records: chains, seals, results, rows and files; names the first broken link."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import datetime, time
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime

from gradation.errors import Refusal
from gradation.management.progress import ProgressBar
from gradation.models import Sample
from gradation.queries.seals import Anchor, read_anchor
from gradation.queries.verification import Scope, verify

_MOST_NAMED = 50


class Command(BaseCommand):
    """Prove the records and end with 1 when something in them does not hold."""

    help = (
        "Follow every chain of the ledger, grow the tree of seals anew, compute results again, and "
        "compare rows and files with what was recorded. Ends with 1 when something does not hold."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Ask for what is to be proven."""
        parser.add_argument("--sample", help="only the records of this sample, by its number")
        parser.add_argument("--since", help="only what was written since this day or moment")
        parser.add_argument(
            "--anchor", action="append", default=[], metavar="FILE",
            help="a seal kept outside, as seal_records wrote it; may be given several times",
        )  # fmt: skip
        parser.add_argument(
            "--ledger-only", action="store_true",
            help="leave out what takes longest: results computed again, rows compared",
        )  # fmt: skip
        parser.add_argument("--quiet", action="store_true", help="show no progress")

    def handle(self, *args: Any, **options: Any) -> None:
        """Prove what was asked for and say what was found."""
        scope = Scope(
            sample=_sample(options["sample"]),
            since=_moment(options["since"]),
            anchors=tuple(each for name in options["anchor"] for each in _anchors(name)),
            with_figures=not options["ledger_only"],
        )
        bar = ProgressBar(self, is_shown=not options["quiet"])
        broken = 0
        for each in verify(scope, bar.told):
            bar.clear()
            broken += 1
            if broken <= _MOST_NAMED:
                first = "First broken link: " if broken == 1 else "Also broken: "
                self.stdout.write(f"{first}{each}")
        bar.clear()
        self.stdout.write(f"Looked at: {bar.summary()}.")
        if broken:
            msg = f"{broken} things do not hold. Keep this copy as it is and call for help."
            raise CommandError(msg, returncode=1)
        self.stdout.write("Everything holds.")


def _sample(number: str | None) -> Sample | None:
    if number is None:
        return None
    sample = Sample.objects.filter(number=number).first()
    if sample is None:
        raise CommandError(f"There is no sample {number}. Check the number.", returncode=2)
    return sample


def _moment(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        moment = parse_datetime(text) if len(text) > 10 else None
        day = parse_date(text) if moment is None else None
    except ValueError:
        moment = day = None
    if moment is None and day is not None:
        moment = datetime.combine(day, time())
    if moment is None:
        msg = f"'{text}' is no day. Write it as 2026-11-29, or 2026-11-29T08:00."
        raise CommandError(msg, returncode=2)
    return moment if timezone.is_aware(moment) else timezone.make_aware(moment)


def _anchors(name: str) -> list[Anchor]:
    try:
        return read_anchor(Path(name).read_text(encoding="utf-8"))
    except OSError as error:
        raise CommandError(f"{name} cannot be read: {error.strerror}.", returncode=2) from error
    except Refusal as refusal:
        raise CommandError(f"{name}: {refusal.message}", returncode=2) from refusal
