"""Endpoints of certificates: drafted and amended here, signed by a person on the screen."""

from __future__ import annotations

import hashlib
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.things import Act, Listing, ReasonIn, Thing, Words, route
from gradation.api.contract.told import Answer, OlderPage, Sent, Told
from gradation.api.samples import EVERYBODY, narrowed
from gradation.api.serializers import CertificateBrief, CertificateOut, states
from gradation.errors import Fault, Invalid, NotAllowed, NotFound
from gradation.models import Certificate, User
from gradation.queries.certificates import (
    certificates_visible_to,
    find_certificate,
    find_certificate_by_number,
)
from gradation.queries.methods import specification_version
from gradation.queries.report_forms import find_report_form
from gradation.queries.runs import find_run
from gradation.queries.samples import find_sample
from gradation.services import certify
from gradation.services.certificate_mail import send_certificate

_NO_FILE = "There is no file: only an issued certificate has one."


class CertificateFilters(OlderPage):
    """What the list of certificates is narrowed to."""

    state = serializers.ChoiceField(states(Certificate.State), required=False)
    sample = serializers.CharField(max_length=20, required=False)
    changed_since = serializers.DateTimeField(
        required=False, help_text="Certificates of samples with a later entry in their history."
    )


def _certificates(person: User, asked: Words) -> QuerySet[Certificate]:
    rows = certificates_visible_to(person)
    if "state" in asked:
        rows = rows.filter(state=asked["state"])
    if "sample" in asked:
        rows = rows.filter(sample__number=asked["sample"])
    return narrowed(rows, asked.get("changed_since"), "sample__number")


class ContentIn(Sent):
    """What goes on a certificate."""

    runs = serializers.ListField(
        child=serializers.IntegerField(), max_length=50, help_text="Accepted runs, by their ids."
    )
    remarks = serializers.CharField(max_length=4000, default="", allow_blank=True)
    report_form = serializers.IntegerField(
        default=None,
        allow_null=True,
        min_value=1,
        max_value=2**63 - 1,
        help_text="Id of a report form; without it the one of the customer, material or trade.",
    )
    uncertainty_asked = serializers.BooleanField(default=False)
    further_samples = serializers.ListField(
        child=serializers.CharField(max_length=20),
        default=list,
        max_length=20,
        help_text="Further samples of the same customer, by their numbers.",
    )
    further_specifications = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=2**63 - 1),
        default=list,
        max_length=10,
        help_text="Ids of specification versions that the results are held against beside.",
    )


class DraftIn(ContentIn):
    """What goes on a certificate of which sample."""

    sample = serializers.CharField(max_length=20)


class AmendmentIn(ContentIn):
    """What goes on an amendment, and why it is made."""

    reason = serializers.CharField(max_length=400)


ISSUED = Thing("certificate", find_certificate_by_number, CertificateOut)


def _find_draft(person: User, pk: int) -> Certificate:
    draft = find_certificate(person, pk)
    if draft.state != Certificate.State.DRAFT:
        msg = f"This is no draft any more: it is {draft}. Ask for it by its number."
        raise NotFound(msg)
    return draft


DRAFT = Thing("certificate", _find_draft, CertificateOut)


def _drafting(person: User, told: Words) -> certify.Drafting:
    faults: list[Fault] = []
    form = _one_of(faults, "report_form", find_report_form, told["report_form"])
    versions = [
        _one_of(faults, "further_specifications", specification_version, key)
        for key in dict.fromkeys(told["further_specifications"])
    ]
    if faults:
        raise Invalid(faults)
    return certify.Drafting(
        runs=[find_run(person, pk) for pk in dict.fromkeys(told["runs"])],
        remarks=told["remarks"],
        report_form=form,
        uncertainty_asked=told["uncertainty_asked"],
        further_samples=[find_sample(person, n) for n in dict.fromkeys(told["further_samples"])],
        further_specifications=versions,
    )


def _one_of(faults: list[Fault], field: str, find: Any, key: int | None) -> Any:  # noqa: ANN401
    found = None if key is None else find(key)
    if found is None and key is not None:
        faults.append(Fault(field, f"There is none with the id {key}.", "unknown-id"))
    return found


