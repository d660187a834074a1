"""Compute a worksheet or a calculation: `manage.py compute FILE`, or `-` for standard input."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from gradation.science.computing import compute, schema_text
from gradation.science.errors import GradationError
from gradation.science.worksheet import WorksheetFaults

FAULTY = 2


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
        what.add_argument("--schema", action="store_true", help="print the JSON Schema instead")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the result, or one line per fault on standard error and exit with 2."""
        if options["schema"]:
            self.stdout.write(schema_text())
            return
        try:
            result = compute(_read(options["file"]))
        except WorksheetFaults as refusal:
            self._refuse([str(fault) for fault in refusal.faults])
        except GradationError as refusal:
            self._refuse([f"$: {refusal}"])
        else:
            self.stdout.write(json.dumps(result, indent=2, ensure_ascii=False, allow_nan=False))

    def _refuse(self, lines: list[str]) -> None:
        """Name every fault and leave without a result."""
        for line in lines:
            self.stderr.write(" ".join(line.split()))
        sys.exit(FAULTY)


def _read(name: str) -> object:
    """The file as plain data, its numbers exactly as written."""
    try:
        text = sys.stdin.read() if name == "-" else Path(name).read_text(encoding="utf-8")
        return json.loads(text, parse_float=Decimal, parse_constant=_no_number)
    except OSError as refusal:
        raise GradationError(f"{name} cannot be read: {refusal.strerror}.") from refusal
    except GradationError:
        raise
    except UnicodeDecodeError as refusal:
        raise GradationError(f"{name} is not UTF-8 text.") from refusal
    except (ValueError, RecursionError) as refusal:
        raise GradationError(f"This is not JSON: {refusal}.") from refusal


def _no_number(word: str) -> object:
    """Refuse NaN and Infinity, which JSON does not have."""
    raise GradationError(f"{word} is not a number in JSON.")
