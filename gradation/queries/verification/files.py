"""Files: certificates, attachments and scans give the digests that their entries named."""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256
from typing import TypeVar

from django.db.models import QuerySet

from gradation.models import Attachment, Certificate, LedgerEntry, Scan
from gradation.queries.certificate_files import faults_of, unfinished_faults
from gradation.queries.entry_digests import content_digest
from gradation.queries.verification.asked import Broken, Progress, Scope

__all__ = ["broken_files"]

Handed = TypeVar("Handed", Attachment, Scan)


def broken_files(scope: Scope, told: Progress) -> Iterator[Broken]:
    """Name each file, content and signature that is not what was recorded."""
    yield from _certificates(scope, told)
    yield from _scans(scope, told)
    if scope.sample is None:
        yield from _attachments(scope, told)
    if scope.is_everything:
        for fault in unfinished_faults():
            yield Broken("unfinished", f"certificate {fault.number}", fault.says)


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
    for fault in faults_of(certificate):
        yield fault.says
    issued = _entry("certificate", certificate.pk, "certificate issued")
    if issued is None:
        yield "no entry says that it was issued"
        return
    if issued.get("pdf_sha256") != certificate.pdf_sha256:
        yield "the digest of its file is not the one that was recorded"
    named = issued.get("content_sha256")
    if named is not None and named != content_digest(certificate.content):
        yield "its content is not the one that was issued"


def _attachments(scope: Scope, told: Progress) -> Iterator[Broken]:
    for attachment in _handed_in(Attachment.objects.order_by("id"), scope, told, "attached files"):
        if _differs(attachment, "attachment", "file attached"):
            where = f"file {attachment.name} of {attachment.equipment}"
            yield Broken("file", where, "it is not the file that was attached")


def _scans(scope: Scope, told: Progress) -> Iterator[Broken]:
    rows = Scan.objects.select_related("transcription__run__portion").order_by("id")
    if scope.sample is not None:
        rows = rows.filter(transcription__run__portion__sample=scope.sample)
    for scan in _handed_in(rows, scope, told, "scans of paper"):
        if _differs(scan, "scan", "scan of the paper kept"):
            where = f"scan {scan.name} of run {scan.transcription.run}"
            yield Broken("file", where, "it is not the file that was handed in")


def _handed_in(rows: QuerySet[Handed], scope: Scope, told: Progress, what: str) -> Iterator[Handed]:
    """Give files one after the other, and tell how far it is."""
    rows = rows.filter(added_at__gte=scope.since) if scope.since else rows
    total = rows.count()
    for done, row in enumerate(rows.iterator(chunk_size=50)):
        told(what, done, total)
        yield row
    told(what, total, total)


def _differs(kept: Attachment | Scan, kind: str, action: str) -> bool:
    """Say whether a file is another than its row and its entry name."""
    named = _entry(kind, kept.pk, action) or {}
    digest = sha256(kept.file).hexdigest()
    return digest != kept.sha256 or digest != named.get("sha256")


def _entry(kind: str, key: int, action: str) -> dict[str, object] | None:
    rows = LedgerEntry.objects.filter(subject_type=kind, subject_id=key, action=action)
    return rows.values_list("after", flat=True).first()
