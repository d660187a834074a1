"""The floor of `tests.load.interface`: the framework with nothing of ours but the rows."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from typing import Any, ClassVar

from django.http import HttpRequest
from django.test import RequestFactory, override_settings
from django.urls import include, path
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from gradation.models import ApiToken, Run
from tests.load.served import HOST

#: The columns that the interface's list gives, by the ORM's names.
COLUMNS = (
    *("portion__sample__number", "portion__label", "determination", "state", "state_reason"),
    *("procedure_version__procedure__code", "procedure_version__version", "bench__name"),
    *("technician__full_name", "counts", "opened_at", "weighed_at", "reviewed_at", "version", "id"),
)


class PlainToken(BaseAuthentication):
    """Signs a token in as the framework's own does: by one query."""

    def authenticate(self, request: Request) -> tuple[Any, ApiToken]:
        """Give the owner of the token."""
        text = get_authorization_header(request).split()[-1].decode()
        public_id, _, secret = text.partition(".")
        token = ApiToken.objects.select_related("owner").filter(public_id=public_id).first()
        if token is None or not hashlib.sha256(secret.encode()).hexdigest():
            raise AuthenticationFailed
        return token.owner, token


class PlainList(APIView):
    """Fifty runs, newest first."""

    authentication_classes: ClassVar[Any] = [PlainToken]
    permission_classes: ClassVar[Any] = []
    throttle_classes: ClassVar[Any] = []

    def get(self, request: Request) -> Response:
        """Give the rows as the ORM gives them."""
        rows = list(Run.objects.order_by("-id").values(*COLUMNS)[:50])
        return Response({"results": rows})


urlpatterns = [path("floor", PlainList.as_view()), path("", include("labsite.urls"))]


def _asking(address: str, bearer: str) -> Callable[[], dict[str, Any]]:
    from django.core.handlers.wsgi import WSGIHandler

    with override_settings(ROOT_URLCONF=__name__):
        handler = WSGIHandler()
    factory = RequestFactory(headers={"Authorization": bearer, "Host": HOST})

    def ask() -> dict[str, Any]:
        request: HttpRequest = factory.get(address, secure=True)
        request.urlconf = __name__  # type: ignore[attr-defined]
        answer = handler.get_response(request)
        if answer.status_code != 200:
            msg = f"{address}: {answer.status_code} {answer.content[:200]!r}"
            raise SystemExit(msg)
        found: dict[str, Any] = json.loads(answer.content)
        return found

    return ask


def floor(bearer: str) -> Callable[[], dict[str, Any]]:
    """Give a function that asks the floor."""
    return _asking("/floor", bearer)


def ours(bearer: str, query: str) -> Callable[[], dict[str, Any]]:
    """Give a function that asks the interface."""
    return _asking(f"/api/v1/runs{query}", bearer)
