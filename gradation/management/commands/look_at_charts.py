"""Lays out imported results for charting and notes the points of control charts to answer."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from gradation.errors import Refusal
from gradation.services.control_charts import look_at_charts
from gradation.services.people import system_account
from gradation.services.result_figures import fill_figures


class Command(BaseCommand):
    """Fill the figures of results that have none, then look at all control charts."""

    help = (
        "Lay out results that came in by import for charting, then look at every control chart "
        "and note the points out of control that nobody has noted yet."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        """Fill, look, and say what was found."""
        try:
            filled = fill_figures()
            notes = look_at_charts(actor=system_account())
        except Refusal as refusal:
            raise CommandError(refusal.message) from refusal
        self.stdout.write(f"{filled} runs were laid out for charting.")
        self.stdout.write(f"{len(notes)} points wait for an answer that were not noted before.")
