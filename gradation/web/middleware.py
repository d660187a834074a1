"""What happens around every page: where an act comes from, which zone it is shown in, refusals."""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from gradation.errors import Conflict, NotAllowed, NotFound, Refusal
from gradation.models import Origin
from gradation.web.context import laboratory_of

Handler = Callable[[HttpRequest], HttpResponse]


class OriginMiddleware:
    """Marks the person with the door, address and request, so that the ledger can say them."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Mark the person, then let the view answer."""
        if request.user.is_authenticated:
            request.user.origin = Origin(
                door="web", address=request.META.get("REMOTE_ADDR", ""), request_id=uuid4().hex
            )
        return self.get_response(request)


class ZoneMiddleware:
    """Shows every time in the laboratory's zone."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Let the view answer in the laboratory's zone."""
        if not request.user.is_authenticated:
            return self.get_response(request)
        with timezone.override(zoneinfo.ZoneInfo(laboratory_of(request).time_zone)):
            return self.get_response(request)


class RefusalMiddleware:
    """Turns a refusal that no form caught into a page that says what to do."""

    _STATUS: tuple[tuple[type[Refusal], int], ...] = (
        (NotAllowed, 403),
        (NotFound, 404),
        (Conflict, 409),
        (Refusal, 422),
    )

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Let the view answer; a refusal goes to `process_exception`."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """Answer a refusal; anything else is a fault of the program and goes on."""
        if not isinstance(error, Refusal):
            return None
        status = next(status for kind, status in self._STATUS if isinstance(error, kind))
        return render(request, "web/refusal.html", {"refusal": error}, status=status)
