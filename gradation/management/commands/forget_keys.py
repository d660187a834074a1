"""Forgets the answers of the interface that are older than 30 days."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from gradation.services.interface_keys import forget_old_keys


class Command(BaseCommand):
    """Forget old keys of requests; `deliver` does it by itself once an hour."""

    help = "Forget keys of requests, and their answers, after 30 days. `deliver` does so hourly."

    def handle(self, *args: Any, **options: Any) -> None:
        """Forget them."""
        self.stdout.write(f"{forget_old_keys()} keys forgotten.")
