"""Seals over the records: the newest, what it proves of a chain, and what an older copy proves."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

from django.db import connection
from django.db.models import QuerySet

from gradation.errors import Invalid, NotFound
from gradation.models import Certificate, ChainHead, Seal, SealedHead
from gradation.proofs import tree

__all__ = [
    "Anchor",
    "InclusionProof",
    "anchor_of",
    "leaves",
    "newest_seal",
    "proof_of_certificate",
    "proof_of_chain",
    "proofs_under",
    "read_anchor",
    "seal_words",
    "seals",
    "unsealed_heads",
]


@dataclass(frozen=True)
class Anchor:
    """What is kept of a seal outside the database, to prove later that nothing was rewritten."""

    seal: int
    made_at: str
    size: int
    root: str

    def to_json(self) -> str:
        """Write the anchor as one line of JSON."""
        return json.dumps(asdict(self))


@dataclass(frozen=True)
class InclusionProof:
    """That the head of a chain was sealed: leaf, path and root, as hexadecimal digits."""

    seal: int
    sealed_at: str
    chain: str
    sequence: int
    digest: str
    place: int
    size: int
    path: tuple[str, ...]
    root: str

    def holds(self) -> bool:
        """Say whether the path leads from the leaf to the root."""
        leaf = tree.sealed_head_hash(self.chain, self.sequence, self.digest)
        path = [bytes.fromhex(each) for each in self.path]
        return tree.holds_leaf(leaf, self.place, self.size, path, bytes.fromhex(self.root))


def seals() -> QuerySet[Seal]:
    """List all seals, newest first."""
    return Seal.objects.select_related("made_by")


def newest_seal() -> Seal | None:
    """Give the newest seal, or None before the first."""
    return Seal.objects.order_by("-number").first()


def anchor_of(seal: Seal) -> Anchor:
    """Give what is kept of a seal outside the database."""
    return Anchor(seal.number, seal.made_at.isoformat(), seal.size, seal.root)


def seal_words(seal: Seal) -> str:
    """Say a seal in one line, for print: its number, its day and the root of its tree."""
    return f"Records sealed: seal {seal.number} of {_moment(seal.made_at)}, root {seal.root}"


def _moment(moment: datetime) -> str:
    return f"{moment:%d %b %Y %H:%M} UTC"


def read_anchor(text: str) -> list[Anchor]:
    """Read the anchors of a file: one JSON object a line, as they were exported.

    Refuses (`Invalid`) what is no anchor.
    """
    try:
        rows = [json.loads(line) for line in text.splitlines() if line.strip()]
        found = [
            Anchor(int(row["seal"]), str(row["made_at"]), int(row["size"]), str(row["root"]))
            for row in rows
        ]
        roots = [bytes.fromhex(each.root) for each in found]
    except (ValueError, KeyError, TypeError) as error:
        raise Invalid.one("anchor", _NO_ANCHOR, code="no-anchor") from error
    if not found or any(len(root) != 32 for root in roots):
        raise Invalid.one("anchor", _NO_ANCHOR, code="no-anchor")
    return found


_NO_ANCHOR = (
    "This file holds no seal. Choose a file that seal_records wrote: a line with seal, made_at, "
    "size and root for each seal."
)


_UNSEALED = """
    SELECT head.chain, head.sequence, head.digest FROM gradation_chainhead head
    WHERE head.sequence > 0 AND NOT EXISTS (
        SELECT 1 FROM gradation_sealedhead sealed
        WHERE sealed.chain = head.chain AND sealed.sequence = head.sequence)
"""


def unsealed_heads() -> list[ChainHead]:
    """List the heads of chains that no seal holds yet, by the name of the chain."""
    with connection.cursor() as cursor:
        cursor.execute(_UNSEALED)
        rows = sorted(cursor.fetchall())
    return [ChainHead(chain=chain, sequence=n, digest=digest) for chain, n, digest in rows]


def leaves(size: int) -> Iterator[bytes]:
    """Give the first `size` leaves of the tree."""
    rows = SealedHead.objects.filter(place__lt=size).order_by("place")
    named = rows.values_list("chain", "sequence", "digest")
    return (tree.sealed_head_hash(*row) for row in named.iterator(chunk_size=10_000))


def proof_of_chain(chain: str, sequence: int | None = None) -> InclusionProof:
    """Prove that an entry is sealed: by the first sealed head of its chain that follows it.

    The entries between the two are proven by the chain itself. Without a sequence the newest
    sealed head is proven. `NotFound` while no seal covers it.
    """
    rows = SealedHead.objects.filter(chain=chain).select_related("seal")
    if sequence is None:
        head = rows.order_by("-sequence").first()
    else:
        head = rows.filter(sequence__gte=sequence).order_by("sequence").first()
    if head is None:
        msg = f"The newest entries of {chain} are not sealed yet. Seal the records, then ask again."
        raise NotFound(msg)
    return _proof(head, head.seal, list(leaves(head.seal.size)))


def proofs_under(seal: Seal, chains: Sequence[str]) -> list[InclusionProof]:
    """Prove that the newest sealed head of each chain is under one seal."""
    below = list(leaves(seal.size))
    rows = SealedHead.objects.filter(chain__in=chains, place__lt=seal.size).order_by("place")
    newest = {head.chain: head for head in rows}
    return [_proof(newest[chain], seal, below) for chain in chains if chain in newest]


def _proof(head: SealedHead, seal: Seal, below: Sequence[bytes]) -> InclusionProof:
    return InclusionProof(
        seal=seal.number,
        sealed_at=seal.made_at.isoformat(),
        chain=head.chain,
        sequence=head.sequence,
        digest=head.digest,
        place=head.place,
        size=seal.size,
        path=tuple(each.hex() for each in tree.inclusion_path(below, head.place)),
        root=seal.root,
    )


def proof_of_certificate(certificate: Certificate, sequence: int) -> InclusionProof:
    """Prove that the entries behind a certificate, up to the one given, are sealed."""
    return proof_of_chain(f"sample/{certificate.sample.number}", sequence)
