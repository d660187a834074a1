"""The contract in OpenAPI 3.1, drawn from what each endpoint tells of itself."""

from __future__ import annotations

import inspect
import re
from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import (
    OpenApiExample,
    OpenApiParameter,
    OpenApiResponse,
    inline_serializer,
)
from rest_framework import serializers

from gradation.api.contract.examples import EXAMPLES
from gradation.api.contract.security import TokenScheme  # noqa: F401 - registers itself
from gradation.api.contract.told import OFFERED, Told

__all__ = ["ContractSchema", "ProblemOut", "shape_contract"]

_WORDS = {
    200: "What was asked for.",
    201: "It was done; what was made.",
    202: "It is kept and waits.",
    204: "It was done; there is nothing to show.",
    304: "It is still as in the answer whose ETag was sent.",
    400: "The request cannot be read: filters, JSON, a field, or the Idempotency-Key.",
    401: "No token, or one that is unknown, expired or revoked.",
    403: "The token's scopes or its owner's roles do not include it.",
    404: "There is no such thing, also one that a filter names, or it is not yours: alike.",
    406: "Only JSON is given here.",
    409: "Its state does not admit it, or somebody else was first.",
    412: "It was changed since the state that If-Match names.",
    413: "The body is larger than a request may have.",
    414: "The address is longer than 8,190 characters; the server refuses it in its own words.",
    415: "Only JSON is taken here.",
    422: "It was read, and the laboratory's rules refuse it; each fault with its place.",
    428: "The header If-Match is missing.",
    429: "Too many requests in this minute.",
    503: "Not for now; ask again after the seconds of Retry-After.",
}


class FaultOut(serializers.Serializer[Any]):
    """One thing that is wrong with one field."""

    pointer = serializers.CharField(help_text="Where: a JSON pointer into the body, or a filter.")
    detail = serializers.CharField(help_text="What is wrong, and what to do.")
    code = serializers.CharField(help_text="Stable name for programs.")


class ProblemOut(serializers.Serializer[Any]):
    """A refusal (RFC 9457)."""

    type = serializers.CharField(
        help_text="urn:gradation:problem:<name>; the names and what they mean are on the page of "
        "problems. Stable."
    )
    title = serializers.CharField()
    status = serializers.IntegerField(min_value=400, max_value=599)
    detail = serializers.CharField(help_text="What is wrong, where, and what to do.")
    errors = FaultOut(many=True, required=False)  # type: ignore[assignment]


class ContractSchema(AutoSchema):
    """Draws one operation from the `told` of its endpoint."""

    @property
    def _told(self) -> Told:
        told: Told = getattr(self.view, "told", {}).get(self.method, Told())
        return told

    def is_deprecated(self) -> bool:
        """Say whether it is to go."""
        return self._told.sunset is not None

    def get_operation_id(self) -> str:
        """Name the operation by its address and method."""
        name = getattr(self.view, "operation", "") or type(self.view).__name__
        return f"{name}-{self.method.lower()}"

    def get_tags(self) -> list[str]:
        """Group by area."""
        return [getattr(self.view, "area", "") or "interface"]

    def get_summary(self) -> str | None:
        """Say what it does in a sentence."""
        return _lines(self._about())[0] or None

    def get_description(self) -> str:  # type: ignore[override]  # as the generator has it
        """Say who may, what is refused, which scope it needs."""
        rest = "\n".join(_lines(self._about())[1:]).strip()
        scope = _scope(self.view, self.method)
        told = [rest] if rest else []
        if scope:
            told.append(f"Scope of a token: `{scope}`.")
        return "\n\n".join(told)

    def _about(self) -> str:
        told = self._told
        handler = getattr(self.view, self.method.lower(), None)
        doc = told.about or inspect.getdoc(told.service or handler) or ""
        return _for_callers(doc)

    def get_request_serializer(self) -> Any:  # noqa: ANN401 - the framework's signature
        """Give the form of the body."""
        takes = self._told.takes
        return {"application/json": takes} if isinstance(takes, dict) else takes

    def get_response_serializers(self) -> Any:  # noqa: ANN401 - the framework's signature
        """Give every answer that may come."""
        told = self._told
        answers: dict[Any, Any] = {
            (code, "application/problem+json"): OpenApiResponse(ProblemOut, _WORDS[code])
            for code in _refusals(self.method, told, self.path)
        }
        for each in told.more:
            answers[each.code, each.media_type] = OpenApiResponse(
                each.gives, _WORDS.get(each.code, "")
            )
        main = _page_of(told) if told.pages else told.gives
        if told.code == 204:
            answers[204] = OpenApiResponse(description=_WORDS[204])
        else:
            form = OpenApiTypes.OBJECT if main is None else main
            answers[told.code, "application/json"] = OpenApiResponse(form, _WORDS[told.code])
        answers[414] = OpenApiResponse(description=_WORDS[414])
        if told.tagged and self.method == "GET":
            answers[304] = OpenApiResponse(description=_WORDS[304])
        return answers

    def get_examples(self) -> list[OpenApiExample]:
        """Give an example of the body, from the demonstration's laboratory."""
        name = getattr(self._told.takes, "__name__", "")
        known = EXAMPLES.get(name)
        return [] if known is None else [OpenApiExample("Demonstration", known, request_only=True)]

    def get_override_parameters(self) -> list[Any]:
        """Give filters and headers."""
        told = self._told
        found: list[Any] = [told.asks] if told.asks else []
        if self.method not in {"GET", "HEAD"}:
            found.append(_header("Idempotency-Key", _KEY, required=told.keyed and _is_post(self)))
        if told.matched:
            found.append(_header("If-Match", _MATCH, required=True))
        if told.tagged or told.matched:
            found.append(_answered("ETag", "The state; send it back as If-Match.", told.code))
        if told.pages:
            found.append(_answered("Link", "The next page, rel=next; absent on the last.", 200))
        found.append(_answered("Retry-After", "Seconds to wait.", 429))
        if self.method not in {"GET", "HEAD"}:
            found.append(_answered("Idempotency-Replayed", "true on a repeat.", told.code))
        return found


