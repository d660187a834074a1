"""What the register says to somebody outside who holds a certificate."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from gradation.errors import NotFound
from gradation.models import Certificate

__all__ = ["Standing", "answer_on_code", "issued_file", "standing_of_file"]

_CODE_SIGNS = re.compile(r"[\s-]")
_LOOK_ALIKES = str.maketrans({"O": "0", "I": "1", "L": "1", "U": "V"})
_GROUP = 4


@dataclass(frozen=True)
class Standing:
    """What the register says of one certificate, and no more than a stranger may know."""

    number: str
    code: str
    state: str
    issued_at: datetime
    sha256: str
    is_signed: bool
    replaced_by: str = ""
    replaced_at: datetime | None = None
    withdrawn_at: datetime | None = None
    withdrawal_reason: str = ""

    @property
    def is_valid(self) -> bool:
        """Say whether it may be relied on."""
        return self.state == Certificate.State.ISSUED


def answer_on_code(code: str) -> Standing:
    """Give the standing of the certificate with this code; every other code is `NotFound` alike."""
    for form in (code.strip(), _grouped(code)):
        certificate = _issued().filter(verification_code=form).first() if form else None
        if certificate is not None:
            return _standing(certificate)
    msg = "No certificate has this code. Compare it with the code on the certificate, sign by sign."
    raise NotFound(msg)


def _grouped(code: str) -> str:
    """Write a code as it was given out: look-alikes, spaces and small letters put right."""
    signs = _CODE_SIGNS.sub("", code).upper().translate(_LOOK_ALIKES)
    return "-".join(signs[at : at + _GROUP] for at in range(0, len(signs), _GROUP))


def _issued() -> QuerySet[Certificate]:
    return (
        Certificate.objects.exclude(state=Certificate.State.DRAFT)
        .exclude(verification_code="")
        .select_related("amended_by")
        .defer("pdf", "content", "amended_by__pdf", "amended_by__content")
    )


def _standing(certificate: Certificate) -> Standing:
    is_replaced = certificate.state == Certificate.State.SUPERSEDED
    later = certificate.amended_by if is_replaced else None
    signed = Certificate.objects.filter(pk=certificate.pk).values_list(
        "content__file_signed_by", flat=True
    )
    return Standing(
        number=certificate.number or "",
        code=certificate.verification_code,
        state=certificate.state,
        issued_at=_certain(certificate.issued_at),
        sha256=certificate.pdf_sha256,
        is_signed=bool(signed[0]),
        replaced_by=(later.number or "") if later else "",
        replaced_at=later.issued_at if later else None,
        withdrawn_at=certificate.withdrawn_at,
        withdrawal_reason=certificate.withdrawal_reason,
    )


def _certain(moment: datetime | None) -> datetime:
    if moment is None:  # the database has a constraint against it
        msg = "An issued certificate has no date."
        raise ValueError(msg)
    return moment


def standing_of_file(sha256: str) -> Standing | None:
    """Give the standing of the certificate whose file has this digest; None where none has it."""
    certificate = _issued().filter(pdf_sha256=sha256).first()
    return _standing(certificate) if certificate else None


def issued_file(number: str) -> bytes:
    """Give the file that was issued under a number."""
    return bytes(Certificate.objects.values_list("pdf", flat=True).get(number=number) or b"")
