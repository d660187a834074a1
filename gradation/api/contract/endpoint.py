"""The base of every endpoint: filters, keys of requests, states that are meant, pages, fields."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any, ClassVar, cast

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.http import HttpResponse, HttpResponseBase
from django.utils.http import http_date
from rest_framework import status
from rest_framework.exceptions import (
    APIException,
    MethodNotAllowed,
    NotFound,
    ParseError,
    ValidationError,
)
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer
from rest_framework.throttling import BaseThrottle
from rest_framework.views import APIView

from gradation.api.contract.parsing import is_sound_text, too_large
from gradation.api.contract.schema import ContractSchema
from gradation.api.contract.told import OFFERED, Told
from gradation.models import ApiToken, User
from gradation.policy import Action, require
from gradation.queries.paging import Page
from gradation.services import interface_calls, interface_keys

__all__ = ["BadFilter", "Endpoint", "caller_of", "tag_of"]

_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


class BadFilter(ValidationError):
    """A filter that is not offered, or cannot be read: 400, nothing is guessed."""

    default_code = "bad-filter"


class KeyMissing(ParseError):
    """A request that does something came without a key of its own."""

    default_code = "idempotency-key-missing"
    default_detail = (
        "Send a header Idempotency-Key with a key that you make for this act, such as a UUID. "
        "If no answer comes, send the same request with the same key again."
    )


class KeyUnreadable(ParseError):
    """A key that cannot be kept."""

    default_code = "idempotency-key-unreadable"
    default_detail = "An Idempotency-Key has 1 to 255 visible ASCII characters."


class StateNotNamed(APIException):
    """A change came without the state it means."""

    status_code = status.HTTP_428_PRECONDITION_REQUIRED
    default_code = "if-match-missing"
    default_detail = (
        "Read the thing first, then send the ETag of that answer as the header If-Match."
    )


class StateMoved(APIException):
    """The thing is not in the state that the request means any more."""

    status_code = status.HTTP_412_PRECONDITION_FAILED
    default_code = "changed-meanwhile"
    default_detail = (
        "This was changed since you read it. Read it again, then repeat what you meant to do."
    )


def caller_of(request: Request) -> str:
    """Name whose request it is: a token's or a person's."""
    if isinstance(request.auth, ApiToken):
        return f"token {request.auth.pk}"
    return f"user {request.user.pk}"


def tag_of(shown: object) -> str:
    """Give the ETag of what is shown."""
    return f'"{hashlib.sha256(JSONRenderer().render(shown)).hexdigest()[:32]}"'


class CallsPerMinute(BaseThrottle):
    """Lets each caller ask so often in a minute, all worker processes together."""

    seconds = 0

    def allow_request(self, request: Request, view: APIView) -> bool:
        """Count the request; say whether it may go on."""
        limit = settings.INTERFACE_CALLS_PER_MINUTE
        self.seconds = interface_calls.count_call(caller_of(request), limit, time.time())
        return not self.seconds

    def wait(self) -> float:
        """Say after how many seconds to ask again."""
        return self.seconds


class Endpoint(APIView):
    """An endpoint for people of the laboratory; `is_open` also lets customers in."""

    area: ClassVar[str] = ""
    is_open: ClassVar[bool] = False
    act: ClassVar[Mapping[str, Action]] = {}
    told: ClassVar[Mapping[str, Told]] = {}
    #: Whether answers may be kept under the key of a request; not where they hold a secret.
    keeps_answers: ClassVar[bool] = True
    schema = ContractSchema()
    throttle_classes = (CallsPerMinute,)

    def __init_subclass__(cls, **kwargs: Any) -> None:
        """Note which operation offers a use-case."""
        super().__init_subclass__(**kwargs)
        for method, told in cls.told.items():
            if told.service is not None:
                name = f"{getattr(cls, 'operation', '')}-{method.lower()}"
                OFFERED.setdefault(told.service.__name__, name)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Let nobody further whose roles do not include the act; keep repeats from acting."""
        _refuse_large(request)
        super().initial(request, *args, **kwargs)
        _refuse_unsound(request, kwargs)
        if request.method == "OPTIONS":
            return
        if not hasattr(self, (request.method or "").lower()):
            raise MethodNotAllowed(request.method or "")
        needed = self.act.get(request.method or "")
        if needed or not self.is_open:
            require(self.person, needed or Action.READ_RECORDS)
        self._asked = self._read_filters(request)
        if self.now.matched and "If-Match" not in request.headers:
            raise StateNotNamed
        if request.method not in _SAFE:
            self._act_once(request)

    def finalize_response(
        self, request: Request, response: Response, *args: Any, **kwargs: Any
    ) -> Response:
        """Say with every answer when this is to go, where it is."""
        answer = super().finalize_response(request, response, *args, **kwargs)
        method = "GET" if request.method == "HEAD" else request.method or ""
        going = self.told.get(method, Told()).sunset
        if going is not None:
            answer.headers["Deprecation"] = f"@{int(going[0].timestamp())}"
            answer.headers["Sunset"] = http_date(going[1].timestamp())
        return answer

    @property
    def person(self) -> User:
        """Give the signed-in person."""
        return cast("User", self.request.user)

    @property
    def asked(self) -> dict[str, Any]:
        """Give the filters of the address, read."""
        return self._asked

    @property
    def now(self) -> Told:
        """Give what this request's method takes and gives."""
        method = self.request.method or ""
        return self.told.get("GET" if method == "HEAD" else method, Told())

    def sent(self, form: type[Serializer[Any]] | None = None) -> dict[str, Any]:
        """Read the body by the form of this method."""
        read = (form or self.now.takes)(data=self.request.data)
        read.is_valid(raise_exception=True)
        return dict(read.validated_data)

    def paged(self, page: Page[Any], rows: Iterable[Mapping[str, Any]]) -> Response:
        """Answer one page of a list, with a link to the next."""
        shown = [self.narrowed(row) for row in rows]
        answer = Response({"results": shown, "older_than": page.older_than})
        if page.older_than is not None:
            query = self.request.query_params.copy()
            query["before"] = str(page.older_than)
            address = self.request.build_absolute_uri(self.request.path)
            answer["Link"] = f'<{address}?{query.urlencode()}>; rel="next"'
        return answer

    def narrowed(self, row: Mapping[str, Any]) -> Mapping[str, Any]:
        """Keep of a row the fields that were asked for."""
        wanted = self.asked.get("fields")
        if not wanted:
            return row
        names = [name.strip() for name in wanted.split(",")]
        strange = [name for name in names if name not in row]
        if strange:
            msg = f"There is no field {', '.join(strange)[:80]} here. Fields: {', '.join(row)}."
            raise BadFilter({"fields": [msg]}, code="bad-filter")
        return {name: row[name] for name in names}

    def tagged(self, shown: Mapping[str, Any], code: int = 200) -> HttpResponseBase:
        """Answer a thing with the tag of its state; nothing when the caller has that state."""
        tag = tag_of(shown)
        known = self.request.headers.get("If-None-Match", "")
        if self.request.method in _SAFE and tag in _tags(known):
            answer: HttpResponseBase = HttpResponse(status=status.HTTP_304_NOT_MODIFIED)
        else:
            answer = Response(self.narrowed(shown), status=code)
        answer.headers["ETag"] = tag
        return answer

    def match(self, shown: Mapping[str, Any]) -> None:
        """Refuse a change that does not mean the state that is shown now."""
        given = self.request.headers.get("If-Match")
        if given is None:
            raise StateNotNamed
        if given.strip() != "*" and tag_of(shown) not in _tags(given):
            raise StateMoved

    def need_key(self) -> None:
        """Refuse a request without a key, where only some bodies make something."""
        if "Idempotency-Key" not in self.request.headers:
            raise KeyMissing

    def _read_filters(self, request: Request) -> dict[str, Any]:
        form = self.now.asks
        offered = set(form().fields) if form else set()
        strange = sorted(set(request.query_params) - offered)
        if strange:
            told = f"Filters here: {', '.join(sorted(offered)) or 'none'}."
            msg = f"Unknown filter: {', '.join(strange)[:120]}. {told}"
            raise BadFilter({name[:60]: [msg] for name in strange}, code="unknown-filter")
        for name, values in request.query_params.lists():
            if len(values) > 1:
                raise BadFilter({name: ["Say it once."]}, code="filter-twice")
        if form is None:
            return {}
        read = form(data=request.query_params.dict())
        if not read.is_valid():
            raise BadFilter(read.errors, code="bad-filter")
        return dict(read.validated_data)

    def _act_once(self, request: Request) -> None:
        """Let the handler of this request run once for its key."""
        method = (request.method or "").lower()
        handler = getattr(self, method, None)
        if handler is None or self._only_computes(method.upper()):
            return
        key = _key_of(request)
        if key is None and method == "post" and self.now.keyed:
            raise KeyMissing
        if key is None or not self.keeps_answers:
            return
        setattr(self, method, partial(self._once, handler, key))

    def _only_computes(self, method: str) -> bool:
        """Say whether nothing is kept, so that a repeat does no harm and needs no key."""
        return getattr(self, "area_acts", {}).get(method) == "read"

    def _once(
        self,
        handler: Callable[..., HttpResponseBase],
        key: str,
        request: Request,
        *args: Any,
        **kwargs: Any,
    ) -> HttpResponseBase:
        body = request._request.body  # read whole already: the parser has its limit
        asked = interface_keys.Asked(
            caller=caller_of(request),
            key=key,
            route=f"{request.method} {request.get_full_path()}"[:400],
            body=body,
        )
        answered = interface_keys.once(
            asked, lambda: _kept(handler(request, *args, **kwargs), self.now)
        )
        answer = HttpResponse(
            answered.text,
            status=answered.status,
            content_type=answered.headers.get("Content-Type", "application/json"),
        )
        for name, value in answered.headers.items():
            answer[name] = value
        if answered.is_repeated:
            answer["Idempotency-Replayed"] = "true"
        return answer


