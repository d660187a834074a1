"""Endpoints of exports: a table of the records as a file, and what its columns mean."""

from __future__ import annotations

from typing import Any

from django.http import FileResponse
from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.told import Answer, Sent, Told
from gradation.errors import Fault, Invalid
from gradation.policy import Action, require
from gradation.queries.exports import Wanted, columns_of, table_named
from gradation.queries.laboratory import customer_list, material_list
from gradation.services.exports import export_records


class ExportFilters(Sent):
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


class ColumnsOut(serializers.Serializer[Any]):
    """Every column of a table."""

    results = HeadingOut(many=True)


#: The forms in which a table leaves.
_FILES = (
    Answer(bytes, 200, "text/csv"),
    Answer(bytes, 200, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
    Answer(bytes, 200, "application/vnd.apache.parquet"),
)


def _wanted(asked: dict[str, Any]) -> Wanted:
    told = dict(asked)
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


class Export(Endpoint):
    """A table of the records as a file."""

    area = "exports"
    operation = "export"
    told = {"GET": Told(asks=ExportFilters, more=_FILES)}

    def get(self, request: Request, table: str, form: str) -> FileResponse:
        """Give the table as CSV, XLSX, JSON or Parquet; the export stands in the ledger."""
        exported = export_records(
            actor=self.person, table=table, form=form, wanted=_wanted(self.asked)
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


class ExportColumns(Endpoint):
    """What the columns of a table mean."""

    area = "exports"
    operation = "export-columns"
    told = {"GET": Told(gives=ColumnsOut, asks=ExportFilters)}

    def get(self, request: Request, table: str) -> Response:
        """Give every column with its meaning, unit and type."""
        require(self.person, Action.EXPORT_RECORDS)
        wanted = _wanted(self.asked)
        columns = columns_of(table_named(table, wanted), self.person, wanted)
        return Response({"results": HeadingOut(columns, many=True).data})


routes = [
    path("exports/<slug:table>/columns", ExportColumns.as_view(), name="export-columns"),
    path("exports/<slug:table>.<slug:form>", Export.as_view(), name="export"),
]
