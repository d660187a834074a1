"""Headers of our own: what may be cached, which devices a page may ask for."""

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


class DevicesMiddleware:
    """Lets pages ask for a serial port, where a balance is, and for no other device."""

    POLICY = "serial=(self), camera=(), geolocation=(), hid=(), microphone=(), usb=()"

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on and mark the answer."""
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", self.POLICY)
        return response
