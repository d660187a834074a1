"""Files: certificates and attachments give the digests that their entries named."""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256

from gradation.models import Attachment, Certificate, LedgerEntry
from gradation.proofs.entries import canonical_json
from gradation.queries.verification.asked import Broken, Progress, Scope

__all__ = ["broken_files", "content_digest"]


def content_digest(content: object) -> str:
    """Compute the SHA-256 of a certificate's content in its canonical form."""
    return sha256(canonical_json(content).encode()).hexdigest()


def broken_files(scope: Scope, told: Progress) -> Iterator[Broken]:
    """Name each file, and each content of a certificate, that is not what was recorded."""
    yield from _certificates(scope, told)
    if scope.sample is None:
        yield from _attachments(scope, told)


def _certificates(scope: Scope, told: Progress) -> Iterator[Broken]:
    rows = Certificate.objects.exclude(state=Certificate.State.DRAFT)
    rows = rows.filter(sample=scope.sample) if scope.sample else rows
    rows = rows.filter(issued_at__gte=scope.since) if scope.since else rows
    total = rows.count()
    for done, certificate in enumerate(rows.order_by("id").iterator(chunk_size=50)):
        told("certificates", done, total)
        where = f"certificate {certificate.number}"
        for says in _certificate_faults(certificate):
            yield Broken("file", where, says)
    told("certificates", total, total)


def _certificate_faults(certificate: Certificate) -> Iterator[str]:
    issued = _entry("certificate", certificate.pk, "certificate issued")
    if issued is None:
        yield "no entry says that it was issued"
        return
    digest = sha256(certificate.pdf or b"").hexdigest()
    if digest != certificate.pdf_sha256 or digest != issued.get("pdf_sha256"):
        yield "its file is not the one that was issued"
    named = issued.get("content_sha256")
    if named is not None and named != content_digest(certificate.content):
        yield "its content is not the one that was issued"


def _attachments(scope: Scope, told: Progress) -> Iterator[Broken]:
    rows = Attachment.objects.order_by("id")
    rows = rows.filter(added_at__gte=scope.since) if scope.since else rows
    total = rows.count()
    for done, attachment in enumerate(rows.iterator(chunk_size=50)):
        told("attached files", done, total)
        named = _entry("attachment", attachment.pk, "file attached") or {}
        digest = sha256(attachment.file).hexdigest()
        if digest != attachment.sha256 or digest != named.get("sha256"):
            where = f"file {attachment.name} of {attachment.equipment}"
            yield Broken("file", where, "it is not the file that was attached")
    told("attached files", total, total)


def _entry(kind: str, key: int, action: str) -> dict[str, object] | None:
    rows = LedgerEntry.objects.filter(subject_type=kind, subject_id=key, action=action)
    return rows.values_list("after", flat=True).first()
