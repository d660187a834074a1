"""What happens around every page: where an act comes from, which zone it is shown in, refusals."""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from gradation.errors import Conflict, NotAllowed, NotFound, Refusal, TooMany, Unavailable
from gradation.models import Laboratory, User
from gradation.policy import is_customer
from gradation.queries.settled import settled_laboratory
from gradation.services.refusals import note_refused
from gradation.web.sessions import FACTOR_DUE, origin_of
from gradation.web.told import told_path

Handler = Callable[[HttpRequest], HttpResponse]


class OriginMiddleware:
    """Marks the person with the door, address and request, so that the ledger can say them."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Mark the person, then let the view answer."""
        if request.user.is_authenticated:
            request.user.origin = origin_of(request)
        return self.get_response(request)


class ZoneMiddleware:
    """Shows every time in the laboratory's zone."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Let the view answer in the laboratory's zone."""
        if not request.user.is_authenticated:
            return self.get_response(request)
        laboratory = settled_laboratory() or Laboratory()
        with timezone.override(zoneinfo.ZoneInfo(laboratory.time_zone)):
            return self.get_response(request)


class RefusalMiddleware:
    """Turns a refusal that no form caught into a page that says what to do."""

    _STATUS: tuple[tuple[type[Refusal], int], ...] = (
        (NotAllowed, 403),
        (NotFound, 404),
        (Conflict, 409),
        (TooMany, 429),
        (Unavailable, 503),
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
        answer = render(request, "web/refusal.html", {"refusal": error}, status=status)
        if isinstance(error, TooMany):
            answer["Retry-After"] = str(error.retry_after_s)
        return answer


class TurnedAwayMiddleware:
    """Records who was turned away: a right that is missing, a thing that is another customer's."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Let the view answer, then record a refusal of a right."""
        response = self.get_response(request)
        person = request.user
        if response.status_code not in {403, 404} or not isinstance(person, User):
            return response
        if response.status_code == 403 or is_customer(person):
            note_refused(
                actor=person,
                method=request.method or "",
                path=told_path(request),
                status=response.status_code,
            )
        return response


class DutiesMiddleware:
    """Lets nobody work before their own password and, where asked for, second factor are set."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on, unless something about the account comes first."""
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: object, args: object, kwargs: object
    ) -> HttpResponse | None:
        """Send the person to what comes first; a program is told by 403."""
        if not request.user.is_authenticated:
            return None
        first = _duty(request)
        match = request.resolver_match
        if first is None or (match and match.view_name in _FREE):
            return None
        if request.method != "GET" or request.path.startswith("/api/"):
            msg = "Set your own password or second factor first: see under your name."
            raise NotAllowed(msg, code="account-first")
        return redirect(first)


#: Reached whatever is still to be done about the account.
_FREE = frozenset(
    {
        "web:sign-out",
        "web:session-show",
        "web:session-stay",
        "account:password-set",
        "account:factor-set-up",
        "account:identity-confirm",
    }
)


def _duty(request: HttpRequest) -> str | None:
    if isinstance(request.user, User) and request.user.must_set_password:
        return "account:password-set"
    if request.session.get(FACTOR_DUE):
        return "account:factor-set-up"
    return None
