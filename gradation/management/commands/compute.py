"""Compute a worksheet or a calculation: `manage.py compute FILE`, or `-` for standard input."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from collections import Counter
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from gradation.errors import Refusal
from gradation.science.computing import compute, schema_text
from gradation.science.errors import GradationError
from gradation.science.worksheet import Fault, WorksheetFaults
from gradation.services.recomputing import CannotRecompute, recomputed

FAULTY = 2
DIFFERS = 1


class Command(BaseCommand):
    """Prints the result as JSON; a bad worksheet or calculation prints its faults instead."""

    help = (
        "Computes a worksheet or a named calculation (JSON) and prints the result as JSON. "
        "--schema prints the JSON Schema that describes every key of both."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the name of the file, or the wish for the schema."""
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("file", metavar="FILE", nargs="?", help="file, or - for standard input")
        what.add_argument(
            "--certificate",
            metavar="FILE.pdf",
            help="compute a certificate again from the masses it carries; 1 if a figure differs",
        )
        what.add_argument("--schema", action="store_true", help="print the JSON Schema instead")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the result, or one line per fault on standard error and exit with 2."""
        if options["schema"]:
            self.stdout.write(schema_text())
            return
        if options["certificate"]:
            self._compute_again(Path(options["certificate"]))
            return
        try:
            result = compute(_read(options["file"]))
        except WorksheetFaults as refusal:
            self._refuse([str(fault) for fault in refusal.faults])
        except GradationError as refusal:
            self._refuse([f"$: {refusal}"])
        else:
            self.stdout.write(json.dumps(result, indent=2, ensure_ascii=False, allow_nan=False))

    def _compute_again(self, file: Path) -> None:
        """Say whether every printed figure of a certificate follows from its masses."""
        try:
            found = recomputed(file.read_bytes())
        except OSError as refusal:
            self._refuse([f"{file} cannot be read: {refusal.strerror}."])
        except (CannotRecompute, Refusal) as refusal:
            self._refuse([f"{file.name}: {refusal}"])
        else:
            for figure in found.faults:
                line = f"{figure.where}: printed {figure.printed}, computed {figure.computed}"
                self.stderr.write(line)
            follow = len(found.figures) - len(found.faults)
            told = f"{follow} of {len(found.figures)} figures follow from the masses in the file"
            self.stdout.write(f"Certificate {found.number}: {told}.")
            self.stdout.write(f"Its pages: {found.pages or 'as the data in the file print them'}.")
            if found.faults or found.pages.startswith("differ"):
                sys.exit(DIFFERS)

    def _refuse(self, lines: list[str]) -> None:
        """Name every fault and leave without a result."""
        for line in lines:
            self.stderr.write(" ".join(line.split()))
        sys.exit(FAULTY)


def _read(name: str) -> object:
    """The file as plain data, its numbers exactly as written."""
    try:
        text = sys.stdin.read() if name == "-" else Path(name).read_text(encoding="utf-8")
        data = json.loads(
            text.removeprefix("\ufeff"),
            parse_float=Decimal,
            parse_constant=_no_number,
            object_pairs_hook=_Object,
        )
    except OSError as refusal:
        raise GradationError(f"{name} cannot be read: {refusal.strerror}.") from refusal
    except GradationError:
        raise
    except UnicodeDecodeError as refusal:
        raise GradationError(f"{name} is not UTF-8 text.") from refusal
    except (ValueError, RecursionError) as refusal:
        raise GradationError(f"This is not JSON: {refusal}.") from refusal
    faults = list(_repeated(data))
    if faults:
        raise WorksheetFaults(faults)
    return data


class _Object(dict[str, object]):
    """A JSON object that remembers the fields that stood in it more than once."""

    def __init__(self, pairs: list[tuple[str, object]]) -> None:
        super().__init__(pairs)
        counts = Counter(name for name, _ in pairs)
        self.repeated = [name for name, times in counts.items() if times > 1]


def _repeated(whole: object) -> Iterator[Fault]:
    """Every field given twice: which of two masses counts is for a person to say."""
    waiting = [("$", whole)]  # no recursion: the depth is the sender's choice
    while waiting:
        path, data = waiting.pop()
        if isinstance(data, _Object):
            for name in data.repeated:
                yield Fault(f"{path}.{name[:40]}", "stands here more than once; keep one.")
            waiting += [(f"{path}.{name[:40]}", value) for name, value in data.items()]
        elif isinstance(data, list):
            waiting += [(f"{path}[{number}]", value) for number, value in enumerate(data)]


def _no_number(word: str) -> object:
    """Refuse NaN and Infinity, which JSON does not have."""
    raise GradationError(f"{word} is not a number in JSON.")
