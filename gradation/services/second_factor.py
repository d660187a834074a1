"""The second factor: set up by its owner with a first code, renewed, revoked when it is lost."""

from __future__ import annotations

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import RecoveryCode, SecondFactor, User
from gradation.policy import Action, require
from gradation.services import clock, ledger, sign_in_tally
from gradation.services.checking import needs_reason
from gradation.services.factor_codes import new_secret, recovery_digest, take_code
from gradation.services.secret_keeping import easily_read
from gradation.services.sign_in_tally import ACCOUNT, key_of

__all__ = ["begin_factor", "confirm_factor", "renew_recovery_codes", "revoke_factor"]

RECOVERY_CODES = 10


def begin_factor(*, actor: User) -> SecondFactor:
    """Make a new secret for the person's own generator; it counts once its first code was given.

    Refuses (`Conflict`) while a confirmed one is there. Ledger: second factor begun, without it.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT)
    with transaction.atomic():
        factor = SecondFactor.objects.select_for_update().filter(person=actor).first()
        if factor is not None and factor.confirmed_at is not None:
            msg = "There is a second factor already. Give it up first, then set up another."
            raise Conflict(msg, code="factor-exists")
        factor = factor or SecondFactor(person=actor)
        factor.secret, factor.begun_at, factor.last_step = new_secret(), clock.now(), -1
        factor.save()
        ledger.write(actor=actor, action="second factor begun", subject=factor)
    return factor


def confirm_factor(*, actor: User, code: str) -> list[str]:
    """Take the first code of a new generator; give the recovery codes, which are shown once.

    Refuses (`Invalid`) a code that does not fit, (`TooMany`) too many tries. Ledger: second factor
    set up.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT)
    tally = sign_in_tally.take(key_of("code", str(actor.pk)), ACCOUNT)
    with transaction.atomic():
        factor = SecondFactor.objects.select_for_update().filter(person=actor).first()
        if factor is None or factor.confirmed_at is not None:
            msg = "There is nothing to confirm. Begin anew under your name."
            raise Conflict(msg)
        if not take_code(actor, code, unconfirmed=True):
            msg = "The code does not fit. Check the clock of the device, then type the next code."
            raise Invalid.one("code", msg, code="wrong-code")
        factor.refresh_from_db()
        before = ledger.snapshot(factor)
        factor.confirmed_at = clock.now()
        factor.save(update_fields=["confirmed_at"])
        ledger.write(actor=actor, action="second factor set up", subject=factor, before=before)
        codes = _new_recovery_codes(actor)
    sign_in_tally.forget(tally.key)
    return codes


def renew_recovery_codes(*, actor: User) -> list[str]:
    """Give new recovery codes; the former ones end. Ledger: recovery codes renewed."""
    require(actor, Action.KEEP_OWN_ACCOUNT)
    with transaction.atomic():
        factor = SecondFactor.objects.select_for_update().filter(person=actor).first()
        if factor is None or factor.confirmed_at is None:
            msg = "Recovery codes belong to a second factor. Set one up first."
            raise Conflict(msg)
        ledger.write(actor=actor, action="recovery codes renewed", subject=factor, after={})
        return _new_recovery_codes(actor)


def _new_recovery_codes(person: User) -> list[str]:
    RecoveryCode.objects.filter(person=person, used_at__isnull=True).update(used_at=clock.now())
    codes = [easily_read() for _ in range(RECOVERY_CODES)]
    RecoveryCode.objects.bulk_create(
        RecoveryCode(person=person, digest=recovery_digest(code), made_at=clock.now())
        for code in codes
    )
    return codes


def revoke_factor(*, actor: User, person: User, reason: str) -> None:
    """End a second factor and its recovery codes at once: lost, or given up.

    The owner may, and for others the quality manager. Refuses (`Conflict`) where there is none.
    Ledger: second factor revoked.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT if actor == person else Action.MANAGE_PEOPLE)
    reason = needs_reason(reason, "revoke the second factor")
    with transaction.atomic():
        factor = SecondFactor.objects.select_for_update().filter(person=person).first()
        if factor is None:
            msg = f"{person} has no second factor."
            raise Conflict(msg)
        before = ledger.snapshot(factor)
        factor.secret, factor.confirmed_at = new_secret(), None
        factor.save(update_fields=["secret", "confirmed_at"])
        RecoveryCode.objects.filter(person=person, used_at__isnull=True).update(used_at=clock.now())
        ledger.write(
            actor=actor,
            action="second factor revoked",
            subject=factor,
            before=before,
            reason=reason,
        )
