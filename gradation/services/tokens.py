"""Tokens of client systems: made with their secret shown once, revoked for good."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import ApiToken, Bench, Scope, User
from gradation.policy import Action, require
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked, needs_reason
from gradation.services.token_secrets import digest_of, new_public_id, new_secret

__all__ = ["LONGEST_DAYS", "MadeToken", "Wanted", "create_token", "revoke_token"]

#: A token that nobody renews is forgotten about; common practice.
LONGEST_DAYS = 730


@dataclass(frozen=True)
class Wanted:
    """What a new token is for."""

    name: str
    owner: User
    scopes: Sequence[str]
    valid_days: int
    bench: Bench | None = None


@dataclass(frozen=True)
class MadeToken:
    """A new token with the text that the system sends; it cannot be shown again."""

    token: ApiToken
    text: str = field(repr=False)


def create_token(*, actor: User, wanted: Wanted) -> MadeToken:
    """Make a token for a system that acts for its owner.

    Quality managers may. Refuses (`Invalid`) an owner whose account is closed, scopes that do not
    exist or none, a life of more than two years. Ledger: token made, without the secret.
    """
    require(actor, Action.MANAGE_TOKENS)
    faults = _faults(wanted)
    if faults:
        raise Invalid(faults)
    secret, now = new_secret(), clock.now()
    with transaction.atomic():
        token = ApiToken(
            name=wanted.name.strip(),
            public_id=new_public_id(),
            secret_digest=digest_of(secret),
            owner=wanted.owner,
            bench=wanted.bench,
            scopes=sorted(set(wanted.scopes)),
            created_at=now,
            created_by=actor,
            expires_at=now + timedelta(days=wanted.valid_days),
        )
        cleaned(token).save(force_insert=True)
        ledger.write(actor=actor, action="token made", subject=token)
    return MadeToken(token, f"{token.public_id}.{secret}")


def _faults(wanted: Wanted) -> list[Fault]:
    faults = []
    if not wanted.owner.is_active:
        faults.append(Fault("owner", f"The account of {wanted.owner} is closed. Name another."))
    strange = sorted(set(wanted.scopes) - set(Scope))
    if strange or not wanted.scopes:
        said = f"There is no scope {', '.join(strange)}." if strange else "A token needs a scope."
        faults.append(Fault("scopes", f"{said} Choose from: {', '.join(Scope)}."))
    if not 1 <= wanted.valid_days <= LONGEST_DAYS:
        faults.append(Fault("valid_days", f"A token lives from 1 to {LONGEST_DAYS} days."))
    return faults


def revoke_token(*, actor: User, token: ApiToken, reason: str) -> ApiToken:
    """Revoke a token for good, with a reason: its next request is refused.

    Quality managers may. Refuses (`Conflict`) one already revoked. Ledger: token revoked.
    """
    require(actor, Action.MANAGE_TOKENS)
    reason = needs_reason(reason, "revoke the token")
    with transaction.atomic():
        token = locked(token)
        if token.revoked_at is not None:
            msg = f"Token {token} is already revoked."
            raise Conflict(msg)
        before = ledger.snapshot(token)
        token.revoked_at, token.revoke_reason = clock.now(), reason
        token.save(update_fields=["revoked_at", "revoke_reason"])
        ledger.write(
            actor=actor, action="token revoked", subject=token, before=before, reason=reason
        )
    return token
