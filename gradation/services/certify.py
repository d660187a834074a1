"""Certificates: drafted from accepted runs, issued under signature, amended or withdrawn."""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, field

from django.db import transaction

from gradation.documents.certificate import certificate_pdf
from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Certificate, Event, ReportForm, Run, Sample, SpecificationVersion, User
from gradation.policy import Action, require
from gradation.queries.certificates import runs_of_samples
from gradation.queries.verification.files import content_digest
from gradation.services import clock, ledger, numbering, seals
from gradation.services.certificate_drafting import Signing, certificate_content
from gradation.services.certificate_gates import refuse_gaps, refuse_unread
from gradation.services.checking import cleaned, locked, needs_reason
from gradation.services.outbox import announce

__all__ = [
    "MEANING",
    "Drafting",
    "amend_certificate",
    "discard_draft",
    "draft_certificate",
    "issue_certificate",
    "withdraw_certificate",
]

MEANING = "Authorised for issue: I have reviewed the records behind these results."


@dataclass(frozen=True)
class Drafting:
    """What goes on a certificate: accepted runs, remarks, and what it is held against beside.

    Runs may be of several samples of one customer. Without a `report_form` the one of the
    customer, the material or the laboratory holds.
    """

    runs: Sequence[Run] = field(default_factory=tuple)
    remarks: str = ""
    report_form: ReportForm | None = None
    uncertainty_asked: bool = False
    further_samples: Sequence[Sample] = field(default_factory=tuple)
    further_specifications: Sequence[SpecificationVersion] = field(default_factory=tuple)


def draft_certificate(*, actor: User, sample: Sample, drafting: Drafting) -> Certificate:
    """Draft a certificate on accepted runs of one sample.

    Reviewers and signatories may. Refuses (`Invalid`) no runs, or runs not accepted or of another
    sample; refuses (`Conflict`) a second line of certificates: what was issued is amended. Ledger:
    certificate drafted.
    """
    require(actor, Action.DRAFT_CERTIFICATE)
    with transaction.atomic():
        sample = locked(sample)
        for each in (sample, *drafting.further_samples):
            _refuse_second_line(each)
        return _draft(actor, Certificate(sample=sample), drafting, "certificate drafted")


def amend_certificate(
    *, actor: User, certificate: Certificate, drafting: Drafting, reason: str
) -> Certificate:
    """Draft the amendment of an issued certificate: a new document that says what it replaces.

    Reviewers and signatories may, with a reason. The old one stays valid until the amendment is
    issued. Refuses (`Conflict`) a second amendment of the same certificate. Ledger: drafted.
    """
    require(actor, Action.DRAFT_CERTIFICATE)
    reason = needs_reason(reason, "amend the certificate")
    with transaction.atomic():
        certificate = locked(certificate, "sample")
        _refuse_unless_issued(certificate)
        if Certificate.objects.filter(amends=certificate).exists():
            msg = f"{certificate} is being amended already. Open that draft."
            raise Conflict(msg, code="amended-already")
        draft = Certificate(sample=certificate.sample, amends=certificate, reason=reason)
        return _draft(actor, draft, drafting, "amendment drafted")


def _draft(actor: User, draft: Certificate, drafting: Drafting, action: str) -> Certificate:
    runs = _accepted_runs([draft.sample, *drafting.further_samples], drafting.runs)
    draft.report_form, draft.uncertainty_asked = drafting.report_form, drafting.uncertainty_asked
    draft.remarks, draft.drafted_at, draft.drafted_by = drafting.remarks, clock.now(), actor
    cleaned(draft, exclude=frozenset({"content", "pdf"})).save(force_insert=True)
    draft.runs.set(runs)
    draft.further_samples.set(drafting.further_samples)
    draft.further_specifications.set(drafting.further_specifications)
    after = ledger.snapshot(
        draft,
        runs=[str(run) for run in runs],
        further_samples=[str(each) for each in drafting.further_samples],
        further_specifications=[str(each) for each in drafting.further_specifications],
    )
    ledger.write(actor=actor, action=action, subject=draft, after=after, reason=draft.reason)
    return draft


