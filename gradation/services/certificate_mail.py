"""Certificates by e-mail: asked for in the transaction, sent after it, every message on record."""

from __future__ import annotations

import logging
import smtplib

from django.core.exceptions import ValidationError
from django.core.mail import BadHeaderError, EmailMessage
from django.core.validators import validate_email
from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Certificate, CertificateMail, Laboratory, User
from gradation.policy import Action, require
from gradation.services import clock, ledger, long_work
from gradation.services.checking import cleaned_row, locked

__all__ = ["deliver_mail", "retry_mail", "send_certificate"]

log = logging.getLogger(__name__)

State = CertificateMail.State


def send_certificate(
    *, actor: User, certificate: Certificate, address: str = ""
) -> CertificateMail:
    """Send an issued certificate to its customer, or to another address; it goes after the commit.

    Reviewers and signatories may. Refuses (`Conflict`) what is not issued now, (`Invalid`, field
    `address`) no address, or one that is none: line breaks never reach a header. Ledger:
    certificate sent for.
    """
    require(actor, Action.SEND_CERTIFICATE)
    with transaction.atomic():
        certificate = locked(certificate, "sample__customer")
        if certificate.state != Certificate.State.ISSUED:
            msg = f"{certificate} is {certificate.state}; only an issued certificate is sent."
            raise Conflict(msg)
        mail = CertificateMail(
            certificate=certificate,
            address=_address(address or certificate.sample.customer.email),
            asked_at=clock.now(),
            asked_by=actor,
        )
        cleaned_row(mail)
        ledger.write(actor=actor, action="certificate sent for", subject=mail)
        _after_commit(actor, mail)
    return mail


def retry_mail(*, actor: User, mail: CertificateMail) -> CertificateMail:
    """Send a message again that failed, or that a stopped server left; Ledger: sent for again."""
    require(actor, Action.SEND_CERTIFICATE)
    with transaction.atomic():
        mail = locked(mail, "certificate")
        if mail.state == State.SENT:
            msg = f"It went to {mail.address} already."
            raise Conflict(msg)
        before = ledger.snapshot(mail)
        mail.state, mail.said = State.WAITING, ""
        mail.save(update_fields=["state", "said"])
        action = "certificate sent for again"
        ledger.write(actor=actor, action=action, subject=mail, before=before)
        _after_commit(actor, mail)
    return mail


def _after_commit(actor: User, mail: CertificateMail) -> None:
    name = f"certificate-mail-{mail.pk}"
    transaction.on_commit(
        lambda: long_work.begin(name, lambda: deliver_mail(actor=actor, mail=mail))
    )


def _address(text: str) -> str:
    try:
        validate_email(text)
    except ValidationError:
        msg = (
            f"'{text[:60]}' is no e-mail address."
            if text
            else "The customer has no e-mail address."
        )
        raise Invalid.one("address", f"{msg} Type one.", code="no-address") from None
    return text


def deliver_mail(*, actor: User, mail: CertificateMail) -> CertificateMail:
    """Hand one message to the mail server and write down what it said. Ledger: sent, or failed."""
    require(actor, Action.SEND_CERTIFICATE)
    mail = CertificateMail.objects.select_related("certificate__sample").get(pk=mail.pk)
    try:
        _message(mail.certificate, mail.address).send()
        state, said = State.SENT, ""
    except (OSError, smtplib.SMTPException, BadHeaderError) as fault:
        log.warning("certificate %s could not be sent: %s", mail.certificate.number, fault)
        state, said = State.FAILED, f"{type(fault).__name__}: {fault}"[:400]
    with transaction.atomic():
        mail = locked(mail, "certificate")
        before = ledger.snapshot(mail)
        mail.state, mail.said, mail.tries = state, said, mail.tries + 1
        mail.sent_at = clock.now() if state == State.SENT else None
        mail.save(update_fields=["state", "said", "tries", "sent_at"])
        action = "certificate sent" if state == State.SENT else "certificate not sent"
        ledger.write(actor=actor, action=action, subject=mail, before=before)
    return mail


def _message(certificate: Certificate, address: str) -> EmailMessage:
    laboratory = " ".join(Laboratory.objects.get().name.split())
    content = certificate.content or {}
    where = f"{content.get('verification_address', '')}{certificate.verification_code}"
    body = (
        f"Certificate {certificate.number} on sample {certificate.sample.number} is attached.\n\n"
        f"Whether it stands, and whether a file is the one that was issued, says:\n{where}\n\n"
        f"{laboratory}\n"
    )
    message = EmailMessage(f"Certificate {certificate.number}, {laboratory}", body, to=[address])
    file = bytes(certificate.pdf or b"")
    message.attach(f"{certificate.number}.pdf", file, "application/pdf")
    return message
