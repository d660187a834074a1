"""Who signs is who they say: password and, where it is kept, a one-time code, at each signature."""

from __future__ import annotations

import logging

from django.core.mail import send_mail
from django.db import transaction

from gradation.errors import Conflict, NotAllowed
from gradation.models import Laboratory, User
from gradation.policy import Action, Role, require
from gradation.services import ledger, sign_in_tally
from gradation.services.factor_codes import has_factor, take_code
from gradation.services.sign_in_tally import ACCOUNT, key_of

__all__ = ["BOUND_ROLES", "confirm_identity", "needs_factor"]

log = logging.getLogger("gradation.doors")

#: Whom the laboratory's policy of a second factor binds (ASVS 5.0, 6.3.3).
BOUND_ROLES = frozenset({Role.SIGNATORY, Role.QUALITY_MANAGER})
ALERT_FROM = 5


def needs_factor(person: User) -> bool:
    """Say whether the laboratory asks this person for a second factor that is not there yet."""
    if person.role_names.isdisjoint(BOUND_ROLES):
        return False
    asked = Laboratory.objects.filter(second_factor_required=True).exists()
    return asked and not has_factor(person)


def confirm_identity(*, actor: User, password: str, code: str = "") -> None:
    """Make sure that the person who signs is the owner of the account.

    Call it before the transaction of what is signed, so that a refusal stays on record. Refuses
    (`Conflict`) a password that somebody else set, and a missing second factor where the
    laboratory asks for one; refuses (`NotAllowed`) a wrong password or a code that is wrong, old or
    used; refuses (`TooMany`) too many tries. At the fifth refusal in a row the quality managers are
    told at once (21 CFR 11.300(d)). Ledger: signature refused.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT)
    _refuse_unfit(actor)
    tally = sign_in_tally.take(key_of("signature", str(actor.pk)), ACCOUNT)
    if not actor.check_password(password):
        _refused(actor, tally.judged, "password")
        msg = "The password is not yours. Nothing was signed."
        raise NotAllowed(msg, code="wrong-password", field="password")
    if has_factor(actor) and not take_code(actor, code):
        _refused(actor, tally.judged, "code")
        msg = "The code does not fit, or was used already. Wait for the next. Nothing was signed."
        raise NotAllowed(msg, code="wrong-code", field="code")
    sign_in_tally.forget(tally.key)


def _refuse_unfit(actor: User) -> None:
    if actor.must_set_password:
        msg = "Somebody else knows this password. Set your own under your name, then sign."
        raise Conflict(msg, code="password-not-own")
    if needs_factor(actor):
        msg = "The laboratory asks signatories for a second factor. Set it up under your name."
        raise Conflict(msg, code="factor-missing")


def _refused(actor: User, count: int, what: str) -> None:
    with transaction.atomic():
        after = {"what did not fit": what, "in a row": count}
        ledger.write(actor=actor, action="signature refused", subject=actor, after=after)
        if count >= ALERT_FROM:
            transaction.on_commit(lambda: _tell_managers(actor, count))


def _tell_managers(actor: User, count: int) -> None:
    log.warning("signature refused %s times in a row for %s", count, actor.username)
    managers = User.objects.filter(is_active=True, groups__name=Role.QUALITY_MANAGER)
    told = sorted({person.email for person in managers if person.email})
    if not told:
        return
    subject = f"{count} signatures in the name of {actor} were refused"
    body = (
        f"{count} times in a row somebody tried to sign as {actor} and the password or the code "
        "did not fit. Ask the person; if it was somebody else, close the account's sessions and "
        "set the password anew under Settings."
    )
    try:
        send_mail(subject, body, None, told)
    except OSError:
        log.exception("the alert about refused signatures could not be sent")
