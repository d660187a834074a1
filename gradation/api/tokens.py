"""Signing in with a token, and what the token is good for.

`Authorization: Bearer <public part>.<secret>`. The session of a browser stays as it is, with its
protection against foreign forms.
"""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import uuid4

from rest_framework import permissions
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed, ParseError, PermissionDenied
from rest_framework.request import Request

from gradation.models import ApiToken, Origin, Scope, User
from gradation.queries.tokens import find_token
from gradation.services import clock
from gradation.services.token_secrets import PUBLIC_LENGTH, fits, note_use

if TYPE_CHECKING:  # the framework imports this module while it imports its own views
    from rest_framework.views import APIView

#: Names under which tokens are put into addresses, where logs and histories keep them.
_IN_QUERY = frozenset({"token", "access_token", "api_key", "apikey", "bearer", "authorization"})
_SHAPE = re.compile(rf"^[a-z0-9]{{{PUBLIC_LENGTH}}}\.[A-Za-z0-9_-]{{40,60}}$")
_LONGEST = 200


class TokenInAddress(ParseError):
    """The token stood in the address: 400, and it should be revoked."""

    default_code = "token-in-address"
    default_detail = (
        "A token does not belong in the address, where logs keep it. Send it as the header "
        "Authorization: Bearer. If this was a real token, revoke it and make another."
    )


class TokenRefused(AuthenticationFailed):
    """Unknown, expired, revoked or wrong: 401, the same answer for all but what the owner knows."""

    default_code = "token-refused"


class ScopeMissing(PermissionDenied):
    """The token is good, but not for this: 403."""

    default_code = "scope-missing"


class TokenAuthentication(BaseAuthentication):
    """Lets a system in by its token, acting for the token's owner."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        """Give owner and token, or None when no token was sent."""
        _refuse_in_address(request)
        words = get_authorization_header(request).split()
        if not words or words[0].lower() != b"bearer":
            return None
        public_id, secret = _parts(words[1:])
        token = find_token(public_id)
        if not fits(token, secret) or token is None:
            msg = "There is no such token. Check that it was copied as a whole."
            raise TokenRefused(msg)
        _refuse_ended(token, clock.now())
        note_use(token, secret)
        token.owner.origin = Origin(
            door=f"token {token.public_id}",
            address=request.META.get("REMOTE_ADDR", ""),
            request_id=uuid4().hex,
        )
        return token.owner, token

    def authenticate_header(self, request: Request) -> str:
        """Say how to sign in."""
        return 'Bearer realm="api"'


def _refuse_in_address(request: Request) -> None:
    for name, value in request.query_params.items():
        if name.casefold() in _IN_QUERY or _SHAPE.match(str(value)):
            raise TokenInAddress


def _parts(words: list[bytes]) -> tuple[str, str]:
    text = words[0].decode("ascii", errors="replace") if len(words) == 1 else ""
    if not _SHAPE.match(text[:_LONGEST]):
        msg = "The header is not of the form Authorization: Bearer <public part>.<secret>."
        raise TokenRefused(msg)
    public_id, _, secret = text.partition(".")
    return public_id, secret


def _refuse_ended(token: ApiToken, now: datetime) -> None:
    if token.revoked_at is not None:
        msg = "This token was revoked. Ask the quality manager for another."
        raise TokenRefused(msg)
    if token.expires_at <= now:
        msg = "This token has expired. Ask the quality manager for another."
        raise TokenRefused(msg)
    if not token.owner.is_active:
        msg = "The account that this token acts for is closed."
        raise TokenRefused(msg)


class InScope(permissions.BasePermission):
    """Lets a token do what its scopes name; a view without an area is closed to tokens.

    A view says its area as `area`; an act other than the method's stands in `area_acts`.
    """

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Say whether the token's scopes name the view's area and the method's act."""
        if not isinstance(request.auth, ApiToken):
            return True
        if getattr(view, "area", "") == "interface":
            return True  # the contract itself
        wanted = scope_of(request, view)
        if wanted is None or wanted not in request.auth.scopes:
            msg = f"This token is not for that: it has no scope '{wanted or 'for this address'}'."
            raise ScopeMissing(msg)
        return True


def scope_of(request: Request, view: APIView) -> str | None:
    """Name the scope that a request needs; None when no token may make it."""
    method = request.method or ""
    usual = "read" if method in permissions.SAFE_METHODS else "write"
    act = getattr(view, "area_acts", {}).get(method, usual)
    wanted = f"{act} {getattr(view, 'area', '')}"
    return wanted if wanted in set(Scope) else None
