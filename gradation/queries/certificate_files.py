"""Issued files looked through: each is there, whole, and the one that was issued."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass

from gradation.models import Certificate
from gradation.queries.signatures import signature_faults, signatures_without_file

__all__ = ["FileFault", "faults_of", "file_faults", "issued_count", "unfinished_faults"]


@dataclass(frozen=True)
class FileFault:
    """One certificate whose file or signature is not what it should be."""

    number: str
    says: str


def issued_count() -> int:
    """Count the certificates that were ever issued; as many files must be there."""
    return Certificate.objects.exclude(state=Certificate.State.DRAFT).count()


def file_faults() -> Iterator[FileFault]:
    """Name each issued certificate whose file, content or signature is not the one of its issue."""
    yield from unfinished_faults()
    rows = Certificate.objects.exclude(state=Certificate.State.DRAFT).order_by("id")
    for certificate in rows.iterator(chunk_size=20):
        yield from faults_of(certificate)


def unfinished_faults() -> Iterator[FileFault]:
    """Name each certificate that was signed and whose file was never made: finish it."""
    for waiting in signatures_without_file():
        yield FileFault(waiting.number, "it was signed, but its file was never made")


def faults_of(certificate: Certificate) -> Iterator[FileFault]:
    """Say what is wrong with the file and the signature of one issued certificate."""
    number = certificate.number or ""
    file = bytes(certificate.pdf or b"")
    if not file:
        yield FileFault(number, "its file is missing")
    elif hashlib.sha256(file).hexdigest() != certificate.pdf_sha256:
        yield FileFault(number, "its file is not the one that was issued")
    for says in signature_faults(certificate):
        yield FileFault(number, says)
