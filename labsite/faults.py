"""When something below the laboratory fails: what is said, as a page or as a problem document."""

from __future__ import annotations

import errno
import logging
import sys
from collections.abc import Callable
from dataclasses import dataclass

from django.core.signals import got_request_exception
from django.db import DatabaseError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

from gradation.api.problems import MEDIA_TYPE, problem_body
from gradation.models import User
from gradation.services.incidents import Met, record_incident
from gradation.services.people import system_account

log = logging.getLogger("gradation.incidents")

Handler = Callable[[HttpRequest], HttpResponse]

LOCKED_AGAIN_S = 5
FULL_AGAIN_S = 60
#: SQLSTATE of PostgreSQL: a lock not had in time, a deadlock, a serialisation failure.
_LOCKED_STATES = frozenset({"55P03", "40P01", "40001"})
_FULL_STATES = frozenset({"53100"})


@dataclass(frozen=True)
class Trouble:
    """What cannot be done now, and when it may be tried again."""

    status: int
    code: str
    message: str
    retry_after_s: int


_LOCKED = Trouble(
    503,
    "busy",
    "Others are writing to the same records and it took too long. Nothing was written; what you "
    "typed is still in your browser. Go back and send it again in a few seconds.",
    LOCKED_AGAIN_S,
)
_FULL = Trouble(
    507,
    "disk-full",
    "The server's disk is full. Nothing was written; what you typed is still in your browser. Tell "
    "whoever keeps the server, then send it again.",
    FULL_AGAIN_S,
)


class FaultMiddleware:
    """Says what to do when the database cannot take a write now: locked for long, or a full disk.

    Every other fault is recorded as an incident when Django reports it.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response
        got_request_exception.connect(note_fault, dispatch_uid="note_fault")

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Let the view answer; a fault of the database goes to `process_exception`."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """Answer 503 or 507 with the time after which to try again; nothing was written."""
        trouble = storage_trouble(error)
        if trouble is None:
            return None
        log.warning("storage: %s", error)
        return trouble_answer(request, trouble)


def storage_trouble(error: BaseException) -> Trouble | None:
    """Say whether an error means that the database cannot write now; None for any other fault."""
    if isinstance(error, OSError) and error.errno == errno.ENOSPC:
        return _FULL
    if not isinstance(error, OperationalError):
        return None
    state = str(getattr(error.__cause__, "sqlstate", "") or "")
    words = str(error)
    if state in _LOCKED_STATES or "database is locked" in words or "table is locked" in words:
        return _LOCKED
    if state in _FULL_STATES or "disk is full" in words or "disk I/O error" in words:
        return _FULL
    return None


def trouble_answer(request: HttpRequest, trouble: Trouble) -> HttpResponse:
    """Answer with the trouble in the form that the door speaks."""
    if request.path.startswith("/api/"):
        body = problem_body(trouble.status, trouble.code, trouble.message)
        answer: HttpResponse = JsonResponse(body, status=trouble.status, content_type=MEDIA_TYPE)
    else:
        answer = render(request, "web/trouble.html", {"trouble": trouble}, status=trouble.status)
    answer["Retry-After"] = str(trouble.retry_after_s)
    return answer


def note_fault(sender: object, request: HttpRequest | None = None, **_: object) -> None:
    """Record an unhandled fault as an incident, when Django reports one."""
    error = sys.exc_info()[1]
    if error is None or request is None or storage_trouble(error):
        return
    match = request.resolver_match
    person = getattr(request, "user", None)
    met = Met(
        error=error,
        request_id=getattr(request, "request_id", ""),
        method=request.method or "",
        route=match.route if match else request.path,
        person=person if isinstance(person, User) else None,
    )
    try:
        record_incident(actor=system_account(), met=met)
    except DatabaseError:
        log.exception("an incident could not be recorded")


def broken(request: HttpRequest) -> HttpResponse:
    """Answer a fault of the program: that it is ours, its number, and nothing else."""
    request_id = getattr(request, "request_id", "")
    if request.path.startswith("/api/"):
        words = "Something broke on our side. Nothing was written. Tell whoever keeps the server."
        body = problem_body(500, "fault", words) | {"request_id": request_id}
        return JsonResponse(body, status=500, content_type=MEDIA_TYPE)
    return render(request, "500.html", {"request_id": request_id}, status=500)