_KEY = (
    "A key that the caller makes for this act, such as a UUID. The same request under the same key "
    "gives the first answer again for 30 days and does nothing more."
)
_MATCH = "The ETag of the answer in which the thing was last read, or *."


def _is_post(schema: AutoSchema) -> bool:
    return bool(schema.method == "POST")


def _header(name: str, words: str, *, required: bool) -> OpenApiParameter:
    return OpenApiParameter(
        name,
        {"type": "string", "minLength": 1, "maxLength": 255, "pattern": "^[!-~]+$"}
        if name == "Idempotency-Key"
        else OpenApiTypes.STR,
        OpenApiParameter.HEADER,
        required=required,
        description=words,
    )


def _answered(name: str, words: str, code: int) -> OpenApiParameter:
    return OpenApiParameter(
        name, OpenApiTypes.STR, OpenApiParameter.HEADER, description=words, response=[code]
    )


def _refusals(method: str, told: Told, path: str) -> list[int]:
    found = [400, 401, 403, 406, 429]
    if "{" in path or method != "GET" or told.asks is not None:
        found.append(404)
    if method != "GET":
        found += [409, 413, 415, 422]
    elif told.asks is not None or "{" in path:
        found.append(422)
    if told.matched:
        found += [412, 428]
    return sorted(found)


def _page_of(told: Told) -> Any:  # noqa: ANN401 - a form made on the spot
    name = getattr(told.gives, "__name__", "Rows").removesuffix("Out")
    return inline_serializer(
        f"{name}Page",
        {
            "results": told.gives(many=True),
            "older_than": serializers.IntegerField(
                allow_null=True, help_text="Key of the next page (`before`); null on the last."
            ),
        },
    )


def _scope(view: Any, method: str) -> str:  # noqa: ANN401 - any endpoint
    usual = "read" if method == "GET" else "write"
    act = getattr(view, "area_acts", {}).get(method, usual)
    return f"{act} {view.area}" if getattr(view, "area", "") else ""


#: How a use-case names its refusals, and what a caller sees of them.
_ANSWERED = {
    "`Invalid`": "422",
    "`Conflict`": "409",
    "`NotAllowed`": "403",
    "`NotFound`": "404",
    "`Unavailable`": "503",
}
_IN_THE_CODE = re.compile(r"\s*\(`[a-z_]+(?:\.[a-z_]+)+`\)")
_USE_CASE = re.compile(r"`([a-z]+(?:_[a-z]+)+)`")


def _for_callers(words: str) -> str:
    """Put a use-case's own words as somebody outside reads them: answers and operations by name."""
    for inside, outside in _ANSWERED.items():
        words = words.replace(inside, outside)
    words = _IN_THE_CODE.sub("", words)
    return _USE_CASE.sub(lambda name: f"`{OFFERED.get(name[1], name[1])}`", words)


def _lines(text: str) -> list[str]:
    return text.strip().splitlines() or [""]


_UNITS = {
    "_g": "grams",
    "_um": "micrometres",
    "_mm": "millimetres",
    "_pct": "per cent",
    "_hz": "hertz",
    "_s": "seconds",
    "_c": "degrees Celsius",
    "_minutes": "minutes",
    "_days": "days",
}


def shape_contract(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Name the unit of every measurement in its description; refuse what is not asked for."""
    for name, form in result.get("components", {}).get("schemas", {}).items():
        _with_units(form)
        _loosened(form)
        if name.endswith("In") or name.endswith("InRequest"):
            form["additionalProperties"] = False
    return result


def _loosened(form: dict[str, Any]) -> None:
    """Say of what may be anything that it may be anything: null is among it."""
    for field in form.get("properties", {}).values():
        if {} in field.get("oneOf", []):
            del field["oneOf"]


def _with_units(form: dict[str, Any]) -> None:
    for name, field in form.get("properties", {}).items():
        unit = next((word for end, word in _UNITS.items() if name.endswith(end)), "")
        if unit and isinstance(field, dict) and "$ref" not in field:
            said = field.get("description", "")
            field["description"] = re.sub(r"^\s+", "", f"{said} In {unit}.")
