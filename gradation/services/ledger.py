"""The ledger: one entry for every write, in the transaction of the write.

Entries are chained per sample and per piece of equipment (`chain_of`), so that benches working on
different samples do not queue behind each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import singledispatch
from typing import Any
from uuid import UUID

from django.db import connection, models

from gradation.models import (
    Attachment,
    BalanceLink,
    BalanceReading,
    BenchPlace,
    Certificate,
    CertificateMail,
    CertificateOmission,
    CertificateOpinion,
    CertificateSignature,
    ChainHead,
    ChartNote,
    Check,
    Competence,
    Delivery,
    Drying,
    DryingContainer,
    DryingMass,
    EditionDecision,
    Equipment,
    ExternalResult,
    FrozenLimits,
    ImpactAssessment,
    ImpactDecision,
    LedgerEntry,
    Nest,
    PaperComparison,
    PersonSession,
    RecoveryCode,
    Run,
    RunCheckAnswer,
    RunCheckPolicy,
    Sample,
    SampleHold,
    SamplingRecord,
    Scan,
    Seal,
    SecondFactor,
    Shaking,
    StudyFollowUp,
    Tare,
    TestPortion,
    TrailReview,
    Transcription,
    User,
    Weighing,
)
from gradation.queries.entry_digests import digest_of
from gradation.services import clock
from gradation.services.bulk_rows import insert_rows

__all__ = ["Made", "chain_of", "digest_of", "snapshot", "write", "write_many"]

#: Too large or derived: named by digest elsewhere in the row, or rebuilt at will.
_LEFT_OUT = frozenset(
    {"pdf", "content", "file", "logo", "search_text", "password", "last_login", "equipment_ptr_id"}
    | {"secret_digest", "secret", "secret_salt", "session_key", "trace"}
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
def _(subject: TestPortion | SampleHold) -> str:
    return chain_of(subject.sample)


@chain_of.register
def _(subject: Seal) -> str:
    return "seals"


@chain_of.register
def _(subject: EditionDecision) -> str:
    return chain_of(subject.sample)


@chain_of.register
def _(subject: StudyFollowUp) -> str:
    return chain_of(subject.study)


@chain_of.register
def _(subject: Run) -> str:
    return chain_of(subject.portion)


@chain_of.register
def _(subject: Weighing) -> str:
    return chain_of(subject.run)


@chain_of.register
def _(subject: Drying) -> str:
    return chain_of(subject.portion)


@chain_of.register
def _(subject: DryingMass | DryingContainer) -> str:
    return chain_of(subject.drying)


@chain_of.register
def _(subject: Shaking) -> str:
    return chain_of(subject.run)


@chain_of.register
def _(subject: RunCheckAnswer) -> str:
    return chain_of(subject.run)


@chain_of.register
def _(subject: RunCheckPolicy) -> str:
    return f"check/{subject.code}"


@chain_of.register
def _(subject: Competence | SecondFactor | RecoveryCode | PersonSession) -> str:
    return chain_of(subject.person)


@chain_of.register
def _(subject: Certificate) -> str:
    return chain_of(subject.sample)


@chain_of.register
def _(subject: CertificateOmission | CertificateOpinion) -> str:
    return chain_of(subject.certificate)


@chain_of.register
def _(subject: ExternalResult | SamplingRecord) -> str:
    return chain_of(subject.sample)


@chain_of.register
def _(subject: TrailReview | Transcription) -> str:
    return chain_of(subject.run)


@chain_of.register
def _(subject: Scan | PaperComparison) -> str:
    return chain_of(subject.transcription)


@chain_of.register
def _(subject: CertificateSignature | CertificateMail) -> str:
    return chain_of(subject.certificate)


@chain_of.register
def _(subject: Equipment) -> str:
    return f"equipment/{subject.serial}"


@chain_of.register
def _(subject: BalanceLink) -> str:
    return chain_of(subject.balance)


@chain_of.register
def _(subject: BalanceReading | BenchPlace) -> str:
    return f"bench/{subject.bench_id}/readings"


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


@chain_of.register
def _(subject: FrozenLimits) -> str:
    return chain_of(subject.chart)


@chain_of.register
def _(subject: ChartNote) -> str:
    return chain_of(subject.chart)


@chain_of.register
def _(subject: Delivery) -> str:
    return chain_of(subject.webhook)


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
    made = Made(action, subject, new, reason)
    entry = _linked(head, actor, made, None if old is None else _with_names(subject, old))
    entry.save(force_insert=True)
    head.save(update_fields=["sequence", "digest"])
    return entry


@dataclass(frozen=True)
class Made:
    """One new thing for `write_many`, with what its entry says of it."""

    action: str
    subject: models.Model
    after: State
    reason: str = ""


def write_many(*, actor: User, made: Sequence[Made]) -> None:
    """Add an entry for each of many new things, in their order, with few queries.

    As `write` for things that were not there before; refuses outside a transaction.
    """
    if not connection.in_atomic_block:
        msg = "Ledger entries belong in the transaction of the changes they record."
        raise RuntimeError(msg)
    heads = _lock_heads({chain_of(each.subject) for each in made})
    entries = [_linked(heads[chain_of(each.subject)], actor, each) for each in made]
    insert_rows(entries)
    ChainHead.objects.bulk_create(
        heads.values(),
        update_conflicts=True,
        unique_fields=["chain"],
        update_fields=["sequence", "digest"],
    )


def _linked(head: ChainHead, actor: User, made: Made, before: State | None = None) -> LedgerEntry:
    """Build the next entry of a chain and let its head follow."""
    entry = LedgerEntry(
        chain=head.chain,
        sequence=head.sequence + 1,
        at=clock.now(),
        actor=actor,
        actor_name=actor.full_name or actor.username,
        action=made.action,
        subject_type=made.subject._meta.model_name or "",
        subject_id=made.subject.pk,
        subject=str(made.subject)[:80],
        before=before,
        after=_with_names(made.subject, made.after),
        reason=made.reason,
        door=actor.origin.door,
        address=actor.origin.address,
        request_id=actor.origin.request_id,
        previous_digest=head.digest,
    )
    entry.digest = digest_of(entry)
    head.sequence, head.digest = entry.sequence, entry.digest
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
    held = ChainHead.objects.select_for_update().filter(chain=chain)
    head = held.first()
    if head is None:
        ChainHead.objects.bulk_create([ChainHead(chain=chain)], ignore_conflicts=True)
        head = held.get()
    return head


def _lock_heads(chains: set[str]) -> dict[str, ChainHead]:
    """Hold the heads of many chains, always in the same order; new chains get theirs."""
    ChainHead.objects.bulk_create(
        (ChainHead(chain=chain) for chain in sorted(chains)), ignore_conflicts=True
    )
    held = ChainHead.objects.select_for_update().filter(chain__in=chains).order_by("chain")
    return {head.chain: head for head in held}
