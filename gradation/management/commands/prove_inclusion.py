"""Proves that the records behind a sample or a certificate were sealed."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from gradation.errors import Refusal
from gradation.models import Certificate, Sample
from gradation.queries.seals import proof_of_chain


class Command(BaseCommand):
    """Write the proof that the newest entry of a sample is under a seal, as JSON."""

    help = "Write the proof that what is known of a sample or certificate is under a seal."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Ask for the sample or the certificate."""
        parser.add_argument("number", help="number of a sample or of a certificate")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the proof, or say that the records are not sealed yet."""
        number = options["number"]
        certificate = Certificate.objects.filter(number=number).select_related("sample").first()
        sample = certificate.sample if certificate else Sample.objects.filter(number=number).first()
        if sample is None:
            raise CommandError(f"There is no sample or certificate {number}. Check the number.")
        try:
            proof = proof_of_chain(f"sample/{sample.number}")
        except Refusal as refusal:
            raise CommandError(refusal.message) from refusal
        self.stdout.write(json.dumps(asdict(proof), indent=2))
