"""Chains: every entry gives its digest, names the one before it, and the last one is the head."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from hashlib import sha256

from django.db.models import Min

from gradation.models import ChainHead, LedgerEntry
from gradation.queries.entry_digests import digest_of
from gradation.queries.verification.asked import Broken, Progress, Scope
from gradation.queries.verification.canonical_rows import canonical_rows

__all__ = ["broken_chains"]

_AT_ONCE = 4000
_BEGIN = (0, "")


@dataclass
class _Walk:
    """How far each chain was followed, and the key and fault of its first broken link."""

    last: dict[str, tuple[int, str]] = field(default_factory=dict)
    broken: dict[str, tuple[int, str]] = field(default_factory=dict)


def broken_chains(scope: Scope, told: Progress) -> Iterator[Broken]:
    """Follow the chains and name the first broken link of each."""
    walk = _Walk()
    first = _first_key(scope)
    if first is None:
        total = 0
    else:
        total = _count(scope, first)
        if first > 0:
            walk.last = _before(first, scope.chain)
        _follow(walk, scope, first, told, total)
        for pk, says in sorted(walk.broken.values()):
            yield Broken("chain", _place(pk), says)
    told("entries", total, total)
    yield from _heads(walk, scope)


def _first_key(scope: Scope) -> int | None:
    """Give the key from which entries are read; None when there are none."""
    if scope.since is None:
        return 0
    later = LedgerEntry.objects.filter(at__gte=scope.since).order_by("pk")
    return later.values_list("pk", flat=True).first()


def _count(scope: Scope, first: int) -> int:
    rows = LedgerEntry.objects.filter(pk__gte=first)
    return rows.filter(chain=scope.chain).count() if scope.chain else rows.count()


def _before(first: int, chain: str | None) -> dict[str, tuple[int, str]]:
    """Give where each chain stood before a key, for those that go on after it."""
    rows = LedgerEntry.objects.filter(pk__gte=first)
    rows = rows.filter(chain=chain) if chain else rows
    begins = rows.values("chain").annotate(sequence=Min("sequence"))
    asked = {(row["chain"], row["sequence"] - 1) for row in begins if row["sequence"] > 1}
    found: dict[str, tuple[int, str]] = {}
    former = LedgerEntry.objects.filter(pk__lt=first, chain__in={name for name, _ in asked})
    for name, sequence, digest in former.values_list("chain", "sequence", "digest").iterator():
        if (name, sequence) in asked:
            found[name] = (sequence, digest)
    return found


def _follow(walk: _Walk, scope: Scope, first: int, told: Progress, total: int) -> None:
    """Follow all links; an entry whose text does not give its digest is looked at afterwards."""
    last, broken, doubtful = walk.last, walk.broken, []
    for done, row in enumerate(canonical_rows(first, scope.chain)):
        pk, chain, sequence, previous, digest, text = row
        if done % _AT_ONCE == 0:
            told("entries", done, total)
        if sha256(text.encode()).hexdigest() != digest:
            doubtful.append(pk)
        if (sequence - 1, previous) != last.get(chain, _BEGIN) and chain not in broken:
            broken[chain] = (pk, _link_fault(sequence, last.get(chain, _BEGIN)))
        last[chain] = (sequence, digest)
    for chain, pk in _false_digests(doubtful):
        if chain not in broken or pk < broken[chain][0]:
            broken[chain] = (pk, "its content does not give its digest")


def _link_fault(sequence: int, last: tuple[int, str]) -> str:
    if sequence != last[0] + 1:
        return f"entry {last[0] + 1} is missing or out of order"
    return "it does not name the digest of the entry before it"


def _false_digests(doubtful: list[int]) -> Iterator[tuple[str, int]]:
    """Give chain and key of the entries whose content does not give their digest, in order."""
    for start in range(0, len(doubtful), _AT_ONCE):
        entries = LedgerEntry.objects.filter(pk__in=doubtful[start : start + _AT_ONCE])
        for entry in entries.order_by("pk"):
            if digest_of(entry) != entry.digest:
                yield entry.chain, entry.pk


def _place(pk: int) -> str:
    entry = LedgerEntry.objects.get(pk=pk)
    told = f"{entry.action}, {entry.at:%d %b %Y %H:%M:%S} UTC, {entry.actor_name}"
    return f"chain {entry.chain}, entry {entry.sequence} ({told})"


def _heads(walk: _Walk, scope: Scope) -> Iterator[Broken]:
    """Compare the last entry of each chain with its head: a cut tail leaves the head behind."""
    heads = ChainHead.objects.filter(sequence__gt=0)
    if scope.chain:
        heads = heads.filter(chain=scope.chain)
    left = {chain for chain in walk.last if chain not in walk.broken}
    rows = heads.values_list("chain", "sequence", "digest").order_by("chain")
    for chain, sequence, digest in rows.iterator(chunk_size=_AT_ONCE):
        left.discard(chain)
        if chain in walk.broken or (chain not in walk.last and scope.since is not None):
            continue
        last = walk.last.get(chain, (0, ""))
        if last != (sequence, digest):
            yield Broken("chain", f"chain {chain}", _head_fault(last, sequence))
    for chain in sorted(left):
        yield Broken("chain", f"chain {chain}", "its head is missing")


def _head_fault(last: tuple[int, str], sequence: int) -> str:
    if last[0] < sequence:
        return f"its end is cut off: entry {last[0] + 1} to {sequence} are missing"
    return f"its head names another entry than the last one, {last[0]}"
