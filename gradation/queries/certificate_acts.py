"""What is done with certificates: drafts that wait for a signature, batches, messages."""

from __future__ import annotations

from django.db.models import QuerySet

from gradation.errors import NotFound
from gradation.models import Certificate, CertificateMail, IssueBatch, User
from gradation.queries.certificates import certificates_visible_to

__all__ = ["drafts_to_issue", "find_batch", "find_mail"]


def drafts_to_issue(actor: User) -> QuerySet[Certificate]:
    """List the drafts that wait for a signature, oldest first."""
    drafts = certificates_visible_to(actor).filter(state=Certificate.State.DRAFT)
    return drafts.filter(signature__isnull=True).order_by("id")


def find_batch(pk: int) -> IssueBatch:
    """Give one batch with its list, or `NotFound`."""
    batch = IssueBatch.objects.select_related("begun_by").filter(pk=pk).first()
    if batch is None:
        msg = "Nothing was issued together under that number. Go back to the certificates."
        raise NotFound(msg)
    return batch


def find_mail(actor: User, pk: int) -> CertificateMail:
    """Give one message about a certificate that this person may see, or `NotFound`."""
    mail = CertificateMail.objects.filter(
        pk=pk, certificate__in=certificates_visible_to(actor)
    ).first()
    if mail is None:
        msg = "There is no such message. Go back to the certificate."
        raise NotFound(msg)
    return mail
