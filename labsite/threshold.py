"""What is turned away at the threshold, before anything is read of it or any other part sees it."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse

from gradation.api.problems import MEDIA_TYPE, problem_body
from labsite import metrics

Handler = Callable[[HttpRequest], HttpResponse]

#: No file that is taken anywhere is larger, nor a table of 10 MB in base 64.
LARGEST_BODY = 25_000_000


class ThresholdMiddleware:
    """Refuses strange methods, bodies too large for any page, and programs that come without TLS.

    A program is not sent on to https as a person is: its next request would again go out readable
    to everybody on the way, token and all, and nobody would notice. The interface itself answers
    methods that it does not have.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Refuse, or pass the request on."""
        if request.method not in metrics.METHODS and not _is_program(request):
            return _refused(request, 501, "method-not-allowed", "There is no such method here.")
        if _length(request) > LARGEST_BODY:
            words = f"A request may have {LARGEST_BODY // 1_000_000} MB. Send it in parts."
            return _refused(request, 413, "body-too-large", words)
        if settings.SECURE_SSL_REDIRECT and _is_program(request) and not request.is_secure():
            words = f"Send it to {settings.BASE_URL}, and make a new token: this one was readable."
            return _refused(request, 403, "tls-needed", words)
        return self.get_response(request)


def _is_program(request: HttpRequest) -> bool:
    return request.path.startswith("/api/")


def _length(request: HttpRequest) -> int:
    said = str(request.META.get("CONTENT_LENGTH") or "0")
    return int(said) if said.isascii() and said.isdigit() and len(said) < 20 else 0


def _refused(request: HttpRequest, status: int, code: str, words: str) -> HttpResponse:
    if _is_program(request):
        body = problem_body(status, code, words)
        return JsonResponse(body, status=status, content_type=MEDIA_TYPE)
    return HttpResponse(f"{words}\n", status=status, content_type="text/plain; charset=utf-8")
