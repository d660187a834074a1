"""One-time codes: judged against the person's generator or recovery codes, each taken once."""

from __future__ import annotations

import base64
import secrets
from datetime import datetime

from django.db import transaction
from django_otp.oath import TOTP

from gradation.models import RecoveryCode, SecondFactor, User
from gradation.services import clock
from gradation.services.secret_keeping import encrypted, fits, keyed_digest, opened

__all__ = ["RECOVERY", "has_factor", "new_secret", "recovery_digest", "secret_of", "take_code"]

RECOVERY = "recovery"
STEP_S, DIGITS = 30, 6  # RFC 6238, 5.2: the recommended step; what every generator app shows
TOLERANCE = 1  # RFC 6238, 5.2: at most one step for the way of the code


def new_secret() -> str:
    """Make a secret of 160 bits (RFC 4226, 4, R6), encrypted for keeping."""
    return encrypted(base64.b32encode(secrets.token_bytes(20)).decode("ascii"))


def secret_of(factor: SecondFactor) -> str | None:
    """Give the secret as generator apps take it, in base 32."""
    return opened(factor.secret)


def has_factor(person: User) -> bool:
    """Say whether the person signs in with a second factor."""
    return SecondFactor.objects.filter(person=person, confirmed_at__isnull=False).exists()


def _plain(code: str) -> str:
    """Leave out the spaces and strokes that people type between figures."""
    return "".join(code.split()).replace("-", "").casefold()


def take_code(person: User, code: str, *, unconfirmed: bool = False) -> bool:
    """Take a code if it fits and was never taken: by generator, else by a recovery code."""
    text = _plain(code)
    with transaction.atomic():
        factor = SecondFactor.objects.select_for_update().filter(person=person).first()
        if factor is None or (factor.confirmed_at is None and not unconfirmed):
            return False
        if text.isascii() and text.isdigit() and len(text) == DIGITS:
            return _take_step(factor, int(text), clock.now())
        return not unconfirmed and _take_recovery(person, text)


def _take_step(factor: SecondFactor, token: int, now: datetime) -> bool:
    """Take the code of a time step later than the newest one taken."""
    secret = secret_of(factor)
    if secret is None:
        return False
    clocked = TOTP(base64.b32decode(secret), step=STEP_S, digits=DIGITS)
    clocked.time = now.timestamp()
    if not clocked.verify(token, tolerance=TOLERANCE, min_t=factor.last_step + 1):
        return False
    factor.last_step = clocked.t()
    factor.secret = encrypted(secret)  # under the present key, should the former be dropped
    factor.save(update_fields=["last_step", "secret"])
    return True


def _take_recovery(person: User, text: str) -> bool:
    rows = RecoveryCode.objects.select_for_update().filter(person=person, used_at__isnull=True)
    found = [row for row in rows if fits(RECOVERY, text, row.digest)]
    for row in found[:1]:
        row.used_at = clock.now()
        row.save(update_fields=["used_at"])
    return bool(found)


def recovery_digest(code: str) -> str:
    """Give what is kept of a recovery code."""
    return keyed_digest(RECOVERY, _plain(code))
