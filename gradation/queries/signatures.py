"""Electronic signatures: what binds one to what was signed, and whether it still does."""

from __future__ import annotations

from django.db.models import QuerySet

from gradation.models import Certificate, CertificateSignature, LedgerEntry, SigningPolicy, User
from gradation.queries.entry_digests import content_digest

__all__ = [
    "newest_policy",
    "policy_to_accept",
    "signature_digest",
    "signature_faults",
    "signatures_without_file",
]


def signature_digest(signature: CertificateSignature) -> str:
    """Compute what binds a signature's parts to each other and to one certificate."""
    return content_digest(
        {
            "certificate": signature.certificate_id,
            "number": signature.number,
            "verification_code": signature.verification_code,
            "person": signature.person_id,
            "person_name": signature.person_name,
            "meaning": signature.meaning,
            "policy_version": signature.policy_version,
            "signed_at": signature.signed_at.isoformat(),
            "content_sha256": signature.content_sha256,
        }
    )


def signature_faults(certificate: Certificate) -> tuple[str, ...]:
    """Say in which way the signature under a certificate does not hold; empty: it holds.

    A certificate from before signatures were kept has none, and nothing tells of one.
    """
    signature = CertificateSignature.objects.filter(certificate=certificate.pk).first()
    if signature is None:
        return ("its signature is gone",) if _was_signed(certificate) else ()
    faults = []
    if signature.digest != signature_digest(signature):
        faults.append("the signature was made for something else")
    if content_digest(signature.content) != signature.content_sha256:
        faults.append("the content that was signed was changed")
    if certificate.number and _differs(certificate, signature):
        faults.append("what was issued is not what was signed")
    return tuple(faults)


def _was_signed(certificate: Certificate) -> bool:
    told = LedgerEntry.objects.filter(
        chain=f"sample/{certificate.sample.number}",
        action="certificate signed",
        subject__startswith=f"{certificate.number}, ",
    )
    return told.exists()


def _differs(certificate: Certificate, signature: CertificateSignature) -> bool:
    pairs = (
        (content_digest(certificate.content), signature.content_sha256),
        (certificate.number, signature.number),
        (certificate.issued_at, signature.signed_at),
        (certificate.issued_by_id, signature.person_id),
        (certificate.issued_by_name, signature.person_name),
        (certificate.meaning, signature.meaning),
    )
    return any(issued != signed for issued, signed in pairs)


def signatures_without_file() -> QuerySet[CertificateSignature]:
    """List signatures whose file was never kept: the server stopped in between.

    One that was given up waits for nothing.
    """
    return CertificateSignature.objects.filter(
        certificate__state=Certificate.State.DRAFT, certificate__withdrawn_at__isnull=True
    ).select_related("certificate__sample", "person")


def newest_policy() -> SigningPolicy | None:
    """Give the signing policy that holds; None where the laboratory has none."""
    return SigningPolicy.objects.first()


def policy_to_accept(actor: User) -> SigningPolicy | None:
    """Give the newest signing policy where this person has not accepted it; else None."""
    newest = SigningPolicy.objects.first()
    if newest is None or newest.acceptances.filter(person=actor).exists():
        return None
    return newest