def _accepted_runs(samples: Sequence[Sample], runs: Sequence[Run]) -> list[Run]:
    wanted = {run.pk for run in runs}
    accepted = [run for run in runs_of_samples(samples) if run.pk in wanted]
    if len({sample.customer_id for sample in samples}) > 1:
        msg = "These samples are of different customers. A certificate goes to one of them."
        raise Invalid.one("further_samples", msg, code="customers-differ")
    if not wanted or len(accepted) != len(wanted):
        msg = "Choose at least one run of this sample, each accepted by a reviewer."
        raise Invalid.one("runs", msg, code="not-accepted")
    methods = {str(run.procedure_version) for run in accepted}
    if len(methods) > 1:
        msg = (
            f"These runs follow different methods ({', '.join(sorted(methods))}). A certificate "
            "names one method: choose runs of one of them."
        )
        raise Invalid.one("runs", msg, code="methods-differ")
    return accepted


def _refuse_second_line(sample: Sample) -> None:
    standing = (
        sample.certificates.filter(
            state__in=[Certificate.State.DRAFT, Certificate.State.ISSUED]
        ).first()
        or sample.certificates_beside.filter(
            state__in=[Certificate.State.DRAFT, Certificate.State.ISSUED]
        ).first()
    )
    if standing is not None:
        msg = f"Sample {sample} has {standing} ({standing.state}). Open it, or amend it."
        raise Conflict(msg, code="certificate-exists")


def discard_draft(*, actor: User, certificate: Certificate, reason: str) -> None:
    """Throw a draft away, with a reason; nothing issued is ever deleted. Ledger: discarded."""
    require(actor, Action.DRAFT_CERTIFICATE)
    reason = needs_reason(reason, "discard the draft")
    with transaction.atomic():
        certificate = locked(certificate, "sample")
        if certificate.state != Certificate.State.DRAFT:
            msg = f"{certificate} is {certificate.state}; only a draft can be discarded."
            raise Conflict(msg)
        ledger.write(
            actor=actor,
            action="draft discarded",
            subject=certificate,
            before=ledger.snapshot(certificate),
            after={},
            reason=reason,
        )
        certificate.delete()


def issue_certificate(
    *, actor: User, certificate: Certificate, password: str, meaning: str = MEANING
) -> Certificate:
    """Issue a drafted certificate under the signatory's electronic signature.

    Authorised signatories may, re-entering their password (`NotAllowed` if it is wrong). Number and
    date are given here; content and PDF are frozen; the certificate it amends becomes superseded;
    the sample is reported. The records behind it are sealed before it is drawn. Refuses (`Invalid`)
    with the list of items still missing. Ledger: records sealed; certificate issued, with the
    digests of file and content. Other systems: certificate.issued or certificate.amended.
    """
    require(actor, Action.ISSUE_CERTIFICATE)
    _check_password(actor, password)
    with transaction.atomic():
        sample = locked(certificate.sample)
        certificate = locked(certificate, "sample")
        if certificate.state != Certificate.State.DRAFT:
            msg = f"{certificate} is {certificate.state}; only a draft can be issued."
            raise Conflict(msg)
        samples = [sample, *certificate.further_samples.order_by("id")]
        refuse_unread(_accepted_runs(samples, list(certificate.runs.all())))
        before = ledger.snapshot(certificate)
        _supersede(actor, certificate)
        seals.seal_now(
            actor=actor, occasion=seals.Occasion.CERTIFICATE, about=f"certificate of {sample}"
        )
        _freeze(actor, certificate, meaning)
        digest = content_digest(certificate.content)
        after = ledger.snapshot(certificate, content_sha256=digest)
        ledger.write(
            actor=actor,
            action="certificate issued",
            subject=certificate,
            before=before,
            after=after,
        )
        for each in samples:
            _mark_reported(actor, locked(each))
        is_new = certificate.amends_id is None
        event = Event.CERTIFICATE_ISSUED if is_new else Event.CERTIFICATE_AMENDED
        announce(event, [certificate])
    return certificate


