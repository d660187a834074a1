"""The canonical form of one entry of the ledger, and its digest."""

from __future__ import annotations

import json
from collections.abc import Callable
from hashlib import sha256
from json.encoder import encode_basestring
from typing import NamedTuple

__all__ = ["Entry", "canonical_json", "digest_of"]

_canonical: Callable[[object], str] = json.JSONEncoder(
    sort_keys=True, separators=(",", ":"), ensure_ascii=False
).encode
_text = encode_basestring


class Entry(NamedTuple):
    """One entry as the chain sees it; `before` and `after` are canonical JSON.

    `at` is the moment in UTC, such as 2026-03-02T09:00:00.123456+00:00.
    """

    chain: str
    sequence: int
    at: str
    actor: int
    actor_name: str
    action: str
    subject_type: str
    subject_id: int
    subject: str
    before: str
    after: str
    reason: str
    door: str
    address: str
    request_id: str
    previous_digest: str


def canonical_json(value: object) -> str:
    """Write a value as JSON in one way only: keys in order, no spaces, letters as they are."""
    return _canonical(value)


_Fields = tuple[str, int, str, int, str, str, str, int, str, str, str, str, str, str, str, str]


def digest_of(entry: Entry | _Fields) -> str:
    """Compute the SHA-256 of an entry: of a JSON object with its fields in alphabetical order.

    The digest of the entry before it is one of the fields, which makes the chain.
    """
    (chain, sequence, at, actor, actor_name, action, subject_type, subject_id, subject,
     before, after, reason, door, address, request_id, previous_digest) = entry  # fmt: skip
    written = (
        f'{{"action":{_text(action)},"actor":{actor},"actor_name":{_text(actor_name)},'
        f'"address":{_text(address)},"after":{after},"at":"{at}","before":{before},'
        f'"chain":{_text(chain)},"door":{_text(door)},"previous_digest":"{previous_digest}",'
        f'"reason":{_text(reason)},"request_id":{_text(request_id)},"sequence":{sequence},'
        f'"subject":{_text(subject)},"subject_id":{subject_id},'
        f'"subject_type":{_text(subject_type)}}}'
    )
    return sha256(written.encode()).hexdigest()
