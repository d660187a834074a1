"""Finish certificates whose server stopped between signature and file: `finish_certificates`."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand

from gradation.errors import Refusal
from gradation.queries.signatures import signatures_without_file
from gradation.services.certify import finish_certificate

LEFT = 1


class Command(BaseCommand):
    """Draws and keeps the files of signed certificates, in the name of who signed them."""

    help = "Makes the files of certificates that were signed when a server stopped."

    def handle(self, *args: Any, **options: Any) -> None:
        """Finish each one; name those that cannot be finished."""
        left = 0
        for signature in signatures_without_file():
            try:
                finish_certificate(actor=signature.person, certificate=signature.certificate)
                self.stdout.write(f"{signature.number} is issued.")
            except Refusal as refusal:
                left += 1
                self.stderr.write(f"{signature.number}: {refusal}")
        if left:
            sys.exit(LEFT)
