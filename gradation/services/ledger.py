"""The ledger: one entry for every write, in the transaction of the write.

Entries are chained per sample and per piece of equipment (`chain_of`), so that benches working on
different samples do not queue behind each other.
"""

from __future__ import annotations

import hashlib
import json
from datetime import date, datetime
from decimal import Decimal
from functools import singledispatch
from typing import Any
from uuid import UUID

from django.core.serializers.json import DjangoJSONEncoder
from django.db import connection, models

from gradation.models import (
    Attachment,
    Certificate,
    ChainHead,
    Check,
    Equipment,
    ImpactAssessment,
    ImpactDecision,
    LedgerEntry,
    Nest,
    Run,
    Sample,
    Tare,
    TestPortion,
    User,
    Weighing,
)
from gradation.services import clock

__all__ = ["chain_of", "digest_of", "snapshot", "write"]

#: Too large or derived: named by digest elsewhere in the row, or rebuilt at will.
_LEFT_OUT = frozenset(
    {"pdf", "content", "file", "search_text", "password", "last_login", "equipment_ptr_id"}
)

State = dict[str, Any]


@singledispatch
def chain_of(subject: models.Model) -> str:
    """Name the chain that entries about `subject` belong to."""
    return f"{subject._meta.model_name}/{subject.pk}"


@chain_of.register
def _(subject: Sample) -> str:
    return f"sample/{subject.number}"


@chain_of.register
def _(subject: TestPortion) -> str:
    return chain_of(subject.sample)


@chain_of.register
def _(subject: Run) -> str:
    return chain_of(subject.portion)


@chain_of.register
def _(subject: Weighing) -> str:
    return chain_of(subject.run)


@chain_of.register
def _(subject: Certificate) -> str:
    return chain_of(subject.sample)


@chain_of.register
def _(subject: Equipment) -> str:
    return f"equipment/{subject.serial}"


@chain_of.register
def _(subject: Check) -> str:
    return chain_of(subject.equipment)


@chain_of.register
def _(subject: Attachment) -> str:
    return chain_of(subject.equipment)


@chain_of.register
def _(subject: Tare) -> str:
    return chain_of(subject.sieve)


@chain_of.register
def _(subject: ImpactAssessment) -> str:
    return chain_of(subject.equipment) if subject.equipment else f"impact/{subject.pk}"


@chain_of.register
def _(subject: ImpactDecision) -> str:
    return chain_of(subject.assessment)


@chain_of.register
def _(subject: Nest) -> str:
    return f"nest/{subject.name}"


def snapshot(subject: models.Model, **more: Any) -> State:
    """Copy the row's values as plain words and numbers; `more` adds what is not a column."""
    state = {
        field.attname: _plain(getattr(subject, field.attname))
        for field in subject._meta.concrete_fields
        if field.attname not in _LEFT_OUT
    }
    return state | {name: _plain(value) for name, value in more.items()}


def _plain(value: object) -> object:
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, Decimal | UUID):
        return str(value)
    return value


def write(
    *,
    actor: User,
    action: str,
    subject: models.Model,
    before: State | None = None,
    after: State | None = None,
    reason: str = "",
) -> LedgerEntry:
    """Add one entry about `subject` to its chain; refuses outside a transaction.

    With `before`, only what changed is kept on both sides. `after` is read from the row unless
    given.
    """
    if not connection.in_atomic_block:
        msg = "A ledger entry belongs in the transaction of the change it records."
        raise RuntimeError(msg)
    old, new = _changes(before, snapshot(subject) if after is None else after)
    head = _lock_head(chain_of(subject))
    entry = LedgerEntry(
        chain=head.chain,
        sequence=head.sequence + 1,
        at=clock.now(),
        actor=actor,
        actor_name=actor.full_name or actor.username,
        action=action,
        subject_type=subject._meta.model_name or "",
        subject_id=subject.pk,
        subject=str(subject)[:80],
        before=None if old is None else _with_names(subject, old),
        after=_with_names(subject, new),
        reason=reason,
        door=actor.origin.door,
        address=actor.origin.address,
        request_id=actor.origin.request_id,
        previous_digest=head.digest,
    )
    entry.digest = digest_of(entry)
    entry.save(force_insert=True)
    head.sequence, head.digest = entry.sequence, entry.digest
    head.save(update_fields=["sequence", "digest"])
    return entry


def _changes(before: State | None, after: State) -> tuple[State | None, State]:
    """Keep on both sides only what differs; everything when the thing is new."""
    if before is None:
        return None, after
    changed = [name for name in after if before.get(name) != after[name]]
    return (
        {name: before.get(name) for name in changed},
        {name: after[name] for name in changed},
    )


def _with_names(subject: models.Model, state: State) -> State:
    """Say the names beside the keys of other rows, as they were at that moment."""
    named = dict(state)
    for field in subject._meta.concrete_fields:
        key = state.get(field.attname)
        if key is None or not isinstance(field, models.ForeignKey):
            continue
        other = getattr(subject, field.name) if getattr(subject, field.attname) == key else None
        other = other or field.related_model._default_manager.filter(pk=key).first()
        named[field.name] = str(other)
    return named


def _lock_head(chain: str) -> ChainHead:
    head = ChainHead.objects.select_for_update().filter(chain=chain).first()
    if head is None:
        ChainHead.objects.get_or_create(chain=chain)
        head = ChainHead.objects.select_for_update().get(chain=chain)
    return head


def digest_of(entry: LedgerEntry) -> str:
    """Compute the SHA-256 of the entry's canonical form, which holds the digest before it."""
    canonical = json.dumps(
        {
            "chain": entry.chain,
            "sequence": entry.sequence,
            "at": entry.at.isoformat(),
            "actor": entry.actor_id,
            "actor_name": entry.actor_name,
            "action": entry.action,
            "subject_type": entry.subject_type,
            "subject_id": entry.subject_id,
            "subject": entry.subject,
            "before": entry.before,
            "after": entry.after,
            "reason": entry.reason,
            "door": entry.door,
            "address": entry.address,
            "request_id": entry.request_id,
            "previous_digest": entry.previous_digest,
        },
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
        cls=DjangoJSONEncoder,
    )
    return hashlib.sha256(canonical.encode()).hexdigest()
