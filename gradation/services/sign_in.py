"""Signing in: name and password, then a one-time code; tries are counted before they are judged."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta

from django.db import transaction

from gradation.errors import NotAllowed
from gradation.models import Origin, SignInTally, User
from gradation.policy import Action, require
from gradation.services import ledger, sign_in_tally
from gradation.services.factor_codes import take_code
from gradation.services.sign_in_tally import ACCOUNT, ADDRESS, key_of

__all__ = ["Knock", "judge_code", "judge_password"]

WRONG_PAIR = "Name and password do not belong together. Type both again."
WRONG_CODE = "The code does not fit, or was used already. Wait for the next one and type it."
#: Between password and code.
CODE_WITHIN = timedelta(minutes=5)


@dataclass(frozen=True)
class Knock:
    """What came to the door, and from where."""

    username: str
    password: str = field(repr=False)
    origin: Origin
    #: Says which browser of whom this is, where the person has signed in before; else empty.
    known_device: str = ""

    def counted_under(self) -> list[tuple[str, sign_in_tally.Limit]]:
        """Name what the try is counted under: a known device keeps strangers' tries apart."""
        if self.known_device:
            return [(key_of("device", self.known_device), ACCOUNT)]
        return [
            (key_of("address", self.origin.address), ADDRESS),
            (key_of("account", self.username), ACCOUNT),
        ]


def judge_password(*, actor: User, knock: Knock) -> User:
    """Give the person whose name and password these are.

    Refuses (`NotAllowed`) a pair that does not fit, the same for an unknown name, a closed account
    and a wrong password; refuses (`TooMany`) too many tries. Counted before it is judged. Ledger:
    sign-in refused, about the tally, with the name where such an account exists.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT)
    tallies = [sign_in_tally.take(key, limit) for key, limit in knock.counted_under()]
    person = User.objects.filter(username=knock.username).first()
    if not _fits(person, knock.password) or person is None:
        actor.origin = knock.origin
        _note_refused(actor, tallies[-1], person)
        raise NotAllowed(WRONG_PAIR, code="wrong-pair")
    sign_in_tally.forget(tallies[-1].key)
    for tally in tallies[:-1]:
        sign_in_tally.forgive(tally.key)
    return person


def _fits(person: User | None, password: str) -> bool:
    """Compare; an unknown name costs as much as a known one."""
    if person is None or not person.has_usable_password():
        User().set_password(password)
        return False
    return person.check_password(password) and person.is_active


def _note_refused(actor: User, tally: SignInTally, person: User | None) -> None:
    with transaction.atomic():
        ledger.write(
            actor=actor,
            action="sign-in refused",
            subject=tally,
            after={"account": person.username if person else "no such account"},
        )


def judge_code(*, actor: User, code: str, origin: Origin) -> None:
    """Take the one-time code of a person whose password fitted.

    Refuses (`NotAllowed`) a code that is wrong, old or used; refuses (`TooMany`) too many tries.
    Ledger: code refused.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT)
    actor.origin = origin
    tally = sign_in_tally.take(key_of("code", str(actor.pk)), ACCOUNT)
    if not take_code(actor, code):
        with transaction.atomic():
            ledger.write(actor=actor, action="code refused", subject=actor, after={})
        raise NotAllowed(WRONG_CODE, code="wrong-code", field="code")
    sign_in_tally.forget(tally.key)
