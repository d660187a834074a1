"""Endpoints of files: of equipment, histories, what proves a certificate, a list of sieves."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.http import HttpResponse
from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.files import Base64File
from gradation.api.contract.told import Answer, Sent, Told
from gradation.api.equipment import item_named
from gradation.errors import Invalid, NotFound
from gradation.policy import Action
from gradation.queries import history as told
from gradation.queries.certificates import find_certificate_by_number
from gradation.queries.equipment_file import attachment_of, attachments_of, check_of
from gradation.queries.samples import find_sample
from gradation.services.attachments import attach_file
from gradation.services.audit_pack import pack_certificate
from gradation.services.equipment_import import import_sieves
from gradation.services.history_export import HistoryForm, HistoryOf, export_history


def file_answer(content: bytes, media_type: str, name: str) -> HttpResponse:
    """Hand out a file that no browser shows or runs."""
    headers = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "X-Content-Type-Options": "nosniff",
    }
    return HttpResponse(content, content_type=media_type, headers=headers)


class FileIn(Sent):
    """A file of an item: PDF, PNG, JPEG or plain text."""

    name = serializers.CharField(max_length=160)
    file_base64 = Base64File()
    check = serializers.IntegerField(
        default=None,
        allow_null=True,
        min_value=1,
        max_value=2**63 - 1,
        help_text="Id of the check that it belongs to.",
    )


class FileOut(serializers.Serializer[Any]):
    """A file kept with an item."""

    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    media_type = serializers.CharField()
    size = serializers.IntegerField(help_text="Bytes.")
    sha256 = serializers.CharField()
    check_id = serializers.IntegerField(source="check_made_id", allow_null=True)
    added_at = serializers.DateTimeField()
    added_by = serializers.CharField()


class FilesOut(serializers.Serializer[Any]):
    """The files of an item, newest first."""

    results = FileOut(many=True)


class ItemFiles(Endpoint):
    """The files of an item of equipment."""

    area = "equipment"
    operation = "equipment-files"
    told = {
        "GET": Told(gives=FilesOut),
        "POST": Told(takes=FileIn, gives=FileOut, code=201, service=attach_file),
    }

    def get(self, request: Request, serial: str) -> Response:
        """List the files of a sieve or an instrument, newest first, without their content."""
        rows = attachments_of(item_named(serial))
        return Response({"results": FileOut(rows, many=True).data})

    def post(self, request: Request, serial: str) -> Response:
        """Keep a file with an item, or with one of its checks."""
        item, sent = item_named(serial), self.sent()
        check = None if sent["check"] is None else check_of(item, sent["check"])
        if check is None and sent["check"] is not None:
            raise Invalid.one("check", "This item has no such check.", code="unknown-check")
        with transaction.atomic():
            kept = attach_file(
                actor=self.person,
                equipment=item,
                name=sent["name"],
                content=sent["file_base64"],
                check=check,
            )
        return Response(FileOut(kept).data, status=201)


class ItemFile(Endpoint):
    """One file of an item of equipment."""

    area = "equipment"
    operation = "equipment-file"
    told = {"GET": Told(gives=bytes, more=(Answer(bytes, 200, "application/octet-stream"),))}

    def get(self, request: Request, serial: str, pk: int) -> HttpResponse:
        """Give the bytes of a file as they were handed in; its kind stands in the list."""
        kept = attachment_of(item_named(serial), pk)
        if kept is None:
            msg = "This item has no such file. List its files first."
            raise NotFound(msg)
        return file_answer(bytes(kept.file), "application/octet-stream", f"file-{kept.pk}")


_HISTORY = (
    Answer(bytes, 200, "application/pdf"),
    Answer(bytes, 200, "text/csv"),
)


class HistoryFileFilters(Sent):
    """As what a history is given."""

    form = serializers.ChoiceField([each.value for each in HistoryForm], default="pdf")


class _History(Endpoint):
    told = {"GET": Told(asks=HistoryFileFilters, more=_HISTORY)}

    def handed_out(self, wanted: HistoryOf) -> HttpResponse:
        """Give the file; that it was given stands in the ledger."""
        form = HistoryForm(self.asked["form"])
        made = export_history(actor=self.person, wanted=wanted, form=form)
        return file_answer(made.content, made.media_type, made.name)


class SampleHistoryFile(_History):
    """The history of a sample as a file."""

    area = "samples"
    operation = "sample-history-file"
    is_open = True

    def get(self, request: Request, number: str) -> HttpResponse:
        """Give the history of a sample as PDF, CSV or JSON; the export stands in the ledger."""
        sample = find_sample(self.person, number)
        about = f"What was done with sample {sample}, its portions, runs and certificates."
        entries = told.entries_of_sample(sample)
        return self.handed_out(HistoryOf(f"sample {sample}", about, entries, sample))


class ItemHistoryFile(_History):
    """The history of a sieve or an instrument as a file."""

    area = "equipment"
    operation = "equipment-history-file"

    def get(self, request: Request, serial: str) -> HttpResponse:
        """Give the history of a sieve or an instrument; the export stands in the ledger."""
        item = item_named(serial)
        entries = told.entries_of_equipment(item)
        return self.handed_out(HistoryOf(item.serial, str(item), entries, item))


class CertificatePack(Endpoint):
    """Everything behind a certificate."""

    area = "certificates"
    operation = "certificate-audit-pack"
    act = {"GET": Action.EXPORT_RECORDS, "HEAD": Action.EXPORT_RECORDS}
    told = {
        "GET": Told(
            gives=bytes,
            more=(Answer(bytes, 200, "application/zip"),),
            service=pack_certificate,
        )
    }

    def get(self, request: Request, number: str) -> HttpResponse:
        """Give everything behind an issued certificate as one archive that proves itself."""
        certificate = find_certificate_by_number(self.person, number)
        pack = pack_certificate(actor=self.person, certificate=certificate)
        return file_answer(pack.content, "application/zip", pack.name)


class SieveFileIn(Sent):
    """A laboratory's file of sieves, CSV or XLSX."""

    file_name = serializers.CharField(max_length=160)
    file_base64 = Base64File()
    dry_run = serializers.BooleanField(help_text="Only say what would happen.")


