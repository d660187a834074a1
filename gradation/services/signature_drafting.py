"""What a signatory signs: the content as of now, with number, date and code, bound together."""

from __future__ import annotations

import json
import secrets
from dataclasses import replace

from django.conf import settings

from gradation.errors import Unavailable
from gradation.models import Certificate, CertificateSignature, Seal, SigningPolicy, User
from gradation.queries.entry_digests import content_digest
from gradation.queries.signatures import signature_digest
from gradation.services import clock, numbering
from gradation.services.certificate_drafting import Signing, certificate_content
from gradation.services.certificate_gates import refuse_gaps
from gradation.services.signing_keys import laboratory_key

__all__ = ["new_signature"]

#: Without letters and digits that look alike, for people who type it from paper (Crockford's).
_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_CODE_GROUPS, _CODE_GROUP = 7, 4  # 28 signs of 5 bits: 140 bits
_MOST_CONTENT = 4_000_000  # characters; beyond it nothing could be printed


def new_signature(
    actor: User, certificate: Certificate, meaning: str, seal: Seal
) -> CertificateSignature:
    """Draw up the signature under a draft that the caller holds: number, date, code, content.

    The content names the seal that was made of the records just before.

    Refuses (`Invalid`) the list of items still missing, (`Unavailable`) a signing key that cannot
    be used, and outside a transaction.
    """
    now, key = clock.now(), laboratory_key()
    number = f"C{now.year % 100:02d}-{numbering.next_number(f'certificate/{now.year}'):04d}"
    certificate.number, certificate.verification_code = number, _new_code()
    content = replace(
        certificate_content(certificate, Signing(actor.full_name, now, meaning)),
        verification_address=f"{settings.BASE_URL}/verify/",
        file_signed_by=key.subject if key else "",
        seal=f"{seal.number} · {seal.root}",
    )
    refuse_gaps(content)
    text = content.to_json()
    if len(text) > _MOST_CONTENT:
        msg = "The certificate says more than can be printed. Put fewer runs on it."
        raise Unavailable(msg, code="too-large-to-print")
    policy = SigningPolicy.objects.first()
    signature = CertificateSignature(
        certificate=certificate,
        number=number,
        verification_code=certificate.verification_code,
        person=actor,
        person_name=actor.full_name,
        meaning=meaning,
        policy_version=policy.version if policy else None,
        signed_at=now,
        content=json.loads(text),
        content_sha256=content_digest(json.loads(text)),
    )
    signature.digest = signature_digest(signature)
    return signature


def _new_code() -> str:
    signs = [secrets.choice(_ALPHABET) for _ in range(_CODE_GROUPS * _CODE_GROUP)]
    groups = range(0, len(signs), _CODE_GROUP)
    return "-".join("".join(signs[at : at + _CODE_GROUP]) for at in groups)
