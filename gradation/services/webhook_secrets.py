"""Signatures of webhooks, as the open Standard Webhooks specification (version 1) writes them.

`webhook-id`, `webhook-timestamp` (seconds since 1970) and `webhook-signature`: `v1,` and the
base64 of the HMAC-SHA256 over `id.timestamp.body` under the secret's bytes. Several signatures
stand in one header, separated by a blank, while the installation's key is being changed.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from collections.abc import Mapping

from django.conf import settings
from django.utils.crypto import salted_hmac

__all__ = ["new_salt", "secret_of", "signature", "signed_headers"]

PREFIX = "whsec_"
_USE = "gradation.webhook"


def new_salt() -> str:
    """Make what a webhook's secret is made from: 256 bits by chance."""
    return secrets.token_hex(32)


def secret_of(salt: str, key: str | bytes | None = None) -> str:
    """Give the secret that the other system checks signatures with."""
    digest = salted_hmac(_USE, salt, secret=key, algorithm="sha256").digest()
    return PREFIX + base64.b64encode(digest).decode()


def signature(secret: str, message_id: str, timestamp: int, body: bytes) -> str:
    """Sign one message.

    >>> signature("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek",
    ...           1614265330, b'{"test": 2432232314}')
    'v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE='
    """
    key = base64.b64decode(secret.removeprefix(PREFIX))
    signed = f"{message_id}.{timestamp}.".encode() + body
    return f"v1,{base64.b64encode(hmac.digest(key, signed, hashlib.sha256)).decode()}"


def signed_headers(salt: str, message_id: str, timestamp: int, body: bytes) -> Mapping[str, str]:
    """Give the headers of a message, signed under the present key and the former ones."""
    keys = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    signed = [signature(secret_of(salt, key), message_id, timestamp, body) for key in keys]
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(timestamp),
        "webhook-signature": " ".join(signed),
    }
