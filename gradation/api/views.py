"""Endpoints: parse, call one query or one calculation, render."""

from __future__ import annotations

import re
from typing import Any, ClassVar, cast

from django.http import HttpResponse
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from gradation.api.serializers import CertificateOut, RunOut, SampleOut
from gradation.errors import Fault, Invalid
from gradation.models import User
from gradation.queries.certificates import find_certificate_by_number
from gradation.queries.runs import find_run
from gradation.queries.samples import SampleFilter, find_sample, sample_page
from gradation.science.computing import compute
from gradation.science.errors import GradationError
from gradation.science.worksheet import Fault as WorksheetFault
from gradation.science.worksheet import WorksheetFaults


def person(request: Request) -> User:
    """Give the signed-in person; every endpoint asks for one."""
    return cast("User", request.user)


def _pointed(fault: WorksheetFault) -> Fault:
    """Turn a path such as $.fractions[2].mass_g into a pointer such as fractions/2/mass_g."""
    pointer = re.sub(r"[.\[\]]+", "/", fault.path.removeprefix("$")).strip("/")
    return Fault(pointer, fault.message, "worksheet")


class Gradations(APIView):
    """Compute a worksheet or a named calculation, and keep nothing."""

    area = "gradations"
    area_acts: ClassVar[dict[str, str]] = {"POST": "read"}  # computes, keeps nothing

    def post(self, request: Request) -> Response:
        """Give what `compute` prints for the same worksheet or calculation."""
        try:
            return Response(compute(request.data))
        except WorksheetFaults as error:
            raise Invalid(_pointed(fault) for fault in error.faults) from error
        except GradationError as error:
            raise Invalid.one("", str(error), code="cannot-compute") from error


class Samples(APIView):
    """The samples a person may see, newest first, a page at a time."""

    area = "samples"
    allowed: ClassVar[frozenset[str]] = frozenset({"search", "state", "before"})

    def get(self, request: Request) -> Response:
        """Give one page and the key of the next older one."""
        page = sample_page(person(request), self._wanted(request))
        return Response(
            {"results": SampleOut(page.rows, many=True).data, "older_than": page.older_than}
        )

    def _wanted(self, request: Request) -> SampleFilter:
        strange = set(request.query_params) - self.allowed
        if strange:
            names = ", ".join(sorted(strange))
            raise Invalid.one("", f"Unknown filter: {names}.", code="unknown-filter")
        before = request.query_params.get("before", "")
        if before and not (before.isascii() and before.isdigit() and len(before) < 18):
            raise Invalid.one("before", "The key is a whole number, taken from older_than.")
        return SampleFilter(
            search=request.query_params.get("search", "")[:200],
            state=request.query_params.get("state", "")[:20],
            before=int(before) if before else None,
        )


class OneSample(APIView):
    """One sample."""

    area = "samples"

    def get(self, request: Request, number: str) -> Response:
        """Give the sample of this number."""
        return Response(SampleOut(find_sample(person(request), number)).data)


class OneRun(APIView):
    """One run with its results."""

    area = "runs"

    def get(self, request: Request, pk: int) -> Response:
        """Give the run with the figures frozen for it."""
        return Response(RunOut(find_run(person(request), pk)).data)


class OneCertificate(APIView):
    """One issued certificate."""

    area = "certificates"

    def get(self, request: Request, number: str) -> Response:
        """Give its state, digest and content."""
        return Response(CertificateOut(find_certificate_by_number(person(request), number)).data)


class CertificateFile(APIView):
    """The file of an issued certificate."""

    area = "certificates"

    def get(self, request: Request, number: str) -> HttpResponse:
        """Give the bytes that were issued."""
        certificate = find_certificate_by_number(person(request), number)
        headers: dict[str, Any] = {
            "Content-Disposition": f'attachment; filename="{certificate.number}.pdf"',
            "X-Content-Type-Options": "nosniff",
        }
        file = bytes(certificate.pdf or b"")
        return HttpResponse(file, content_type="application/pdf", headers=headers)
