"""Who signs is who they say, under the policy they accepted: asked at every signature."""

from __future__ import annotations

from gradation.errors import Conflict
from gradation.models import User
from gradation.queries.signatures import policy_to_accept
from gradation.services.identity import confirm_identity

__all__ = ["confirm_signer"]


def confirm_signer(*, actor: User, password: str, code: str = "") -> None:
    """Make sure that the person who signs owns the account and is bound by the policy.

    Call it before the transaction of what is signed. Refuses what `confirm_identity` refuses, and
    (`Conflict`) somebody who did not accept the newest version of the signing policy. Ledger:
    signature refused, where the password or the code did not fit.
    """
    confirm_identity(actor=actor, password=password, code=code)
    waiting = policy_to_accept(actor)
    if waiting is not None:
        msg = f"Read and accept the {waiting} first, under Certificates. Nothing was signed."
        raise Conflict(msg, code="policy-not-accepted")