_KEPT_HEADERS = ("Content-Type", "ETag", "Location")


def _kept(response: HttpResponseBase, told: Told) -> interface_keys.Answered:
    data = getattr(response, "data", None)
    text = "" if data is None else JSONRenderer().render(data).decode()
    headers = {name: response.headers[name] for name in _KEPT_HEADERS if name in response.headers}
    if isinstance(response, Response):
        headers["Content-Type"] = response.content_type or "application/json"
    return interface_keys.Answered(response.status_code, text, headers)


def _key_of(request: Request) -> str | None:
    key = request.headers.get("Idempotency-Key")
    if key is None:
        return None
    key = key.strip().removeprefix('"').removesuffix('"')
    if not (0 < len(key) <= 255 and key.isascii() and key.isprintable()):
        raise KeyUnreadable
    return key


def _tags(header: str) -> set[str]:
    return {tag.strip().removeprefix("W/") for tag in header.split(",")}


def _refuse_large(request: Request) -> None:
    """Read the body now, so that one past the limit is refused before work is done."""
    try:
        _ = request._request.body
    except RequestDataTooBig as error:
        raise too_large(int(settings.DATA_UPLOAD_MAX_MEMORY_SIZE or 0)) from error


def _refuse_unsound(request: Request, named: Mapping[str, Any]) -> None:
    if not all(is_sound_text(str(value)) for value in named.values()):
        msg = "There is no such address: it has a character that no name has."
        raise NotFound(msg)
    for name, value in request.query_params.items():
        if not (is_sound_text(name) and is_sound_text(str(value))):
            raise BadFilter({"": ["A filter has a character that cannot be kept."]})
