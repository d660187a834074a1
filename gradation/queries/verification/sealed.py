"""Seals: their leaves are entries of the chains, their roots follow, and outside copies agree."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from django.db import connection

from gradation.models import Counter, Seal, SealedHead
from gradation.proofs import tree
from gradation.queries.seals import Anchor
from gradation.queries.verification.asked import Broken, Progress

__all__ = ["broken_leaves", "broken_seals"]

_LEAVES_WITHOUT_ENTRY = """
    SELECT sealed.place, sealed.chain, sealed.sequence, entry.id
    FROM gradation_sealedhead sealed
    LEFT JOIN gradation_ledgerentry entry
      ON entry.chain = sealed.chain AND entry.sequence = sealed.sequence
    WHERE (entry.id IS NULL OR entry.digest <> sealed.digest) {of_chain}
    ORDER BY sealed.place
"""


def broken_leaves(chain: str | None = None) -> Iterator[Broken]:
    """Name each sealed head whose entry is gone or has another digest."""
    query = _LEAVES_WITHOUT_ENTRY.format(of_chain="AND sealed.chain = %s" if chain else "")
    with connection.cursor() as cursor:
        cursor.execute(query, [chain] if chain else [])
        rows = cursor.fetchall()
    for _, name, sequence, entry in rows:
        says = "is gone" if entry is None else "has another digest"
        yield Broken("seal", f"chain {name}, entry {sequence}", f"the sealed entry {says}")


def broken_seals(anchors: Sequence[Anchor], told: Progress) -> Iterator[Broken]:
    """Grow the tree anew and compare every seal, and every copy kept outside, with its root."""
    seals = list(Seal.objects.order_by("number"))
    yield from _numbers(seals)
    total, grown = SealedHead.objects.count(), tree.Growth()
    wanted = sorted({seal.size for seal in seals} | {anchor.size for anchor in anchors})
    roots: dict[int, str] = {0: tree.EMPTY_ROOT.hex()}
    for leaf in _leaves():
        if grown.size % 10_000 == 0:
            told("sealed heads", grown.size, total)
        grown.add(leaf)
        if wanted and grown.size >= wanted[0]:
            wanted = [size for size in wanted if size > grown.size]
            roots[grown.size] = grown.root().hex()
    told("sealed heads", total, total)
    for seal in seals:
        if roots.get(seal.size) != seal.root:
            yield Broken("seal", f"seal {seal.number}", "its leaves do not give its root")
    yield from _anchored(anchors, {seal.number: seal for seal in seals}, roots)


def _leaves() -> Iterator[bytes]:
    rows = SealedHead.objects.order_by("place").values_list("chain", "sequence", "digest")
    return (tree.sealed_head_hash(*row) for row in rows.iterator(chunk_size=10_000))


def _numbers(seals: Sequence[Seal]) -> Iterator[Broken]:
    for expected, seal in enumerate(seals, start=1):
        if seal.number != expected:
            yield Broken("seal", f"seal {expected}", "it is missing")
            return
    counter = Counter.objects.filter(name="seal").first()
    if counter is not None and counter.last > len(seals):
        yield Broken("seal", f"seal {len(seals) + 1}", "it was made and is missing")


def _anchored(
    anchors: Sequence[Anchor], seals: dict[int, Seal], roots: dict[int, str]
) -> Iterator[Broken]:
    for anchor in anchors:
        where = f"anchor of seal {anchor.seal}, {anchor.made_at[:19]}"
        if anchor.seal not in seals or anchor.size not in roots:
            says = "the records here are shorter than this seal: an older copy, or cut off"
            yield Broken("anchor", where, says)
        elif roots[anchor.size] != anchor.root or seals[anchor.seal].root != anchor.root:
            says = "the records here are not those that were sealed: history was rewritten"
            yield Broken("anchor", where, says)
