"""The signing policy: what signatories bind themselves to before they sign (21 CFR 11.10(j))."""

from __future__ import annotations

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Laboratory, PolicyAcceptance, SigningPolicy, User
from gradation.policy import Action, require
from gradation.queries.signatures import newest_policy
from gradation.services import clock, ledger
from gradation.services.checking import cleaned_row

__all__ = ["accept_policy", "set_signing_policy"]


def set_signing_policy(*, actor: User, text: str) -> SigningPolicy:
    """Set a new version of what signatories bind themselves to; quality managers may.

    Nobody signs until they accepted it. Refuses (`Invalid`) an empty text. Ledger: signing policy
    set.
    """
    require(actor, Action.SET_SIGNING_POLICY)
    if not text.strip():
        msg = "Write what signatories bind themselves to."
        raise Invalid.one("text", msg, code="text-missing")
    with transaction.atomic():
        Laboratory.objects.select_for_update().first()  # one after the other; policies are fixed
        newest = newest_policy()
        policy = SigningPolicy(
            version=newest.version + 1 if newest else 1,
            text=text.strip(),
            made_at=clock.now(),
            made_by=actor,
        )
        cleaned_row(policy)
        ledger.write(actor=actor, action="signing policy set", subject=policy)
    return policy


def accept_policy(*, actor: User, version: int) -> PolicyAcceptance:
    """Accept the newest signing policy; signatories may, each for themselves.

    Refuses (`Conflict`) a version that is not the newest: it was replaced while it was read.
    Ledger: signing policy accepted.
    """
    require(actor, Action.ACCEPT_SIGNING_POLICY)
    with transaction.atomic():
        newest = newest_policy()
        if newest is None or newest.version != version:
            msg = "The policy was changed while you read it. Read the new version."
            raise Conflict(msg, code="stale")
        acceptance, is_new = PolicyAcceptance.objects.get_or_create(
            policy=newest, person=actor, defaults={"accepted_at": clock.now()}
        )
        if is_new:
            ledger.write(actor=actor, action="signing policy accepted", subject=acceptance)
    return acceptance
