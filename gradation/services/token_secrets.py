"""The secrets of tokens: made by chance, kept as keyed digests, compared in constant time."""

from __future__ import annotations

import secrets
from datetime import timedelta

from django.conf import settings
from django.db.models import Q
from django.utils.crypto import constant_time_compare, salted_hmac

from gradation.models import ApiToken
from gradation.services import clock

__all__ = ["PUBLIC_LENGTH", "digest_of", "fits", "new_public_id", "new_secret", "note_use"]

PUBLIC_LENGTH = 10
#: Without letters and figures that are mistaken for one another when read aloud.
_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
_SALT = "gradation.token"
_USE_NOTED_EVERY = timedelta(minutes=1)


def new_public_id() -> str:
    """Make the part of a token that lists and records show."""
    return "".join(secrets.choice(_ALPHABET) for _ in range(PUBLIC_LENGTH))


def new_secret() -> str:
    """Make the part that is shown once: 256 bits, so that no guessing helps."""
    return secrets.token_urlsafe(32)


def digest_of(secret: str, key: str | bytes | None = None) -> str:
    """Give the digest under the installation's key: a stolen database opens nothing."""
    return salted_hmac(_SALT, secret, secret=key, algorithm="sha256").hexdigest()


def fits(token: ApiToken | None, secret: str) -> bool:
    """Compare a secret with what is kept, under the present and the former keys.

    An unknown token takes as long as a known one.
    """
    kept = token.secret_digest if token else digest_of(new_secret())
    keys = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    found = [constant_time_compare(kept, digest_of(secret, key)) for key in keys]
    return token is not None and any(found)


def note_use(token: ApiToken, secret: str) -> None:
    """Keep when the token was last used, at most once a minute; renew a digest of a former key.

    No ledger entry: what the system does has its own.
    """
    now = clock.now()
    is_noted = token.last_used_at and token.last_used_at > now - _USE_NOTED_EVERY
    is_renewed = not settings.SECRET_KEY_FALLBACKS or token.secret_digest == digest_of(secret)
    if is_noted and is_renewed:
        return
    long_ago = Q(last_used_at=None) | Q(last_used_at__lte=now - _USE_NOTED_EVERY)
    ApiToken.objects.filter(long_ago, pk=token.pk).update(
        last_used_at=now, secret_digest=digest_of(secret)
    )
