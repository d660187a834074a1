"""Chains: every entry gives its digest, names the one before it, and the last one is the head."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import connection
from django.db.models import Min

from gradation.models import ChainHead, LedgerEntry
from gradation.proofs.entries import Entry, canonical_json, digest_of
from gradation.queries.verification.asked import Broken, Progress, Scope

__all__ = ["broken_chains"]

_AT_ONCE = 4000
Row = Sequence[Any]
_COLUMNS = (
    "chain, sequence, {at}, actor_id, actor_name, action, subject_type, subject_id, subject, "
    "{before}, {after}, reason, door, address, request_id, previous_digest, digest"
)
_AS_TEXT = {
    "sqlite": {"at": "CAST(at AS text)", "before": "before", "after": "after"},
    "postgresql": {
        "at": "CAST(at AT TIME ZONE 'UTC' AS text)",
        "before": "CAST(before AS text)",
        "after": "CAST(after AS text)",
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
    return LedgerEntry.objects.filter(at__gte=scope.since).aggregate(first=Min("id"))["first"]


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
        for row in rows:
            fault = _fault(walk, row)
            if fault is not None and row[0] not in walk.broken:
                walk.broken.add(row[0])
                yield Broken("chain", _place(row), fault)


def _batches(scope: Scope, first: int) -> Iterator[list[Row]]:
    columns = _COLUMNS.format(**_AS_TEXT[connection.vendor])
    where, values = ["id >= %s"], [first]
    if scope.chain:
        where.append("chain = %s")
        values.append(scope.chain)  # type: ignore[arg-type]
    query = (
        f"SELECT {columns} FROM gradation_ledgerentry "  # noqa: S608 - constants of this file
        f"WHERE {' AND '.join(where)} ORDER BY id"
    )
    with connection.chunked_cursor() as cursor:
        cursor.execute(query, values)
        while rows := cursor.fetchmany(_AT_ONCE):
            yield rows


def _fault(walk: _Walk, row: Row) -> str | None:
    """Say what is wrong with a link, and go on from it."""
    chain, sequence, previous, digest = row[0], row[1], row[15], row[16]
    last_sequence, last_digest = walk.last.get(chain, (0, ""))
    walk.last[chain] = (sequence, digest)
    if sequence != last_sequence + 1:
        return f"entry {last_sequence + 1} is missing or out of order"
    if previous != last_digest:
        return "it does not name the digest of the entry before it"
    if _digest(row) != digest:
        return "its content does not give its digest"
    return None


def _digest(row: Row) -> str:
    fields = list(row[:16])
    fields[2], fields[9], fields[10] = _moment(row[2]), _state(row[9]), _state(row[10])
    return digest_of(Entry._make(fields))


def _moment(text: str) -> str:
    """Write a moment of the database, in UTC, as it was when the digest was made."""
    day, _, clock = text[:26].partition(" ")
    return f"{day}T{clock if len(clock) == 8 else clock.ljust(15, '0')}+00:00"


def _state(text: str | None) -> str:
    return "null" if text is None else canonical_json(json.loads(text))


def _place(row: Row) -> str:
    return f"chain {row[0]}, entry {row[1]} ({row[5]}, {row[2][:19]} UTC, {row[4]})"


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
