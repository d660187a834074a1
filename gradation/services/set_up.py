"""The first start: a one-time code instead of a default account (ASVS 5.0, 6.3.2)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django.db import transaction

from gradation.errors import Conflict, NotAllowed
from gradation.models import Laboratory, Origin, SetUpCode, User
from gradation.policy import Action, Role, require
from gradation.services import clock, ledger, sign_in_tally
from gradation.services.checking import cleaned
from gradation.services.laboratory import set_up_laboratory
from gradation.services.people import SYSTEM_NAME, add_person
from gradation.services.secret_keeping import easily_read, fits, keyed_digest
from gradation.services.sign_in_tally import ADDRESS, key_of

__all__ = ["Beginning", "begin_laboratory", "is_set_up", "offer_code"]

_PURPOSE = "set-up"
GOOD_FOR = timedelta(hours=24)


@dataclass(frozen=True)
class Beginning:
    """The laboratory and its first person, a quality manager."""

    code: str
    laboratory: Laboratory
    person: User
    password: str
    origin: Origin


def is_set_up() -> bool:
    """Say whether there is any person's account."""
    return User.objects.exclude(username=SYSTEM_NAME).exists()


def offer_code(*, actor: User) -> str | None:
    """Make a code for the first start, good for a day; None once there is a person.

    A code made before ends. Ledger: set-up code made, without it.
    """
    require(actor, Action.KEEP_INSTALLATION)
    with transaction.atomic():
        if is_set_up():
            return None
        now, text = clock.now(), easily_read()
        SetUpCode.objects.filter(used_at=None).update(used_at=now)
        code = SetUpCode(
            digest=keyed_digest(_PURPOSE, text), made_at=now, expires_at=now + GOOD_FOR
        )
        cleaned(code).save()
        ledger.write(actor=actor, action="set-up code made", subject=code, after={})
    return text


def begin_laboratory(*, actor: User, beginning: Beginning) -> User:
    """Enter the laboratory and its first quality manager under the code of the first start.

    Refuses (`Conflict`) once there is a person, (`NotAllowed`) a code that is wrong, used or older
    than a day, (`TooMany`) too many tries. Ledger: laboratory set up, person added, code used.
    """
    require(actor, Action.MANAGE_PEOPLE)
    sign_in_tally.take(key_of("set-up", beginning.origin.address), ADDRESS)
    actor.origin = beginning.origin
    with transaction.atomic():
        code = _taken(beginning.code)
        if not Laboratory.objects.exists():
            set_up_laboratory(actor=actor, laboratory=beginning.laboratory)
        person = add_person(
            actor=actor,
            person=beginning.person,
            password=beginning.password,
            roles=[Role.QUALITY_MANAGER],
        )
        ledger.write(actor=actor, action="set-up code used", subject=code, after={})
    return person


def _taken(text: str) -> SetUpCode:
    """Take the open code, under its lock: who comes second finds it used."""
    code = SetUpCode.objects.select_for_update().filter(used_at=None).order_by("-id").first()
    if is_set_up():
        msg = "The laboratory is set up already. Sign in."
        raise Conflict(msg, code="set-up-already")
    now = clock.now()
    plain = text.strip().casefold()
    if code is None or code.expires_at <= now or not fits(_PURPOSE, plain, code.digest):
        msg = "The code is wrong or older than a day. Start the server anew: it prints another."
        raise NotAllowed(msg, code="wrong-code", field="code")
    code.used_at = now
    code.save(update_fields=["used_at"])
    return code
