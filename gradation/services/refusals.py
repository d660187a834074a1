"""Refusals that a person met: who tried what and was not let (ASVS 5.0, 16.3.2)."""

from __future__ import annotations

from django.db import transaction

from gradation.models import User
from gradation.policy import Action, require
from gradation.services import ledger

__all__ = ["note_refused"]


def note_refused(*, actor: User, method: str, path: str, status: int) -> None:
    """Record that a person was turned away from an address. Ledger: turned away."""
    require(actor, Action.KEEP_OWN_ACCOUNT)
    after = {"method": method[:8], "path": path[:200], "status": status}
    with transaction.atomic():
        ledger.write(actor=actor, action="turned away", subject=actor, after=after)
