"""Acts on certificates beside drafting: finishing, issuing several, sending, the policy."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from gradation.models import IssueBatch
from gradation.policy import Action
from gradation.queries import certificate_acts as acts
from gradation.queries.certificates import find_certificate
from gradation.queries.signatures import newest_policy, policy_to_accept
from gradation.services import certificate_mail, certify, clock, issue_batches, long_work
from gradation.services import signing_policy as policies
from gradation.services.issuing import give_up_signature
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, said, sent
from gradation.web.forms.certificates import (
    AcceptForm,
    GiveUpForm,
    IssueManyForm,
    MailForm,
    PolicyForm,
)


def _show(pk: int) -> str:
    return reverse("certificates:certificate-show", args=[pk])


def _list(_: object = None) -> str:
    return reverse("certificates:certificate-list")


@require_POST
@page(Action.ISSUE_CERTIFICATE)
def certificate_finish(request: PersonRequest, pk: int) -> HttpResponse:
    """Make the file of a certificate that was signed when a server stopped."""
    certificate = find_certificate(request.user, pk)
    issued = certify.finish_certificate(actor=request.user, certificate=certificate)
    said(request, f"Certificate {issued} is issued.")
    return redirect(_show(pk))


@page(Action.WITHDRAW_CERTIFICATE)
def signature_give_up(request: PersonRequest, pk: int) -> HttpResponse:
    """Give up a certificate that was signed and whose file cannot be made."""
    certificate = find_certificate(request.user, pk)
    form = GiveUpForm(sent(request))
    heading = f"Give up the signed certificate of sample {certificate.sample}"
    asking = Asking(heading, "Give it up", _show(pk), grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: give_up_signature(
                actor=request.user, certificate=certificate, **form.cleaned_data
            ),
            lambda _: _show(pk),
            lambda _: "It is given up. Draft another certificate in its place.",
        )
    )


@page(Action.ISSUE_CERTIFICATE)
def certificates_issue(request: PersonRequest) -> HttpResponse:
    """Issue several drafts under one signature."""
    form = IssueManyForm(acts.drafts_to_issue(request.user), sent(request))
    asking = Asking("Issue several certificates", "Sign and issue them", _list())
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: _begun(request, form),
            lambda batch: reverse("certificates:batch-show", args=[batch.pk]),
            lambda batch: "Signed. They are issued one after the other.",
        )
    )


def _begun(request: PersonRequest, form: IssueManyForm) -> IssueBatch:
    asked = {**form.cleaned_data, "drafts": list(form.cleaned_data["drafts"])}
    batch = issue_batches.begin_batch(actor=request.user, **asked)
    _start(request, batch)
    return batch


def _start(request: PersonRequest, batch: IssueBatch) -> None:
    long_work.begin(
        batch.work_name, lambda: issue_batches.do_batch(actor=request.user, batch=batch)
    )


@page(Action.ISSUE_CERTIFICATE)
def batch_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show how far several certificates are, and what became of each."""
    return render(request, "web/certificates/batch_show.html", _context(pk))


@require_GET
@page(Action.ISSUE_CERTIFICATE)
def batch_progress(request: PersonRequest, pk: int) -> HttpResponse:
    """Give the part of the page that tells how far the work is."""
    return render(request, "web/certificates/batch_progress.html", _context(pk))


def _context(pk: int) -> dict[str, Any]:
    batch = acts.find_batch(pk)
    done = long_work.Progress.of(batch.work_name)
    return {
        "batch": batch,
        "items": batch.items.all(),
        "done": batch.done if done is None else done,
        "silent": batch.is_silent(clock.now()),
    }


@require_POST
@page(Action.ISSUE_CERTIFICATE)
def batch_stop(request: PersonRequest, pk: int) -> HttpResponse:
    """Ask the work to stop after the certificate in hand."""
    issue_batches.stop_batch(actor=request.user, batch=acts.find_batch(pk))
    return redirect("certificates:batch-show", pk=pk)


@require_POST
@page(Action.ISSUE_CERTIFICATE)
def batch_resume(request: PersonRequest, pk: int) -> HttpResponse:
    """Go on with what a stopped server left; the signature was given."""
    batch = acts.find_batch(pk)
    if batch.is_silent(clock.now()):
        _start(request, batch)
    return redirect("certificates:batch-show", pk=pk)


@page(Action.SEND_CERTIFICATE)
def certificate_send(request: PersonRequest, pk: int) -> HttpResponse:
    """Send a certificate by e-mail."""
    certificate = find_certificate(request.user, pk)
    form = MailForm(sent(request), initial={"address": certificate.sample.customer.email})
    asking = Asking(f"Send certificate {certificate} by e-mail", "Send it", _show(pk))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: certificate_mail.send_certificate(
                actor=request.user, certificate=certificate, **form.cleaned_data
            ),
            lambda mail: _show(pk),
            lambda mail: f"It goes to {mail.address}. What became of it stands below.",
        )
    )


@require_POST
@page(Action.SEND_CERTIFICATE)
def mail_retry(request: PersonRequest, pk: int) -> HttpResponse:
    """Send a message again."""
    mail = acts.find_mail(request.user, pk)
    certificate_mail.retry_mail(actor=request.user, mail=mail)
    return redirect(_show(mail.certificate_id))


@page(Action.SET_SIGNING_POLICY)
def policy_set(request: PersonRequest) -> HttpResponse:
    """Set a new version of the signing policy."""
    newest = newest_policy()
    form = PolicyForm(sent(request), initial={"text": newest.text if newest else ""})
    asking = Asking(
        "Signing policy",
        "Set the new version",
        reverse("settings:laboratory-show"),
        intro="Nobody signs a certificate until they accepted the newest version.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: policies.set_signing_policy(actor=request.user, **form.cleaned_data),
            lambda _: reverse("settings:laboratory-show"),
            lambda policy: f"The {policy} holds from now on.",
        )
    )


@page(Action.ACCEPT_SIGNING_POLICY)
def policy_accept(request: PersonRequest) -> HttpResponse:
    """Read and accept the newest signing policy."""
    policy = policy_to_accept(request.user)
    if policy is None and request.method == "GET":
        said(request, "There is no signing policy that you have not accepted.")
        return redirect(_list())
    form = AcceptForm(sent(request), initial={"version": policy.version if policy else 0})
    asking = Asking(
        f"Signing policy, version {policy.version if policy else 0}",
        "I accept it",
        _list(),
        intro=policy.text if policy else "",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: policies.accept_policy(actor=request.user, **form.cleaned_data),
            _list,
            lambda accepted: f"You accepted the {accepted.policy}.",
        )
    )
