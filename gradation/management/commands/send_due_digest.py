"""Sends the keepers what is due; meant to be run once a day by the machine's own timer."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from gradation.errors import Refusal
from gradation.services.due_digest import send_due_digest
from gradation.services.people import system_account


class Command(BaseCommand):
    """Send each keeper the list of overdue and soon due equipment by e-mail."""

    help = "Send each keeper the list of overdue and soon due equipment by e-mail."

    def handle(self, *args: Any, **options: Any) -> None:
        """Send the lists and say what was sent."""
        try:
            digest = send_due_digest(actor=system_account())
        except Refusal as refusal:
            raise CommandError(refusal.message) from refusal
        people = ", ".join(digest.sent_to) or "nobody"
        self.stdout.write(f"{digest.items} items are due or overdue. Sent to: {people}.")
        if digest.untold:
            self.stdout.write(
                f"No address is known for: {', '.join(digest.untold)}. Give their keeper an e-mail "
                "address, or the role of equipment keeper to somebody who has one."
            )
