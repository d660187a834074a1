"""From a draft to an issued file: signed and numbered under a lock, drawn outside any lock.

Drawing takes a second; whoever waits for the lock of the numbers, or on SQLite for the whole
database, would wait as long. So the signature gives number, date and content in one short
transaction; the file is drawn from what was frozen; a second transaction keeps it. A server that
stops in between leaves a signature without its file, and `finish_certificate` goes on from there.
"""

from __future__ import annotations

import hashlib
import json

from django.db import transaction

from gradation.documents.certificate import certificate_pdf
from gradation.documents.certificate_content import CertificateContent
from gradation.documents.pdf_signature import signed_pdf
from gradation.errors import Conflict, Unavailable
from gradation.models import Certificate, CertificateSignature, Event, Sample, User
from gradation.policy import Action, require
from gradation.queries.entry_digests import content_digest
from gradation.services import clock, ledger
from gradation.services.certificate_gates import refuse_given_up
from gradation.services.checking import locked, needs_reason
from gradation.services.outbox import announce
from gradation.services.signing_act import confirm_signer
from gradation.services.signing_keys import laboratory_key

__all__ = ["finish_certificate", "give_up_signature"]


def finish_certificate(*, actor: User, certificate: Certificate) -> Certificate:
    """Draw the file of a signed certificate and issue it; also after a server stopped in between.

    Signatories may. What it amends becomes superseded; the sample is reported. Twice does no harm.
    Refuses (`Conflict`) a draft that nobody signed, (`Unavailable`) a file that cannot be drawn or
    signed now: the signature stands and can be gone on from, or given up. Ledger: certificate
    issued, with the digests of file and content. Other systems: certificate.issued or
    certificate.amended.
    """
    require(actor, Action.ISSUE_CERTIFICATE)
    signature = _signature_of(certificate)
    refuse_given_up(certificate, signature)
    pdf = _drawn(signature)
    with transaction.atomic():
        sample = locked(certificate.sample)
        certificate = locked(certificate, "sample")
        if certificate.state != Certificate.State.DRAFT:
            return certificate  # somebody else went on from the same signature
        refuse_given_up(certificate, signature)
        before = ledger.snapshot(certificate)
        _supersede(actor, certificate)
        _store(certificate, signature, pdf)
        _write_issue(actor, certificate, before)
        for each in (sample, *certificate.further_samples.order_by("id")):
            _mark_reported(actor, locked(each))
        is_new = certificate.amends_id is None
        event = Event.CERTIFICATE_ISSUED if is_new else Event.CERTIFICATE_AMENDED
        announce(event, [certificate])
    return certificate


def give_up_signature(
    *, actor: User, certificate: Certificate, reason: str, password: str, code: str = ""
) -> Certificate:
    """Give up a certificate that was signed and whose file cannot be made, as when its key is lost.

    Authorised signatories may, with a reason and their password. Draft and signature stay, and the
    number is not used again; another certificate can be drafted in its place. Refuses (`Conflict`)
    what nobody signed, what is issued, and what was given up. Ledger: signature given up.
    """
    require(actor, Action.WITHDRAW_CERTIFICATE)
    reason = needs_reason(reason, "give the signature up")
    confirm_signer(actor=actor, password=password, code=code)
    signature = _signature_of(certificate)
    with transaction.atomic():
        certificate = locked(certificate, "sample")
        if certificate.state != Certificate.State.DRAFT:
            msg = f"{certificate} is {certificate.state}. Withdraw it, if it must not be relied on."
            raise Conflict(msg)
        refuse_given_up(certificate, signature)
        before = ledger.snapshot(certificate)
        certificate.withdrawn_at, certificate.withdrawal_reason = clock.now(), reason
        certificate.amends = None  # what it was to amend can be amended by another
        certificate.save(update_fields=["withdrawn_at", "withdrawal_reason", "amends"])
        ledger.write(
            actor=actor,
            action="signature given up",
            subject=certificate,
            before=before,
            after=ledger.snapshot(certificate, number_not_used=signature.number),
            reason=reason,
        )
    return certificate


def _signature_of(certificate: Certificate) -> CertificateSignature:
    signature = CertificateSignature.objects.filter(certificate=certificate.pk).first()
    if signature is None:
        msg = f"{certificate} is not signed. A signatory issues it."
        raise Conflict(msg, code="not-signed")
    return signature


def _write_issue(actor: User, certificate: Certificate, before: ledger.State) -> None:
    digest = content_digest(certificate.content)
    ledger.write(
        actor=actor,
        action="certificate issued",
        subject=certificate,
        before=before,
        after=ledger.snapshot(certificate, content_sha256=digest),
    )


def _drawn(signature: CertificateSignature) -> bytes:
    """Draw the file from the frozen content, and sign it with the key that the content names."""
    content = CertificateContent.from_json(json.dumps(signature.content))
    pdf, key = certificate_pdf(content), laboratory_key()
    if (key.subject if key else "") != content.file_signed_by:
        msg = (
            f"{signature.number} says that its file is signed with the key of "
            f"{content.file_signed_by or 'nobody'}. Put that key back, then go on."
        )
        raise Unavailable(msg, code="signing-key")
    if key is None:
        return pdf
    return signed_pdf(pdf, key, reason=f"Certificate {signature.number} is issued")


def _store(certificate: Certificate, signature: CertificateSignature, pdf: bytes) -> None:
    certificate.number = signature.number
    certificate.state = Certificate.State.ISSUED
    certificate.issued_at, certificate.issued_by = signature.signed_at, signature.person
    certificate.issued_by_name, certificate.meaning = signature.person_name, signature.meaning
    certificate.verification_code = signature.verification_code
    certificate.content = signature.content
    certificate.pdf, certificate.pdf_sha256 = pdf, hashlib.sha256(pdf).hexdigest()
    certificate.save()


def _supersede(actor: User, certificate: Certificate) -> None:
    if certificate.amends_id is None:
        return
    former = Certificate.objects.select_for_update().get(pk=certificate.amends_id)
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


def _mark_reported(actor: User, sample: Sample) -> None:
    if sample.state != Sample.State.UNDER_TEST:
        return
    before = ledger.snapshot(sample)
    sample.state = Sample.State.REPORTED
    sample.version += 1
    sample.save(update_fields=["state", "version"])
    ledger.write(actor=actor, action="sample reported", subject=sample, before=before)
