"""The self-test of proxy, TLS and addresses: which header is wrong, and how it is mended.

Answered before anybody signs in, because a wrong proxy is what keeps people from it. It tells the
caller only what the caller sent, and the configured address, which is no secret.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import urlsplit

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from labsite.requests import is_trusted


@dataclass(frozen=True)
class Seen:
    """One thing looked at: whether it is in order, and what to do if not."""

    what: str
    is_good: bool
    words: str


def looked_at(request: HttpRequest, peer: str) -> Iterator[Seen]:
    """Look at what came: address, TLS, host, origin, who forwarded it."""
    wanted = urlsplit(settings.BASE_URL)
    yield _address(request, wanted.netloc)
    yield _tls(request, wanted.scheme, peer)
    yield _forwarded(request, peer)
    yield _origin(request)


def _address(request: HttpRequest, wanted: str) -> Seen:
    host = str(request.META.get("HTTP_HOST", ""))
    if host == wanted:
        return Seen("Host", True, f"{host}, as configured.")
    words = f"'{host[:100]}' came, but '{wanted}' is configured. "
    return Seen("Host", False, words + "Let the proxy pass the Host header on as it was typed.")


def _tls(request: HttpRequest, wanted: str, peer: str) -> Seen:
    if request.scheme == wanted:
        return Seen("X-Forwarded-Proto", True, f"The request counts as {wanted}.")
    sent = request.META.get("HTTP_X_FORWARDED_PROTO")
    if sent is None:
        words = "It did not come. Let the proxy set X-Forwarded-Proto to the scheme people use."
    elif not is_trusted(peer):
        words = (
            f"It came from {peer}, which is no trusted proxy, and was ignored. "
            "Name that address in GRADATION_TRUSTED_PROXIES."
        )
    else:
        words = f"It said '{sent[:20]}', but people use {wanted}. Let the proxy say what they use."
    return Seen("X-Forwarded-Proto", False, words)


def _forwarded(request: HttpRequest, peer: str) -> Seen:
    sent = request.META.get("HTTP_X_FORWARDED_FOR")
    if not is_trusted(peer):
        words = f"You came from {peer} without a trusted proxy; nothing forwarded is believed."
        return Seen("X-Forwarded-For", sent is None, words)
    if sent is None:
        words = "It did not come, so all seem to have the proxy's address. Let the proxy set it."
        return Seen("X-Forwarded-For", False, words)
    return Seen("X-Forwarded-For", True, f"You came from {request.META['REMOTE_ADDR']}.")


def _origin(request: HttpRequest) -> Seen:
    origin = request.META.get("HTTP_ORIGIN")
    wanted = settings.BASE_URL.rstrip("/")
    if origin in {None, wanted}:
        return Seen("Origin", True, f"Forms are taken from {wanted}.")
    words = f"'{str(origin)[:100]}' came; forms are taken from {wanted} only. "
    return Seen("Origin", False, words + "Set GRADATION_BASE_URL to the address people type.")


def answer(request: HttpRequest, peer: str) -> HttpResponse:
    """Give the list as plain text: 200 when all is in order, 409 when something is not."""
    seen = list(looked_at(request, peer))
    lines = [f"{'ok   ' if each.is_good else 'WRONG'}  {each.what}: {each.words}" for each in seen]
    head = "How this request reached Gradation:\n\n"
    status = 200 if all(each.is_good for each in seen) else 409
    text = head + "\n".join(lines) + "\n"
    return HttpResponse(text, status=status, content_type="text/plain; charset=utf-8")