def _write_issue(actor: User, certificate: Certificate, before: ledger.State) -> None:
    digest = content_digest(certificate.content)
    ledger.write(
        actor=actor,
        action="certificate issued",
        subject=certificate,
        before=before,
        after=ledger.snapshot(certificate, content_sha256=digest),
    )


def _check_password(actor: User, password: str) -> None:
    if not actor.check_password(password):
        msg = "The password is not yours. Nothing was signed."
        raise NotAllowed(msg, code="wrong-password", field="password")


def _freeze(actor: User, certificate: Certificate, meaning: str) -> None:
    """Give the number, draw the document and keep both for ever."""
    now = clock.now()
    certificate.number = (
        f"C{now.year % 100:02d}-{numbering.next_number(f'certificate/{now.year}'):04d}"
    )
    certificate.state = Certificate.State.ISSUED
    certificate.issued_at, certificate.issued_by = now, actor
    certificate.issued_by_name, certificate.meaning = actor.full_name, meaning
    certificate.verification_code = secrets.token_urlsafe(18)
    content = certificate_content(certificate, Signing(actor.full_name, now, meaning))
    refuse_gaps(content)
    pdf = certificate_pdf(content)
    certificate.content = json.loads(content.to_json())
    certificate.pdf, certificate.pdf_sha256 = pdf, hashlib.sha256(pdf).hexdigest()
    certificate.save()


def _supersede(actor: User, certificate: Certificate) -> None:
    if certificate.amends_id is None:
        return
    former = Certificate.objects.select_for_update().get(pk=certificate.amends_id)
    _refuse_unless_issued(former)
    before = ledger.snapshot(former)
    former.state = Certificate.State.SUPERSEDED
    former.save(update_fields=["state"])
    ledger.write(
        actor=actor,
        action="certificate superseded",
        subject=former,
        before=before,
        reason=certificate.reason,
    )


def _refuse_unless_issued(certificate: Certificate) -> None:
    if certificate.state != Certificate.State.ISSUED:
        msg = f"{certificate} is {certificate.state}; only an issued certificate is amended."
        raise Conflict(msg)


def _mark_reported(actor: User, sample: Sample) -> None:
    if sample.state != Sample.State.UNDER_TEST:
        return
    before = ledger.snapshot(sample)
    sample.state = Sample.State.REPORTED
    sample.version += 1
    sample.save(update_fields=["state", "version"])
    ledger.write(actor=actor, action="sample reported", subject=sample, before=before)


def withdraw_certificate(
    *, actor: User, certificate: Certificate, reason: str, password: str
) -> Certificate:
    """Withdraw an issued certificate; the document stays readable, its number is never used again.

    Authorised signatories may, with a reason and their password. Ledger: certificate withdrawn.
    Other systems: certificate.withdrawn.
    """
    require(actor, Action.WITHDRAW_CERTIFICATE)
    reason = needs_reason(reason, "withdraw the certificate")
    _check_password(actor, password)
    with transaction.atomic():
        certificate = locked(certificate, "sample")
        if certificate.state != Certificate.State.ISSUED:
            msg = f"{certificate} is {certificate.state}; only an issued one can be withdrawn."
            raise Conflict(msg)
        before = ledger.snapshot(certificate)
        certificate.state = Certificate.State.WITHDRAWN
        certificate.withdrawn_at = clock.now()
        certificate.withdrawal_reason = reason
        certificate.save(update_fields=["state", "withdrawn_at", "withdrawal_reason"])
        ledger.write(
            actor=actor,
            action="certificate withdrawn",
            subject=certificate,
            before=before,
            reason=reason,
        )
        announce(Event.CERTIFICATE_WITHDRAWN, [certificate])
    return certificate