def _drafted(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    sample = find_sample(person, told["sample"])
    return {"sample": sample, "drafting": _drafting(person, told)}


class SendIn(Sent):
    """To whom."""

    address = serializers.EmailField(
        max_length=254, default="", allow_blank=True, help_text="Empty: to the customer's address."
    )


def _amended(person: User, subject: Certificate, told: Words) -> Words:
    return {"drafting": _drafting(person, told), "reason": told["reason"]}


class CertificateFile(Endpoint):
    """The file of an issued certificate."""

    area = "certificates"
    operation = "certificate-pdf"
    is_open = True
    told = {"GET": Told(gives=bytes, more=(Answer(bytes, 200, "application/pdf"),))}

    def get(self, request: Request, number: str) -> HttpResponse:
        """Give the bytes that were issued."""
        certificate = find_certificate_by_number(self.person, number)
        if certificate.pdf is None:
            raise NotFound(_NO_FILE)
        headers = {
            "Content-Disposition": f'attachment; filename="{certificate.number}.pdf"',
            "X-Content-Type-Options": "nosniff",
        }
        file = bytes(certificate.pdf)
        return HttpResponse(file, content_type="application/pdf", headers=headers)


class VerifyFilters(Sent):
    """A digest to hold against the certificate."""

    sha256 = serializers.RegexField(
        r"^[0-9a-f]{64}$", required=False, help_text="SHA-256 of the file somebody holds."
    )


class VerifiedOut(serializers.Serializer):
    """Whether a certificate stands, and whether a file is the one that was issued."""

    number = serializers.CharField()
    state = serializers.ChoiceField(states(Certificate.State))
    stands = serializers.BooleanField(help_text="Issued, neither replaced nor withdrawn.")
    replaced_by = serializers.CharField(allow_null=True)
    file_is_whole = serializers.BooleanField(help_text="The file kept has the digest it was given.")
    is_same_file = serializers.BooleanField(
        allow_null=True, help_text="Whether the digest sent is that of the file; null without one."
    )


class Verified(Endpoint):
    """Whether a certificate stands."""

    area = "certificates"
    operation = "certificate-verify"
    is_open = True
    told = {"GET": Told(gives=VerifiedOut, asks=VerifyFilters)}

    def get(self, request: Request, number: str) -> Response:
        """Say whether it stands, and whether a file with this digest is the one issued."""
        found = find_certificate_by_number(self.person, number)
        sent = self.asked.get("sha256")
        successor = getattr(found, "amended_by", None)
        kept = hashlib.sha256(bytes(found.pdf or b"")).hexdigest()
        return Response(
            {
                "number": found.number,
                "state": found.state,
                "stands": found.state == Certificate.State.ISSUED,
                "replaced_by": successor.number if successor else None,
                "file_is_whole": kept == found.pdf_sha256,
                "is_same_file": None if sent is None else sent == found.pdf_sha256,
            }
        )


class Signing(Endpoint):
    """Signing, which this interface does not do."""

    area = "certificates"
    told = {
        "POST": Told(
            gives=CertificateOut,
            about="Refused always (403, signing-needs-a-person).\n\nA certificate is issued and "
            "withdrawn by an authorised signatory who enters a password, on the screen; a token "
            "cannot sign for a person. Draft it here, and the signatory finds it waiting.",
        )
    }

    def post(self, request: Request, **named: Any) -> Response:
        """Refuse: a signature is a person's second act."""
        msg = (
            "A signature is a person's own act: an authorised signatory issues and withdraws on "
            "the screen, with a password. The draft waits there."
        )
        raise NotAllowed(msg, code="signing-needs-a-person")


class Issue(Signing):
    """Issue a draft."""

    operation = "draft-issue"


class Withdraw(Signing):
    """Withdraw a certificate."""

    operation = "certificate-withdraw"


_NUMBER = "certificates/<str:number>"
_DRAFT = "certificate-drafts/<int:pk>"
routes = [
    route(
        "certificates",
        "certificates",
        "certificates",
        usual=EVERYBODY,
        get=Listing(_certificates, CertificateBrief, CertificateFilters),
    ),
    route(
        "certificate-drafts",
        "certificate-drafts",
        "certificates",
        post=Act(certify.draft_certificate, DraftIn, _drafted, made=DRAFT, code=201),
    ),
    route(_DRAFT, "certificate-draft", "certificates", get=DRAFT),
    route(
        f"{_DRAFT}/discard",
        "draft-discard",
        "certificates",
        post=Act(certify.discard_draft, ReasonIn, thing=DRAFT, code=204),
    ),
    path(f"{_DRAFT}/issue", Issue.as_view(), name="draft-issue"),
    route(_NUMBER, "certificate", "certificates", usual=EVERYBODY, get=ISSUED),
    route(
        f"{_NUMBER}/send",
        "certificate-send",
        "certificates",
        post=Act(send_certificate, SendIn, thing=ISSUED, matched=False),
    ),
    path(f"{_NUMBER}/pdf", CertificateFile.as_view(), name="certificate-pdf"),
    path(f"{_NUMBER}/verify", Verified.as_view(), name="certificate-verify"),
    route(
        f"{_NUMBER}/amend",
        "certificate-amend",
        "certificates",
        post=Act(certify.amend_certificate, AmendmentIn, _amended, ISSUED, made=DRAFT, code=201),
    ),
    path(f"{_NUMBER}/withdraw", Withdraw.as_view(), name="certificate-withdraw"),
]
