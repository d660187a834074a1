"""What was done to the installation: recorded by the commands that do it; the mail is tried."""

from __future__ import annotations

from django.core.mail import send_mail
from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Laboratory, Maintenance, User
from gradation.policy import Action, require
from gradation.services import clock, ledger
from gradation.services.checking import cleaned

__all__ = ["note_maintenance", "try_mail"]


def note_maintenance(*, actor: User, done: Maintenance) -> Maintenance:
    """Record a backup, restore or upgrade. Ledger: backup, restore or upgrade done."""
    require(actor, Action.KEEP_INSTALLATION)
    done.at = clock.now()
    with transaction.atomic():
        cleaned(done).save(force_insert=True)
        ledger.write(actor=actor, action=f"{done.kind} done", subject=done)
    return done


def try_mail(*, actor: User) -> str:
    """Send a message to the person's own address, to see whether mail works; gives the address.

    Refuses (`Invalid`) without an address, (`Conflict`) with what the mail server said. Ledger:
    mail tried.
    """
    require(actor, Action.READ_OPERATIONS)
    if not actor.email:
        msg = "Your account has no e-mail address. Enter it under your name first."
        raise Invalid.one("email", msg)
    name = Laboratory.objects.values_list("name", flat=True).first() or "Gradation"
    with transaction.atomic():
        ledger.write(actor=actor, action="mail tried", subject=actor, after={"to": actor.email})
    try:
        send_mail(f"{name}: mail works", "Messages of Gradation arrive here.", None, [actor.email])
    except OSError as error:
        msg = f"The mail server did not take it: {error}. Check GRADATION_EMAIL_URL."
        raise Conflict(msg, code="mail-failed") from error
    return actor.email
