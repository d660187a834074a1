"""Endpoints of exports: a table of the records as a file, and what its columns mean."""

from __future__ import annotations

from typing import Any, cast

from django.http import FileResponse
from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from gradation.errors import Fault, Invalid
from gradation.models import User
from gradation.queries.exports import Wanted
from gradation.queries.laboratory import customer_list, material_list
from gradation.services.exports import dictionary_of, export_records


class ExportFilters(serializers.Serializer[Any]):
    """What a table is narrowed to: samples by receipt, runs by their opening."""

    since = serializers.DateTimeField(required=False, help_text="From this moment on.")
    until = serializers.DateTimeField(required=False, help_text="Before this moment.")
    material = serializers.CharField(required=False, max_length=120, help_text="By its name.")
    customer = serializers.CharField(required=False, max_length=160, help_text="By its name.")


class HeadingOut(serializers.Serializer[Any]):
    """One column."""

    column = serializers.CharField(source="name")
    meaning = serializers.CharField()
    unit = serializers.CharField()
    type = serializers.CharField(source="kind")


def _wanted(request: Request) -> Wanted:
    strange = set(request.query_params) - set(ExportFilters().fields)
    if strange:
        names = ", ".join(sorted(strange))
        raise Invalid.one("", f"Unknown filter: {names}.", code="unknown-filter")
    given = ExportFilters(data=request.query_params)
    given.is_valid(raise_exception=True)
    told = dict(given.validated_data)
    for field, rows in (("material", material_list()), ("customer", customer_list())):
        if field in told:
            told[field] = rows.filter(name=told[field]).first()
    missing = [
        Fault(name, f"There is no {name} of this name.", f"unknown-{name}")
        for name, value in told.items()
        if value is None
    ]
    if missing:
        raise Invalid(missing)
    return Wanted(**told)


class Export(APIView):
    """A table of the records as a file."""

    area = "exports"

    def get(self, request: Request, table: str, form: str) -> FileResponse:
        """Give the table as CSV, XLSX, JSON or Parquet; the export stands in the ledger."""
        exported = export_records(
            actor=cast("User", request.user), table=table, form=form, wanted=_wanted(request)
        )
        answer = FileResponse(
            exported.file,
            as_attachment=True,
            filename=exported.name,
            content_type=exported.media_type,
        )
        answer["X-Content-Type-Options"] = "nosniff"
        answer["Repr-Digest"] = exported.repr_digest
        return answer


class ExportColumns(APIView):
    """What the columns of a table mean."""

    area = "exports"

    def get(self, request: Request, table: str) -> Response:
        """Give every column with its meaning, unit and type."""
        person = cast("User", request.user)
        columns = dictionary_of(actor=person, table=table, wanted=_wanted(request))
        return Response({"results": HeadingOut(columns, many=True).data})


routes = [
    path("exports/<slug:table>/columns", ExportColumns.as_view(), name="export-columns"),
    path("exports/<slug:table>.<slug:form>", Export.as_view(), name="export"),
]
