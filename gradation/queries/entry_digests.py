"""The digest of an entry of the ledger as it stands in its row, and of a certificate's content."""

from __future__ import annotations

import json
from datetime import UTC
from hashlib import sha256

from django.core.serializers.json import DjangoJSONEncoder

from gradation.models import LedgerEntry
from gradation.proofs.entries import Entry, canonical_json
from gradation.proofs.entries import digest_of as digest_of_entry

__all__ = ["content_digest", "digest_of"]


def digest_of(entry: LedgerEntry) -> str:
    """Compute the SHA-256 of the entry's canonical form, which holds the digest before it."""
    return digest_of_entry(
        Entry(
            chain=entry.chain,
            sequence=entry.sequence,
            at=entry.at.astimezone(UTC).isoformat(),
            actor=entry.actor_id,
            actor_name=entry.actor_name,
            action=entry.action,
            subject_type=entry.subject_type,
            subject_id=entry.subject_id,
            subject=entry.subject,
            before=_canonical(entry.before),
            after=_canonical(entry.after),
            reason=entry.reason,
            door=entry.door,
            address=entry.address,
            request_id=entry.request_id,
            previous_digest=entry.previous_digest,
        )
    )


def content_digest(content: object) -> str:
    """Compute the SHA-256 of a certificate's content in its canonical form."""
    return sha256(canonical_json(content).encode()).hexdigest()


def _canonical(state: object) -> str:
    """Write a state as it will be read back from the database."""
    return canonical_json(json.loads(json.dumps(state, cls=DjangoJSONEncoder)))
