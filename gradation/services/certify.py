"""Certificates: drafted from accepted runs, issued under signature, amended or withdrawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from django.db import transaction
from django.db.models import Q

from gradation.errors import Conflict, Invalid
from gradation.models import (
    Certificate,
    Event,
    ReportForm,
    Run,
    Sample,
    SpecificationVersion,
    User,
)
from gradation.policy import Action, require
from gradation.queries.certificates import runs_of_samples
from gradation.services import clock, ledger, seals
from gradation.services.certificate_gates import refuse_signed, refuse_unread
from gradation.services.checking import cleaned, cleaned_row, locked, needs_reason
from gradation.services.issuing import finish_certificate
from gradation.services.outbox import announce
from gradation.services.signature_drafting import new_signature
from gradation.services.signing_act import confirm_signer

__all__ = [
    "MEANING",
    "Drafting",
    "amend_certificate",
    "discard_draft",
    "draft_certificate",
    "finish_certificate",
    "issue_certificate",
    "sign_draft",
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
    stands = Q(
        state__in=[Certificate.State.DRAFT, Certificate.State.ISSUED],
        withdrawn_at__isnull=True,  # a draft that was given up stands in nobody's way
    )
    standing = (
        sample.certificates.filter(stands).first()
        or sample.certificates_beside.filter(stands).first()
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
        refuse_signed(certificate)
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
    *, actor: User, certificate: Certificate, password: str, code: str = "", meaning: str = MEANING
) -> Certificate:
    """Issue a drafted certificate under the signatory's electronic signature.

    Authorised signatories may, re-entering their password (`NotAllowed` if it is wrong), and a code
    where they have a second factor. `sign_draft` and `finish_certificate` in one.
    """
    require(actor, Action.ISSUE_CERTIFICATE)
    confirm_signer(actor=actor, password=password, code=code)
    signed = sign_draft(actor=actor, certificate=certificate, meaning=meaning)
    return finish_certificate(actor=actor, certificate=signed)


def sign_draft(*, actor: User, certificate: Certificate, meaning: str = MEANING) -> Certificate:
    """Sign a draft, once the person was confirmed: number and date are given, content is frozen.

    Signatories may. The records behind it are sealed first. Refuses (`Conflict`) what is no draft,
    was signed, or whose runs were not read since something was written about them; (`Invalid`) the
    list of items still missing. Ledger: records sealed; certificate signed.
    """
    require(actor, Action.ISSUE_CERTIFICATE)
    with transaction.atomic():
        sample = locked(certificate.sample)
        certificate = locked(certificate, "sample")
        if certificate.state != Certificate.State.DRAFT:
            msg = f"{certificate} is {certificate.state}; only a draft can be issued."
            raise Conflict(msg)
        refuse_signed(certificate)
        samples = [sample, *certificate.further_samples.order_by("id")]
        refuse_unread(_accepted_runs(samples, list(certificate.runs.all())))
        if certificate.amends is not None:
            _refuse_unless_issued(locked(certificate.amends))
        seal = seals.seal_now(
            actor=actor, occasion=seals.Occasion.CERTIFICATE, about=f"certificate of {sample}"
        )
        signature = cleaned_row(new_signature(actor, certificate, meaning, seal))
        ledger.write(actor=actor, action="certificate signed", subject=signature)
    return certificate


def _refuse_unless_issued(certificate: Certificate) -> None:
    if certificate.state != Certificate.State.ISSUED:
        msg = f"{certificate} is {certificate.state}; only an issued certificate is amended."
        raise Conflict(msg)


def withdraw_certificate(
    *, actor: User, certificate: Certificate, reason: str, password: str, code: str = ""
) -> Certificate:
    """Withdraw an issued certificate; the document stays readable, its number is never used again.

    Authorised signatories may, with a reason and their password. Ledger: certificate withdrawn.
    Other systems: certificate.withdrawn.
    """
    require(actor, Action.WITHDRAW_CERTIFICATE)
    reason = needs_reason(reason, "withdraw the certificate")
    confirm_signer(actor=actor, password=password, code=code)
    with transaction.atomic():
        certificate = locked(certificate, "sample")
        if certificate.state != Certificate.State.ISSUED:
            msg = f"{certificate} is {certificate.state}; only an issued one can be withdrawn."
            raise Conflict(msg)
        amendment = Certificate.objects.filter(amends=certificate).first()
        if amendment is not None:
            refuse_signed(amendment)
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