class SieveFaultOut(serializers.Serializer[Any]):
    """One thing wrong with one cell."""

    row = serializers.IntegerField()
    column = serializers.CharField()
    message = serializers.CharField()


class SieveFileOut(serializers.Serializer[Any]):
    """What a file of sieves holds, and what is wrong with it."""

    rows = serializers.IntegerField()
    registered = serializers.IntegerField()
    faults = SieveFaultOut(many=True)


class SieveFile(Endpoint):
    """A file of sieves that a laboratory already keeps."""

    area = "equipment"
    operation = "sieve-import"
    told = {"POST": Told(takes=SieveFileIn, gives=SieveFileOut, service=import_sieves)}

    def post(self, request: Request) -> Response:
        """Register every sieve of a file, or only say what would happen."""
        sent = self.sent()
        report = import_sieves(
            actor=self.person,
            file=sent["file_base64"],
            name=sent["file_name"],
            dry_run=sent["dry_run"],
        )
        return Response(
            {
                "rows": len(report.rows),
                "registered": report.registered,
                "faults": SieveFaultOut(report.faults, many=True).data,
            }
        )


routes = [
    path("equipment/<path:serial>/files", ItemFiles.as_view(), name="equipment-files"),
    path("equipment/<path:serial>/files/<int:pk>", ItemFile.as_view(), name="equipment-file"),
    path(
        "equipment/<path:serial>/history/file",
        ItemHistoryFile.as_view(),
        name="equipment-history-file",
    ),
    path("samples/<str:number>/history/file", SampleHistoryFile.as_view(), name="history-file"),
    path(
        "certificates/<str:number>/audit-pack",
        CertificatePack.as_view(),
        name="certificate-audit-pack",
    ),
    path("sieve-imports", SieveFile.as_view(), name="sieve-import"),
]
