"""Bodies of requests: JSON, read more strictly than most, before anything is done with it."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from rest_framework import status
from rest_framework.exceptions import APIException, ParseError, ValidationError
from rest_framework.parsers import BaseParser

__all__ = ["BodyTooLarge", "StrictJSONParser", "is_sound_text"]

_DEEPEST = 20
_LONGEST_NUMBER = 40
#: NUL, which PostgreSQL does not take, and halves of characters, which nothing can write.
_UNSOUND = re.compile("[\x00\ud800-\udfff]")


class BodyTooLarge(APIException):
    """More bytes than one request may have: 413, before anything is read of it."""

    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE
    default_code = "body-too-large"


def is_sound_text(text: str) -> bool:
    """Say whether a text has only characters that can be kept."""
    return not _UNSOUND.search(text)


class StrictJSONParser(BaseParser):
    """Reads JSON; refuses a name that stands twice, numbers that are none, what is too deep."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:  # noqa: ANN401 - whatever the JSON holds
        """Give what the body says."""
        body = read_body(stream, dict(parser_context or {}))
        try:
            found = json.loads(
                body.decode("utf-8"),
                object_pairs_hook=_object,
                parse_float=_float,
                parse_int=_int,
                parse_constant=_refuse_constant,
            )
        except RecursionError as error:
            raise _TooDeep from error
        except ValueError as error:
            msg = f"The body is no JSON: {error}."
            raise ParseError(msg, code="no-json") from error
        _look_through(found, 1)
        return found


def read_body(stream: IO[bytes], context: dict[str, Any]) -> bytes:
    """Read the body up to the most a request may have."""
    most = int(settings.DATA_UPLOAD_MAX_MEMORY_SIZE or 0)
    request = context.get("request")
    kept = getattr(getattr(request, "_request", None), "_body", None)
    body: bytes = kept if kept is not None else stream.read(most + 1)
    if len(body) > most:
        raise too_large(most)
    return body


def too_large(most: int) -> BodyTooLarge:
    """Give the refusal of a body past the limit."""
    msg = f"The body is larger than the {most:,} bytes a request may have. Send it in parts."
    return BodyTooLarge(msg)


class _TooDeep(ParseError):
    default_code = "too-deep"
    default_detail = f"The body nests deeper than {_DEEPEST} levels. Nothing here needs that."


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            msg = f"{name[:60]!r} stands twice in one object. Send it once."
            raise ParseError(msg, code="name-twice")
        found[name] = value
    return found


def _float(text: str) -> float:
    value = float(text) if len(text) <= _LONGEST_NUMBER else math.inf
    if not math.isfinite(value):
        raise _no_number(text)
    return value


def _int(text: str) -> int:
    if len(text) > _LONGEST_NUMBER:
        raise _no_number(text)
    return int(text)


def _refuse_constant(text: str) -> float:
    raise _no_number(text)


def _no_number(text: str) -> ParseError:
    return ParseError(f"{text[:20]} is no number that can be kept.", code="no-number")


def _look_through(value: object, depth: int, at: str = "") -> None:
    if depth > _DEEPEST:
        raise _TooDeep
    if isinstance(value, dict):
        for name, part in value.items():
            _look_through(name, depth + 1, at)
            _look_through(part, depth + 1, f"{at}/{name}")
    elif isinstance(value, list):
        for place, part in enumerate(value):
            _look_through(part, depth + 1, f"{at}/{place}")
    elif isinstance(value, str) and not is_sound_text(value):
        msg = "It has a character that cannot be kept (NUL, or half of one)."
        where = _UNSOUND.sub("?", at).removeprefix("/")
        raise ValidationError({where: [msg]}, code="unsound-character")
