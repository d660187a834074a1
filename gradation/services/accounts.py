"""A person's own account: the password and the address, changed by whoever owns them."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from urllib.parse import urljoin

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.contrib.auth.tokens import default_token_generator
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.db import transaction
from django.utils.http import urlsafe_base64_encode

from gradation.errors import Conflict, Fault, Invalid, NotAllowed
from gradation.models import Origin, User
from gradation.policy import Action, require
from gradation.services import ledger, sign_in_tally
from gradation.services.checking import cleaned, locked, needs_reason
from gradation.services.sessions import end_all_sessions
from gradation.services.sign_in_tally import ACCOUNT, ADDRESS, key_of

__all__ = [
    "ResetAsked",
    "ask_reset",
    "change_email",
    "change_password",
    "finish_reset",
    "make_reset_path",
    "open_password",
    "refuse_system",
    "refuse_taken_email",
    "refuse_weak",
]

log = logging.getLogger("gradation.doors")


def refuse_weak(password: str, person: User, field: str = "password") -> None:
    """Refuse (`Invalid`) a password that is short, common or made of the person's own words."""
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise Invalid([Fault(field, message) for message in error.messages]) from error


def change_password(*, actor: User, old: str, new: str, session_key: str = "") -> User:
    """Set one's own password; all other sessions end.

    Refuses (`NotAllowed`) a wrong old one, (`Invalid`) a weak new one. Ledger: password changed.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT)
    tally = sign_in_tally.take(key_of("password", str(actor.pk)), ACCOUNT)
    if not actor.check_password(old):
        msg = "This is not your present password."
        raise NotAllowed(msg, code="wrong-password", field="old")
    refuse_weak(new, actor, "new")
    if actor.check_password(new):
        msg = "This is the present password. Choose another."
        raise Invalid.one("new", msg)
    sign_in_tally.forget(tally.key)
    _set(actor, actor, new, "password changed", session_key)
    return actor


def _set(actor: User, person: User, password: str, action: str, session_key: str = "") -> None:
    with transaction.atomic():
        row = locked(person)
        row.set_password(password)
        row.must_set_password = False
        row.save(update_fields=["password", "must_set_password"])
        end_all_sessions(actor=actor, person=row, but=session_key, why=action)
        ledger.write(actor=actor, action=action, subject=row, after={})
    person.password, person.must_set_password = row.password, False
    for kind, text in (("account", person.username), ("signature", str(person.pk))):
        sign_in_tally.forget(key_of(kind, text))


def change_email(*, actor: User, email: str) -> User:
    """Change one's own e-mail address; the former one is told.

    Refuses (`Invalid`) an address that belongs to another account, also a closed one. Ledger:
    e-mail changed.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT)
    with transaction.atomic():
        person = locked(actor)
        refuse_taken_email(email, person)
        before, former = ledger.snapshot(person), person.email
        person.email = email.strip()
        cleaned(person).save(update_fields=["email"])
        ledger.write(actor=actor, action="e-mail changed", subject=person, before=before)
        if former:
            body = f"The address of {person} is now {person.email}. If you did not do that, say so."
            transaction.on_commit(lambda: _send("Your e-mail address was changed", body, former))
    return person


def refuse_taken_email(email: str, person: User) -> None:
    """Refuse an address that any account has or had: one person, for ever (21 CFR 11.100(a))."""
    others = User.objects.filter(email__iexact=email.strip()).exclude(pk=person.pk)
    if email.strip() and others.exists():
        msg = "Another account has this address. Each person has one of their own."
        raise Invalid.one("email", msg, code="email-taken")


@dataclass(frozen=True)
class ResetAsked:
    """Somebody at the door who has lost the password, by account name."""

    username: str
    origin: Origin
    path: str
    """The page of the link, with `{who}` and `{token}` in it."""


def ask_reset(*, actor: User, asked: ResetAsked) -> None:
    """Send a link that sets a new password within the hour, if there is such an account.

    Says nothing about whether there is. The link begins with the configured address, whatever the
    request said. Refuses (`TooMany`) too many from one address. Ledger: reset
    asked, about the tally.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT)
    sign_in_tally.take(key_of("reset-from", asked.origin.address), ADDRESS)
    tally = sign_in_tally.take(key_of("reset", asked.username), ADDRESS)
    person = User.objects.filter(username=asked.username, is_active=True).exclude(email="").first()
    if person is not None and not person.has_usable_password():
        person = None
    actor.origin = asked.origin
    with transaction.atomic():
        told = person.username if person else "no such account"
        ledger.write(actor=actor, action="reset asked", subject=tally, after={"account": told})
        if person is not None:
            link = urljoin(settings.BASE_URL, make_reset_path(person, asked.path))
            body = f"Set a new password within the hour:\n\n{link}\n\nIf you did not ask, leave it."
            address = person.email
            transaction.on_commit(lambda: _send("Set a new password", body, address))


def refuse_system(person: User) -> None:
    """Refuse (`Conflict`) to touch the account that the installation itself acts as."""
    if person.is_system:
        msg = "This is the installation's own account. Nobody signs in with it; it stays as it is."
        raise Conflict(msg, code="system-account")


def make_reset_path(person: User, path: str) -> str:
    """Give the one-time page on which a person sets a new password."""
    who = urlsafe_base64_encode(str(person.pk).encode())
    return path.format(who=who, token=default_token_generator.make_token(person))


def open_password(*, actor: User, person: User, path: str, reason: str) -> str:
    """End a person's password and sessions; give the page on which they set their own.

    Quality managers may, with a reason; they never learn or choose the password (21 CFR
    11.200(a)(3)). Ledger: password ended.
    """
    require(actor, Action.MANAGE_PEOPLE)
    reason = needs_reason(reason, "set the password anew")
    refuse_system(person)
    with transaction.atomic():
        row = locked(person)
        row.set_unusable_password()
        row.save(update_fields=["password"])
        end_all_sessions(actor=actor, person=row, why="password ended")
        ledger.write(actor=actor, action="password ended", subject=row, after={}, reason=reason)
    return make_reset_path(row, path)


def finish_reset(*, actor: User, token: str, new: str) -> User:
    """Set a new password by the link; `actor` is whose link it is.

    Refuses (`NotAllowed`) a link that was used, is older than an hour or false; refuses (`Invalid`)
    a weak password. Twenty at once: one is taken. Ledger: password reset.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT)
    refuse_weak(new, actor, "new")
    with transaction.atomic():
        person = locked(actor)
        if not person.is_active or not default_token_generator.check_token(person, token):
            msg = "This link was used already or is older than an hour. Ask for another."
            raise NotAllowed(msg, code="link-dead")
        person.origin = actor.origin
        _set(person, person, new, "password reset")
        ledger.write(actor=person, action="reset link used", subject=person, after={})
    return person


def _send(subject: str, body: str, address: str) -> None:
    try:
        send_mail(subject, body, None, [address])
    except OSError:
        log.exception("a message about an account could not be sent")
