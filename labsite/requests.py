"""Around every request: its number, where it really comes from, and one line in the log."""

from __future__ import annotations

import ipaddress
import logging
import re
import time
from collections.abc import Callable
from contextvars import ContextVar
from uuid import uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from gradation.web.told import told_path
from labsite import metrics

Handler = Callable[[HttpRequest], HttpResponse]

request_number: ContextVar[str] = ContextVar("request_number", default="")
log = logging.getLogger("gradation.requests")


class RequestMiddleware:
    """Gives each request a number that the ledger, the log, an incident and the answer share."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Number the request, let it be answered, and write one line about it."""
        number = uuid4().hex
        request.request_id = number  # type: ignore[attr-defined] # read by whoever keeps records
        token = request_number.set(number)
        began = time.perf_counter()
        try:
            request.peer = request.META.get("REMOTE_ADDR", "")  # type: ignore[attr-defined]
            request.META["REMOTE_ADDR"] = caller(request)
            response = self.get_response(request)
            response["X-Request-ID"] = number
            self._tell(request, response, time.perf_counter() - began)
            return response
        finally:
            request_number.reset(token)

    @staticmethod
    def _tell(request: HttpRequest, response: HttpResponse, seconds: float) -> None:
        match = request.resolver_match
        route = match.view_name or match.route if match else "none"
        metrics.count_request(request.method or "", route, response.status_code, seconds)
        log.info(
            "answered",
            extra={
                "method": request.method,
                "path": told_path(request),
                "status": response.status_code,
                "ms": round(seconds * 1000, 1),
                "address": request.META["REMOTE_ADDR"],
            },
        )


def caller(request: HttpRequest) -> str:
    """Give the address a request comes from: what a trusted proxy says, else the peer's own.

    Of `X-Forwarded-For` only the last address that is no trusted proxy counts; a stranger can
    write what it likes before that.
    """
    peer = str(request.META.get("REMOTE_ADDR", ""))
    if not is_trusted(peer):
        return peer
    said = re.split(r"\s*,\s*", str(request.META.get("HTTP_X_FORWARDED_FOR", "")).strip())
    for address in reversed([address for address in said if _is_address(address)]):
        if not is_trusted(address):
            return address
    return peer


def is_trusted(address: str) -> bool:
    """Say whether an address is one of the proxies in front of us."""
    if not _is_address(address):
        return False
    asked = ipaddress.ip_address(address)
    return any(
        asked in ipaddress.ip_network(proxy, strict=False) for proxy in settings.TRUSTED_PROXIES
    )


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True
