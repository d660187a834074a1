"""Connecting a balance: in which form it is read, at which bench, by which port settings."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import BalanceLink, Equipment, User
from gradation.policy import Action, require
from gradation.services import ledger
from gradation.services.balance_forms import FORM_NAMES, form_of
from gradation.services.checking import cleaned_row, locked, needs_reason

__all__ = ["change_balance_link", "connect_balance", "disconnect_balance"]


def connect_balance(*, actor: User, link: BalanceLink) -> BalanceLink:
    """Connect a balance to a bench for the first time.

    Equipment keepers may. Refuses (`Invalid`) what is no balance, a form that does not exist, an
    own line that cannot be read. Ledger: balance connected.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    if link.balance.kind != Equipment.Kind.BALANCE:
        msg = f"{link.balance} is no balance; only balances send readings."
        raise Invalid.one("balance", msg, code="no-balance")
    _refuse_formless(link)
    with transaction.atomic():
        cleaned_row(link)
        ledger.write(actor=actor, action="balance connected", subject=link)
    return link


def change_balance_link(
    *, actor: User, link: BalanceLink, reason: str, **changes: Any
) -> BalanceLink:
    """Change how a balance is read or where its readings go, with a reason; it is connected again.

    Equipment keepers may. Refuses (`Invalid`) as connecting does. Ledger: balance connection
    changed, with the values before.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    reason = needs_reason(reason, "change the connection")
    with transaction.atomic():
        link = locked(link, "balance", "bench")
        before = ledger.snapshot(link)
        for name, value in (changes | {"is_active": True}).items():
            setattr(link, name, value)
        _refuse_formless(link)
        cleaned_row(link)
        ledger.write(
            actor=actor,
            action="balance connection changed",
            subject=link,
            before=before,
            reason=reason,
        )
    return link


def disconnect_balance(*, actor: User, link: BalanceLink, reason: str) -> BalanceLink:
    """Take no more readings of a balance, with a reason.

    Equipment keepers may. Refuses (`Conflict`) one not connected. Ledger: balance disconnected.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    reason = needs_reason(reason, "disconnect the balance")
    with transaction.atomic():
        link = locked(link, "balance", "bench")
        if not link.is_active:
            msg = f"{link.balance} is not connected."
            raise Conflict(msg)
        before = ledger.snapshot(link)
        link.is_active = False
        link.save(update_fields=["is_active"])
        ledger.write(
            actor=actor, action="balance disconnected", subject=link, before=before, reason=reason
        )
    return link


def _refuse_formless(link: BalanceLink) -> None:
    if link.form not in FORM_NAMES:
        msg = f"There is no form {link.form}. Choose one of: {', '.join(FORM_NAMES)}."
        raise Invalid.one("form", msg, code="unknown-form")
    try:
        form_of(link)
    except ValueError as fault:
        raise Invalid.one("pattern", str(fault), code="own-line") from fault
