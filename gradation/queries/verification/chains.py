"""Chains: every entry gives its digest, names the one before it, and the last one is the head."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from hashlib import sha256

from django.db import connection
from django.db.models import Min

from gradation.models import ChainHead, LedgerEntry
from gradation.queries.entry_digests import digest_of
from gradation.queries.verification.asked import Broken, Progress, Scope

__all__ = ["broken_chains"]

_AT_ONCE = 4000
_BEGIN = (0, "")
#: Key, chain, sequence, digest before, digest, and the canonical form that gives it.
Row = tuple[int, str, int, str, str, str]

#: The canonical form of an entry (`proofs.entries.digest_of`), put together by the database, which
#: is several times faster than reading all columns. Where its text is not the one hashed once (as
#: of entries from before the text was kept), the entry is written anew from its row.
_CANONICAL = """
    '{{"action":' || {q}(action){t} || ',"actor":' || actor_id || ',"actor_name":'
    || {q}(actor_name){t} || ',"address":' || {q}(address){t} || ',"after":'
    || COALESCE(CAST(after AS text), 'null') || ',"at":"' || {at} || '","before":'
    || COALESCE(CAST(before AS text), 'null') || ',"chain":' || {q}(chain){t} || ',"door":'
    || {q}(door){t} || ',"previous_digest":"' || previous_digest || '","reason":'
    || {q}(reason){t} || ',"request_id":' || {q}(request_id){t} || ',"sequence":' || sequence
    || ',"subject":' || {q}(subject){t} || ',"subject_id":' || subject_id || ',"subject_type":'
    || {q}(subject_type){t} || '}}'
"""
_DIALECT = {
    "sqlite": {
        "q": "json_quote",
        "t": "",
        "at": "substr(at, 1, 10) || 'T' || substr(at, 12) || '+00:00'",
    },
    "postgresql": {
        "q": "to_json",
        "t": "::text",
        "at": """to_char(at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS')
            || CASE WHEN mod(date_part('microseconds', at)::int, 1000000) = 0 THEN ''
               ELSE to_char(at AT TIME ZONE 'UTC', '.US') END || '+00:00'""",
    },
}


@dataclass
class _Walk:
    """How far each chain was followed, and which were found broken."""

    last: dict[str, tuple[int, str]] = field(default_factory=dict)
    broken: set[str] = field(default_factory=set)


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
        yield from _links(walk, scope, first, told)
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


def _links(walk: _Walk, scope: Scope, first: int, told: Progress) -> Iterator[Broken]:
    total, done = _count(scope, first), 0
    for rows in _batches(scope, first):
        told("entries", done, total)
        done += len(rows)
        false = _false_digests(rows)
        for row in rows:
            fault = _fault(walk, row, false)
            if fault is not None and row[1] not in walk.broken:
                walk.broken.add(row[1])
                yield Broken("chain", _place(row[0]), fault)


def _batches(scope: Scope, first: int) -> Iterator[list[Row]]:
    canonical = _CANONICAL.format(**_DIALECT[connection.vendor])
    of_chain = "AND chain = %s" if scope.chain else ""
    query = (
        f"SELECT id, chain, sequence, previous_digest, digest, {canonical} "  # noqa: S608 - constants
        f"FROM gradation_ledgerentry WHERE id >= %s {of_chain} ORDER BY id"
    )
    with connection.chunked_cursor() as cursor:
        cursor.execute(query, [first, scope.chain] if scope.chain else [first])
        while rows := cursor.fetchmany(_AT_ONCE):
            yield rows


def _false_digests(rows: list[Row]) -> set[int]:
    """Give the keys of the entries whose content does not give their digest."""
    doubtful = [row[0] for row in rows if sha256(row[5].encode()).hexdigest() != row[4]]
    entries = LedgerEntry.objects.in_bulk(doubtful) if doubtful else {}
    return {pk for pk, entry in entries.items() if digest_of(entry) != entry.digest}


def _fault(walk: _Walk, row: Row, false: set[int]) -> str | None:
    """Say what is wrong with a link, and go on from it."""
    pk, chain, sequence, previous, digest, _ = row
    last_sequence, last_digest = walk.last.get(chain, _BEGIN)
    walk.last[chain] = (sequence, digest)
    if sequence != last_sequence + 1:
        return f"entry {last_sequence + 1} is missing or out of order"
    if previous != last_digest:
        return "it does not name the digest of the entry before it"
    return "its content does not give its digest" if pk in false else None


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
