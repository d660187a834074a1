"""Certificates: the list, drafting, the preview, issue, amendment and withdrawal."""

from __future__ import annotations

import json
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from gradation.documents.certificate import certificate_html
from gradation.documents.certificate import certificate_pdf as certificate_file
from gradation.documents.certificate_content import CertificateContent
from gradation.errors import Invalid
from gradation.models import Certificate, CertificateMail, CertificateSignature
from gradation.policy import Action
from gradation.queries import certificates as file
from gradation.queries.samples import find_sample
from gradation.queries.trail import stale_trails
from gradation.services import certify
from gradation.services.certificate_drafting import draft_content
from gradation.services.certificate_gates import open_gaps
from gradation.web import lists
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, sent
from gradation.web.document_page import framed_by_own_pages, on_screen
from gradation.web.forms.certificates import AmendForm, DraftForm, IssueForm, WithdrawForm
from gradation.web.forms.intake import ReasonForm

_STATES = [("", "all"), *((state.value, state.value) for state in Certificate.State)]


def _place(certificate: Certificate) -> str:
    return reverse("certificates:certificate-show", args=[certificate.pk])


@page(Action.READ_OWN_SAMPLES)
def certificate_list(request: PersonRequest) -> HttpResponse:
    """List certificates, newest first, and the samples that wait for one."""
    rows = file.certificates_visible_to(request.user)
    state = lists.chosen(request, "state", _STATES)
    context = {
        "page": lists.page_in_address(request, rows.filter(state=state) if state else rows),
        "states": lists.choices(request, "state", _STATES),
        "waiting": file.samples_ready_for_certificate(request.user),
    }
    return render(request, "web/certificates/certificate_list.html", context)


@page(Action.DRAFT_CERTIFICATE)
def certificate_draft(request: PersonRequest, number: str) -> HttpResponse:
    """Draft a certificate on accepted runs of a sample."""
    sample = find_sample(request.user, number)
    form = DraftForm(sample, sent(request))
    back = reverse("intake:sample-show", args=[number])
    asking = Asking(f"Draft a certificate on sample {sample}", "Draft it", back)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: certify.draft_certificate(
                actor=request.user, sample=sample, drafting=form.drafting()
            ),
            _place,
            lambda draft: "The draft is made. Look at it as it would be issued.",
        )
    )


@page(Action.READ_OWN_SAMPLES)
def certificate_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a certificate as it is or would be issued; a signatory issues it here."""
    certificate = file.find_certificate(request.user, pk)
    template, context = "web/certificates/certificate_show.html", _waiting(certificate)
    return FormPage(request, IssueForm(), template=template, context=context).show()


def _waiting(certificate: Certificate) -> dict[str, Any]:
    """Say what keeps a draft from being issued."""
    mails = CertificateMail.objects.filter(certificate=certificate.pk)
    shown: dict[str, Any] = {
        "certificate": certificate,
        "signature": CertificateSignature.objects.filter(certificate=certificate.pk).first(),
        "mails": mails.select_related("asked_by"),
    }
    if certificate.state != Certificate.State.DRAFT:
        return shown
    try:
        gaps = open_gaps(certificate)
    except Invalid:
        return shown  # its runs were taken back; the preview says so
    runs = certificate.runs.select_related("portion__sample")
    return shown | {"gaps": gaps, "stale": stale_trails(list(runs))}


@page(Action.ISSUE_CERTIFICATE)
def certificate_issue(request: PersonRequest, pk: int) -> HttpResponse:
    """Issue a drafted certificate under the signatory's password."""
    certificate = file.find_certificate(request.user, pk)
    form = IssueForm(sent(request))
    return FormPage(
        request,
        form,
        template="web/certificates/certificate_show.html",
        context=_waiting(certificate),
    ).answer(
        Doing(
            lambda: certify.issue_certificate(
                actor=request.user,
                certificate=certificate,
                **form.cleaned_data,
            ),
            _place,
            lambda issued: f"Certificate {issued} is issued.",
        )
    )


def _content(certificate: Certificate) -> CertificateContent:
    if certificate.state == Certificate.State.DRAFT:
        return draft_content(certificate)
    return CertificateContent.from_json(json.dumps(certificate.content))


@require_GET
@framed_by_own_pages
@page(Action.READ_OWN_SAMPLES)
def certificate_preview(request: PersonRequest, pk: int) -> HttpResponse:
    """Give the document itself, to be looked at inside its page."""
    certificate = file.find_certificate(request.user, pk)
    return HttpResponse(on_screen(certificate_html(_content(certificate))))


@require_GET
@page(Action.READ_OWN_SAMPLES)
def certificate_record(request: PersonRequest, pk: int) -> HttpResponse:
    """Give the full record behind a certificate, also what a simplified report leaves out."""
    certificate = file.find_certificate(request.user, pk)
    html = certificate_html(_content(certificate), full_record=True)
    return HttpResponse(on_screen(html))


@require_GET
@page(Action.READ_OWN_SAMPLES)
def certificate_pdf(request: PersonRequest, pk: int) -> HttpResponse:
    """Give the file: the one that was issued, or a draft marked as such."""
    certificate = file.find_certificate(request.user, pk)
    if certificate.state == Certificate.State.DRAFT:
        pdf = certificate_file(draft_content(certificate))
    else:
        pdf = bytes(certificate.pdf or b"")
    name = f"{certificate}.pdf".replace(" ", "-")
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return HttpResponse(pdf, content_type="application/pdf", headers=headers)


@page(Action.DRAFT_CERTIFICATE)
def certificate_amend(request: PersonRequest, pk: int) -> HttpResponse:
    """Draft the amendment of an issued certificate."""
    certificate = file.find_certificate(request.user, pk)
    form = AmendForm(certificate, sent(request))
    asking = Asking(f"Amend certificate {certificate}", "Draft the amendment", _place(certificate))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: certify.amend_certificate(
                actor=request.user,
                certificate=certificate,
                drafting=form.drafting(),
                reason=form.cleaned_data["reason"],
            ),
            _place,
            lambda draft: "The amendment is drafted. The certificate stands until it is issued.",
        )
    )


@page(Action.WITHDRAW_CERTIFICATE)
def certificate_withdraw(request: PersonRequest, pk: int) -> HttpResponse:
    """Withdraw an issued certificate, with a reason and the password."""
    certificate = file.find_certificate(request.user, pk)
    form = WithdrawForm(sent(request))
    heading = f"Withdraw certificate {certificate}"
    asking = Asking(heading, "Withdraw it", _place(certificate), grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: certify.withdraw_certificate(
                actor=request.user, certificate=certificate, **form.cleaned_data
            ),
            _place,
            lambda withdrawn: f"Certificate {withdrawn} is withdrawn; it stays readable.",
        )
    )


@page(Action.DRAFT_CERTIFICATE)
def draft_discard(request: PersonRequest, pk: int) -> HttpResponse:
    """Throw a draft away, with a reason."""
    certificate = file.find_certificate(request.user, pk)
    sample = certificate.sample
    form = ReasonForm(sent(request))
    heading = f"Discard the draft on sample {sample}"
    asking = Asking(heading, "Discard the draft", _place(certificate), grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: certify.discard_draft(
                actor=request.user, certificate=certificate, reason=form.cleaned_data["reason"]
            ),
            lambda nothing: reverse("intake:sample-show", args=[sample.number]),
            lambda nothing: "The draft is discarded; that it was is kept.",
        )
    )
