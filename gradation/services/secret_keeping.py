"""How secrets are kept: what must be read again encrypted, everything else as a keyed digest."""

from __future__ import annotations

import base64
import hashlib
import secrets

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django.conf import settings
from django.utils.crypto import constant_time_compare, salted_hmac

__all__ = [
    "ALPHABET",
    "GROUPS",
    "GROUP_LENGTH",
    "easily_read",
    "encrypted",
    "fits",
    "keyed_digest",
    "opened",
]

#: Without letters and figures that are mistaken for one another when read aloud.
ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
#: 28 characters: 138 bits, so that no guessing helps (ASVS 5.0, 11.5.1 asks for 128).
GROUPS, GROUP_LENGTH = 7, 4


def _keys() -> list[str]:
    """Give the installation's key and after it the former ones that still open things."""
    return [str(key) for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)]


def keyed_digest(purpose: str, text: str, key: str | None = None) -> str:
    """Give the digest of a text under the installation's key: a stolen database opens nothing."""
    return salted_hmac(f"gradation.{purpose}", text, secret=key, algorithm="sha256").hexdigest()


def fits(purpose: str, text: str, kept: str) -> bool:
    """Compare a text with a kept digest, under the present and the former keys."""
    found = [constant_time_compare(kept, keyed_digest(purpose, text, key)) for key in _keys()]
    return any(found)


def encrypted(text: str) -> str:
    """Encrypt a text under the installation's key."""
    return _box().encrypt(text.encode()).decode("ascii")


def opened(text: str) -> str | None:
    """Give back what was encrypted; None when it was under a key that was dropped since."""
    try:
        return _box().decrypt(text.encode("ascii")).decode()
    except InvalidToken:
        return None


def _box() -> MultiFernet:
    digests = [hashlib.sha256(b"gradation.box\0" + key.encode()).digest() for key in _keys()]
    return MultiFernet([Fernet(base64.urlsafe_b64encode(digest)) for digest in digests])


def easily_read() -> str:
    """Make a code by chance that is easily copied by hand: almost 5 bits a character."""
    parts = ("".join(secrets.choice(ALPHABET) for _ in range(GROUP_LENGTH)) for _ in range(GROUPS))
    return "-".join(parts)
