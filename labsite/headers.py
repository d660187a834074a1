"""What a signed-in person is shown stays out of every cache."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse


class PrivateAnswersMiddleware:
    """Marks answers to signed-in people `no-store`, unless the view decided itself."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on and mark the answer."""
        response = self.get_response(request)
        if request.user.is_authenticated:
            response.headers.setdefault("Cache-Control", "no-store")
        return response
