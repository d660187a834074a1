"""The laboratory's own particulars and policies."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from gradation.errors import Conflict
from gradation.models import Laboratory, RunCheckPolicy, User
from gradation.policy import Action, require
from gradation.queries.settled import forget_settled
from gradation.services import ledger
from gradation.services.checking import cleaned_row, locked, needs_reason

__all__ = ["change_laboratory", "set_up_laboratory"]


def set_up_laboratory(*, actor: User, laboratory: Laboratory) -> Laboratory:
    """Enter the laboratory once, before anything else; quality managers may.

    Refuses (`Conflict`) a second laboratory in the same database. Ledger: laboratory set up.
    """
    require(actor, Action.SET_POLICY)
    with transaction.atomic():
        if Laboratory.objects.exists():
            msg = "The laboratory is set up already. Change its particulars instead."
            raise Conflict(msg)
        laboratory.pk = 1
        cleaned_row(laboratory)
        ledger.write(actor=actor, action="laboratory set up", subject=laboratory)
    forget_settled()
    return laboratory


def change_laboratory(*, actor: User, reason: str, **changes: Any) -> Laboratory:
    """Change particulars or policies, with a reason; quality managers may.

    Refuses (`Conflict`) a policy that is set among the checks at the bench since. Ledger:
    laboratory changed, with the values before and after.
    """
    require(actor, Action.SET_POLICY)
    reason = needs_reason(reason, "change the laboratory's particulars")
    with transaction.atomic():
        laboratory = locked(Laboratory.objects.get())
        _refuse_set_elsewhere(laboratory, changes)
        before = ledger.snapshot(laboratory)
        for name, value in changes.items():
            setattr(laboratory, name, value)
        cleaned_row(laboratory)
        ledger.write(
            actor=actor,
            action="laboratory changed",
            subject=laboratory,
            before=before,
            reason=reason,
        )
    forget_settled()
    return laboratory


#: Policies that became checks, by their columns.
_NOW_CHECKS = {
    "overdue_sieve": "equipment-unfit",
    "balance_not_checked": "balance-unfit",
    "reviewer_must_differ": "own-run",
}


def _refuse_set_elsewhere(laboratory: Laboratory, changes: dict[str, Any]) -> None:
    codes = {
        code
        for name, code in _NOW_CHECKS.items()
        if name in changes and changes[name] != getattr(laboratory, name)
    }
    if codes and RunCheckPolicy.objects.filter(code__in=codes).exists():
        msg = "This is set among the checks at the bench now. Change it there."
        raise Conflict(msg, code="set-at-checks")
