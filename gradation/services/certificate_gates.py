"""What has to be true of a draft before it is signed: nothing missing, unread, signed before."""

from __future__ import annotations

from collections.abc import Sequence

from gradation.documents.certificate_content import CertificateContent
from gradation.documents.certificate_gaps import missing_items
from gradation.errors import Conflict, Fault, Invalid
from gradation.models import Certificate, CertificateSignature, Run
from gradation.queries.trail import stale_trails
from gradation.services.certificate_drafting import draft_content

__all__ = ["open_gaps", "refuse_gaps", "refuse_given_up", "refuse_signed", "refuse_unread"]

#: What the issuing itself gives.
_GIVEN_AT_ISSUE = frozenset({"certificate number", "date of issue", "signature"})


def open_gaps(certificate: Certificate) -> list[str]:
    """List what a draft still lacks before it can be issued, less what the issuing itself gives."""
    gaps = missing_items(draft_content(certificate))
    return [gap for gap in gaps if gap not in _GIVEN_AT_ISSUE]


def refuse_gaps(content: CertificateContent) -> None:
    """Refuse (`Invalid`) a content in which something is missing, with the whole list at once."""
    gaps = missing_items(content)
    if gaps:
        raise Invalid([Fault("content", f"Missing: {gap}.", "content-gap") for gap in gaps])


def refuse_unread(runs: Sequence[Run]) -> None:
    """Refuse (`Conflict`) runs whose history moved on since somebody went through it."""
    for trail in stale_trails(runs):
        what = ", ".join(event.action for event in trail.news) or "its history"
        msg = (
            f"About run {trail.run} something was written since its review: {what}. A reviewer "
            "looks at it first, on the run's page under Review."
        )
        raise Conflict(msg, code="review-stale")


def refuse_signed(certificate: Certificate) -> None:
    """Refuse (`Conflict`) to change or sign again what was signed."""
    signature = CertificateSignature.objects.filter(certificate=certificate.pk).first()
    if signature is None:
        return
    refuse_given_up(certificate, signature)
    msg = f"It was signed as {signature}; its file is being made. Finish it."
    raise Conflict(msg, code="signed-already")


def refuse_given_up(certificate: Certificate, signature: CertificateSignature) -> None:
    """Refuse (`Conflict`) to go on from a signature that was given up."""
    if certificate.is_given_up:
        msg = (
            f"It was signed as {signature} and given up: {certificate.withdrawal_reason} Draft "
            "another certificate."
        )
        raise Conflict(msg, code="given-up")
