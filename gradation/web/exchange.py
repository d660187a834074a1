"""What the bench's script is answered: JSON that tells every kind of refusal from 'try again'.

A reading that was typed stays in the browser until an answer of this kind says that it is kept or
why it is not; whatever is no such answer (5xx, 429, none at all) means: the same again, later.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from http import HTTPStatus
from typing import Any, Protocol
from uuid import UUID

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.urls import reverse

from gradation.errors import Conflict, NotAllowed, NotFound, Refusal
from gradation.policy import Action, require
from gradation.web.answers import PersonRequest, View

__all__ = ["FORM", "exchange", "of_another_person", "refuse_overtaken", "refused", "said"]

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


def of_another_person(request: PersonRequest, person: int | None) -> HttpResponse | None:
    """Refuse to keep under one name what was entered under another."""
    if person in {None, request.user.pk}:
        return None
    says = f"This was not entered by {request.user}. It waits for whoever entered it."
    return said(HTTPStatus.CONFLICT, "other-person", says)


class Kept(Protocol):
    """A reading that is kept: its key in the database, and the one its sender made."""

    pk: int
    key: UUID


def refuse_overtaken(present: Kept | None, over: int | None, key: UUID) -> None:
    """Refuse (`Conflict`) to correct a value that the person has not seen.

    `over` is the one they saw; a correction sent again finds itself, by its `key`.
    """
    if present and present.pk != over and present.key != key:
        msg = "Somebody was faster: there is a newer value now. Look at it first."
        raise Conflict(msg, code="reading-clash")


def _barred(request: HttpRequest) -> HttpResponse | None:
    if not request.user.is_authenticated:
        says = "Nobody is signed in here any more. Sign in again; what you entered is kept."
        return said(HTTPStatus.UNAUTHORIZED, "sign-in", says, url=reverse("web:sign-in"))
    if request.headers.get(FORM_HEADER, FORM) != FORM:
        says = "The server was renewed. Reload this page; what you entered is kept."
        return said(HTTPStatus.CONFLICT, "reload", says)
    return None
