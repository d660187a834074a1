"""What the bench's script is answered: JSON that tells every kind of refusal from 'try again'.

A reading that was typed stays in the browser until an answer of this kind says that it is kept or
why it is not; whatever is no such answer (5xx, 429, none at all) means: the same again, later.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.urls import reverse

from gradation.errors import Conflict, NotAllowed, NotFound, Refusal
from gradation.policy import Action, require
from gradation.web.answers import PersonRequest, View

__all__ = ["FORM", "exchange", "refused", "said"]

#: The form in which the script asks. A page from before a change of it is told to reload.
FORM = "1"
FORM_HEADER = "X-Bench-Form"

_STATUS: tuple[tuple[type[Refusal], HTTPStatus], ...] = (
    (NotAllowed, HTTPStatus.FORBIDDEN),
    (NotFound, HTTPStatus.NOT_FOUND),
    (Conflict, HTTPStatus.CONFLICT),
    (Refusal, HTTPStatus.UNPROCESSABLE_ENTITY),
)


def said(status: HTTPStatus, kind: str, message: str, **more: Any) -> JsonResponse:
    """Answer with a kind for the script and a sentence for the person."""
    return JsonResponse({"kind": kind, "message": message, **more}, status=status)


def refused(refusal: Refusal, **more: Any) -> JsonResponse:
    """Answer that a use-case said no, and why."""
    status = next(status for kind, status in _STATUS if isinstance(refusal, kind))
    return said(status, "refused", refusal.message, code=refusal.code, **more)


def exchange(action: Action) -> Callable[[View], View]:
    """Let a view talk with the script: who is not signed in or may not hears it as JSON too."""

    def wrap(view: View) -> View:
        @wraps(view)
        def inner(request: PersonRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            barred = _barred(request)
            if barred is not None:
                return barred
            try:
                require(request.user, action)
                return view(request, *args, **kwargs)
            except Refusal as refusal:
                return refused(refusal)

        return inner

    return wrap


def _barred(request: HttpRequest) -> HttpResponse | None:
    if not request.user.is_authenticated:
        says = "Nobody is signed in here any more. Sign in again; what you entered is kept."
        return said(HTTPStatus.UNAUTHORIZED, "sign-in", says, url=reverse("web:sign-in"))
    if request.headers.get(FORM_HEADER, FORM) != FORM:
        says = "The server was renewed. Reload this page; what you entered is kept."
        return said(HTTPStatus.CONFLICT, "reload", says)
    return None
