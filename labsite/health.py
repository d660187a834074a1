"""Answers whether the process is alive and may be given work."""

from collections.abc import Callable

from django.db import DatabaseError
from django.db import connection as database
from django.http import HttpRequest, HttpResponse, JsonResponse

from labsite import connection, metrics

LIVE = "/health/live"
READY = "/health/ready"
CONNECTION = "/health/connection"


class HealthMiddleware:
    """Answers the addresses of health and figures before any other middleware sees them.

    A container's health check calls by an inner address, without TLS, and must be answered
    all the same; the answer tells nothing that a stranger could use.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer a health address, or pass the request on."""
        if request.path == LIVE:
            return JsonResponse({"status": "alive"})
        if request.path == READY:
            return _readiness()
        if request.path == CONNECTION:
            return connection.answer(request, getattr(request, "peer", ""))
        if request.path == metrics.METRICS:
            return metrics.answer(request)
        return self.get_response(request)


def _readiness() -> JsonResponse:
    """Ask the database one question: a replica that cannot reach it gets no work."""
    try:
        with database.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except DatabaseError:
        return JsonResponse({"status": "waiting for the database"}, status=503)
    return JsonResponse({"status": "ready"})
