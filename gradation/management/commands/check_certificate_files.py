"""Look through every issued file: `manage.py check_certificate_files`, for a nightly timer."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand

from gradation.queries.certificate_files import file_faults, issued_count

BROKEN = 1


class Command(BaseCommand):
    """Names each certificate whose file, content or signature is not the one of its issue."""

    help = "Checks that every issued certificate has its file, unaltered; exits with 1 if not."

    def handle(self, *args: Any, **options: Any) -> None:
        """Print one line per fault on standard error, and how many were looked at."""
        faults = list(file_faults())
        for fault in faults:
            self.stderr.write(f"{fault.number}: {fault.says}")
        self.stdout.write(f"{issued_count()} issued certificates, {len(faults)} faults.")
        if faults:
            sys.exit(BROKEN)
