"""Refusals as problem details (RFC 9457): the one place where the interface says no."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework import exceptions, status
from rest_framework.response import Response
from rest_framework.views import exception_handler as drf_answer

from gradation.errors import (
    Conflict,
    Invalid,
    NotAllowed,
    NotFound,
    Refusal,
    TooMany,
    Unavailable,
)

MEDIA_TYPE = "application/problem+json"

_STATUS: dict[type[Refusal], int] = {
    NotAllowed: status.HTTP_403_FORBIDDEN,
    NotFound: status.HTTP_404_NOT_FOUND,
    Conflict: status.HTTP_409_CONFLICT,
    Invalid: status.HTTP_422_UNPROCESSABLE_ENTITY,
    TooMany: status.HTTP_429_TOO_MANY_REQUESTS,
    Unavailable: status.HTTP_503_SERVICE_UNAVAILABLE,
}


def answer(error: Exception, context: dict[str, Any]) -> Response | None:
    """Turn a refusal, or what the framework raised, into a problem document."""
    if isinstance(error, Refusal):
        return _of_refusal(error)
    response = drf_answer(error, context)
    if response is None:
        return None
    detail = error.detail if isinstance(error, exceptions.APIException) else _words(error)
    headers = {
        name: response[name] for name in ("WWW-Authenticate", "Retry-After") if name in response
    }
    return _problem(
        response.status_code, _code(error), _sentence(detail), _field_errors(detail), headers
    )


def problem_of(error: Refusal | exceptions.APIException) -> dict[str, Any]:
    """Give the problem document of a refusal, for an answer that holds several."""
    response = answer(error, {})
    return dict(response.data) if response is not None and response.data else {}


def _status_of(error: Refusal) -> int:
    return next(code for kind, code in _STATUS.items() if isinstance(error, kind))


def _of_refusal(error: Refusal) -> Response:
    faults = [
        {"pointer": f"/{fault.field}", "detail": fault.message, "code": fault.code}
        for fault in getattr(error, "faults", ())
    ]
    if [fault["code"] for fault in faults] == ["key-used-otherwise"]:
        return _problem(422, "key-used-otherwise", error.message, [], {})
    headers = {"Retry-After": "1"} if error.code == "still-running" else {}
    if isinstance(error, TooMany):
        headers = {"Retry-After": str(error.retry_after_s)}
    return _problem(_status_of(error), error.code, error.message, faults, headers)


def _problem(
    code: int, kind: str, detail: str, errors: list[dict[str, str]], headers: dict[str, str]
) -> Response:
    body = problem_body(code, kind, detail or "It was refused.")
    if errors:
        body["errors"] = errors
    return Response(body, status=code, headers=headers, content_type=MEDIA_TYPE)


def problem_body(code: int, kind: str, detail: str) -> dict[str, Any]:
    """Give the members that every problem document has."""
    return {
        "type": f"urn:gradation:problem:{kind}",
        "title": kind.replace("-", " ").replace("_", " ").capitalize(),
        "status": code,
        "detail": detail,
    }


def _code(error: Exception) -> str:
    if isinstance(error, Http404):
        return "not-found"
    if isinstance(error, PermissionDenied):
        return "not-allowed"
    if type(error) is exceptions.ValidationError:
        return "validation-error"
    codes = error.get_codes() if isinstance(error, exceptions.APIException) else None
    code = codes if isinstance(codes, str) else getattr(error, "default_code", "invalid")
    return str(code).replace("_", "-")


def _words(error: Exception) -> str:
    return str(error) or type(error).__name__


def _sentence(detail: object) -> str:
    if isinstance(detail, dict):
        return " ".join(f"{name}: {_sentence(value)}" for name, value in detail.items())
    if isinstance(detail, list):
        return " ".join(_sentence(part) for part in detail)
    return str(detail)


def _field_errors(detail: object) -> list[dict[str, str]]:
    if not isinstance(detail, dict):
        return []
    return list(_pointed("", detail))


def _pointed(at: str, detail: object) -> Iterator[dict[str, str]]:
    """Yield each fault with the pointer to its place, however deep."""
    if isinstance(detail, dict):
        for name, value in detail.items():
            yield from _pointed(f"{at}/{name}" if name != "" else at, value)
    elif isinstance(detail, list) and any(isinstance(each, dict) for each in detail):
        for place, value in enumerate(detail):
            yield from _pointed(f"{at}/{place}", value)
    elif detail not in ([], {}):
        code = getattr(detail[0], "code", "") if isinstance(detail, list) else ""
        yield {"pointer": at or "/", "detail": _sentence(detail), "code": str(code or "invalid")}
