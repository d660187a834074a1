"""Endpoints of a run recorded on paper: marked, its scans, compared by a second person."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.files import Base64File
from gradation.api.contract.things import Act, Open, Thing, Words, route
from gradation.api.contract.told import Answer, Sent, Told
from gradation.api.files import file_answer
from gradation.api.runs import RUN
from gradation.errors import Invalid
from gradation.models import Run, User
from gradation.queries.laboratory import people_list
from gradation.queries.paper import paper_of, scan_of
from gradation.queries.runs import find_run
from gradation.services import transcribing


class ScanIn(Sent):
    """A scan or photograph of the paper: PDF, PNG, JPEG or plain text."""

    name = serializers.CharField(max_length=160)
    file_base64 = Base64File()


class PaperIn(ScanIn):
    """What the paper says of the work as a whole, and its first scan."""

    performed_on = serializers.DateField(help_text="The day of the work, as the paper says.")
    performed_by = serializers.CharField(
        max_length=150, help_text="User name of who worked; who typed is kept by itself."
    )
    reason = serializers.CharField(max_length=400, help_text="Why it was recorded on paper.")


class ComparisonIn(Sent):
    """What the comparison with the paper found."""

    agrees = serializers.BooleanField()
    note = serializers.CharField(
        max_length=400, default="", allow_blank=True, help_text="What differs, where it does."
    )


class ScanOut(serializers.Serializer[Any]):
    """A scan of the paper, without its content."""

    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    media_type = serializers.CharField()
    size = serializers.IntegerField(help_text="Bytes.")
    sha256 = serializers.CharField()
    added_at = serializers.DateTimeField()
    added_by = serializers.CharField()


class ComparisonOut(serializers.Serializer[Any]):
    """One comparison with the paper, oldest first."""

    number = serializers.IntegerField()
    agrees = serializers.BooleanField()
    note = serializers.CharField()
    compared_sha256 = serializers.CharField(help_text="Digest of all that was compared.")
    made_at = serializers.DateTimeField()
    made_by = serializers.CharField()


class PaperOut(serializers.Serializer[Any]):
    """The paper behind a run, and how far it was compared with what was typed."""

    performed_on = serializers.DateField(source="transcription.performed_on")
    performed_by = serializers.CharField(source="transcription.performed_by.username")
    reason = serializers.CharField(source="transcription.reason")
    made_at = serializers.DateTimeField(source="transcription.made_at")
    made_by = serializers.CharField(source="transcription.made_by")
    scans = ScanOut(many=True)
    comparisons = ComparisonOut(many=True)
    is_compared = serializers.BooleanField(
        help_text="Whether a second person found all that stands there as it is on the paper."
    )
    open_sentence = serializers.CharField(help_text="What stands against the run; else empty.")
    sha256 = serializers.CharField(source="digest", help_text="Of all that stands there now.")


def _find(person: User, pk: int) -> Run | None:
    run = find_run(person, pk)
    return run if run.on_paper else None


def _shown(person: User, run: Run) -> Words:
    return dict(PaperOut(paper_of(run)).data)


PAPER = Thing("run", _find, PaperOut, _shown)


def _scan(told: Words) -> transcribing.ScanGiven:
    return transcribing.ScanGiven(told["name"], told["file_base64"])


def _marked(person: User, run: Run, told: Words) -> Words:
    worker = people_list().filter(username=told["performed_by"]).first()
    if worker is None:
        raise Invalid.one("performed_by", "Nobody has this user name.", code="unknown-person")
    on_paper = transcribing.OnPaper(told["performed_on"], worker, told["reason"])
    return {"told": on_paper, "scan": _scan(told)}


def _page(person: User, run: Run, told: Words) -> Words:
    return {"scan": _scan(told)}


class RunScan(Endpoint):
    """One scan of the paper of a run."""

    area = "runs"
    operation = "run-scan"
    told = {"GET": Told(gives=bytes, more=(Answer(bytes, 200, "application/octet-stream"),))}

    def get(self, request: Request, pk: int, scan: int) -> HttpResponse:
        """Give the bytes of a scan as they were handed in; its kind stands with the paper."""
        kept = scan_of(find_run(self.person, pk), scan)
        return file_answer(bytes(kept.file), "application/octet-stream", f"scan-{kept.pk}")


_PAPER = "runs/<int:pk>/paper"
routes = [
    route(
        _PAPER,
        "run-paper",
        "runs",
        get=PAPER,
        post=Act(transcribing.mark_transcribed, PaperIn, _marked, RUN, code=201),
    ),
    route(
        f"{_PAPER}/scans",
        "run-scans",
        "runs",
        post=Act(transcribing.add_scan, ScanIn, _page, PAPER, code=201, matched=False),
    ),
    path(f"{_PAPER}/scans/<int:scan>", RunScan.as_view(), name="run-scan"),
    route(
        f"{_PAPER}/comparisons",
        "run-comparisons",
        "runs",
        usual=Open(acts={"POST": "review"}),
        post=Act(transcribing.compare_with_paper, ComparisonIn, thing=PAPER, code=201),
    ),
]
