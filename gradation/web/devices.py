"""Browsers in which a person has signed in before: strangers' wrong tries do not shut them out."""

from __future__ import annotations

import secrets

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from gradation.models import User

_SALT = "gradation.known-device"
_YEAR_S = 365 * 24 * 3600


def cookie_name(what: str) -> str:
    """Name a cookie of ours: in production for this host and TLS alone (RFC 6265bis, 4.1.3.2)."""
    return f"{settings.COOKIE_PREFIX}{what}"


def _cookie() -> str:
    return cookie_name("known_device")


def known_device(request: HttpRequest, username: str) -> str:
    """Name this browser if the person of that name has signed in with it, else ''."""
    kept = request.get_signed_cookie(_cookie(), default="", salt=_SALT, max_age=_YEAR_S) or ""
    whose = kept.partition(":")[0]
    return kept if kept and whose == username.casefold().encode().hex() else ""


def keep_device(request: HttpRequest, response: HttpResponse, person: User) -> HttpResponse:
    """Let this browser remember who signed in with it."""
    kept = known_device(request, person.username)
    name = kept or f"{person.username.casefold().encode().hex()}:{secrets.token_hex(16)}"
    response.set_signed_cookie(
        _cookie(),
        name,
        salt=_SALT,
        max_age=_YEAR_S,
        secure=request.is_secure(),
        httponly=True,
        samesite="Lax",
    )
    return response
