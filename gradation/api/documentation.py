"""The contract as a document: OpenAPI for programs, pages in the house's look for people."""

from __future__ import annotations

import csv
import functools
from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular.generators import SchemaGenerator
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.told import Told

__all__ = ["Contract", "contract", "problem_types"]


@functools.lru_cache(maxsize=1)
def contract() -> dict[str, Any]:
    """Give the contract in OpenAPI 3.1, drawn once for each process."""
    drawn: dict[str, Any] = SchemaGenerator(api_version="v1").get_schema(public=True)
    return drawn


@functools.lru_cache(maxsize=1)
def problem_types() -> tuple[dict[str, str], ...]:
    """Give every type of problem with what it means and what to do."""
    table = Path(__file__).with_name("contract") / "problem_types.csv"
    with table.open(encoding="utf-8", newline="") as rows:
        return tuple(csv.DictReader(rows))


class Contract(Endpoint):
    """The contract."""

    operation = "openapi"
    is_open = True
    area = "interface"
    told: ClassVar[Mapping[str, Told]] = {
        "GET": Told(gives={"type": "object", "additionalProperties": {}})
    }

    def get(self, request: Request) -> Response:
        """Give this contract in OpenAPI 3.1."""
        return Response(contract())


@require_safe
@login_required
def reference(request: HttpRequest, area: str = "") -> HttpResponse:
    """Show the contract: the areas, or one area's operations."""
    drawn = contract()
    areas = sorted({operation["tags"][0] for _, _, operation in _operations(drawn)})
    if area and area not in areas:
        msg = f"The interface has no area {area}."
        raise Http404(msg)
    shown = [
        _shown(drawn, address, method, operation)
        for address, method, operation in _operations(drawn)
        if operation["tags"][0] == area
    ]
    about = drawn["info"]["description"].split("\n\n")
    context = {"area": area, "areas": areas, "operations": shown, "about": about}
    return render(request, "api/reference.html", context)


@require_safe
@login_required
def problem_list(request: HttpRequest) -> HttpResponse:
    """Show every type of problem."""
    return render(request, "api/problems.html", {"types": problem_types()})


def _operations(drawn: Mapping[str, Any]) -> list[tuple[str, str, dict[str, Any]]]:
    return [
        (address, method.upper(), operation)
        for address, methods in drawn["paths"].items()
        for method, operation in methods.items()
        if isinstance(operation, dict) and "tags" in operation
    ]


def _shown(
    drawn: Mapping[str, Any], address: str, method: str, operation: Mapping[str, Any]
) -> dict[str, Any]:
    body = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
    return {
        "address": address,
        "method": method,
        "id": operation["operationId"],
        "summary": operation.get("summary", ""),
        "about": operation.get("description", "").split("\n\n"),
        "parameters": [
            {
                **_field(drawn, each["name"], each["schema"], each.get("required", False)),
                "about": each.get("description", ""),
                "place": each["in"],
            }
            for each in operation.get("parameters", [])
        ],
        "body": _fields(drawn, body.get("schema", {})),
        "answers": [
            {
                "code": code,
                "about": answer.get("description", ""),
                "fields": _fields(drawn, _form(answer)) if code < "300" else [],
            }
            for code, answer in sorted(operation["responses"].items())
        ],
    }


def _form(answer: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = answer.get("content", {}).get("application/json", {}).get("schema", {})
    return found


def _resolved(drawn: Mapping[str, Any], form: Mapping[str, Any]) -> Mapping[str, Any]:
    """Follow a reference; of several forms take the first that is not null."""
    if "$ref" in form:
        name = form["$ref"].rpartition("/")[2]
        return _resolved(drawn, drawn["components"]["schemas"][name])
    for way in ("allOf", "oneOf", "anyOf"):
        if form.get(way):
            return _resolved(drawn, form[way][0])
    return form


def _fields(drawn: Mapping[str, Any], form: Mapping[str, Any]) -> list[dict[str, Any]]:
    found = _resolved(drawn, form)
    if found.get("type") == "array":
        found = _resolved(drawn, found.get("items", {}))
    rows = found.get("properties", {}).get("results", {})
    if rows.get("type") == "array":
        found = _resolved(drawn, rows.get("items", {}))
    needed = found.get("required", [])
    return [
        _field(drawn, name, field, name in needed)
        for name, field in found.get("properties", {}).items()
    ]


def _field(
    drawn: Mapping[str, Any],
    name: str,
    field: Mapping[str, Any],
    needed: bool,
) -> dict[str, Any]:
    form = _resolved(drawn, field)
    kind = form.get("type", "any")
    words = [kind] if isinstance(kind, str) else [str(each) for each in kind]
    return {
        "name": name,
        "kind": " or ".join(words),
        "form": form.get("format", ""),
        "needed": needed,
        "choices": [each for each in form.get("enum", []) if each not in ("", None)],
        "about": field.get("description", form.get("description", "")),
    }
