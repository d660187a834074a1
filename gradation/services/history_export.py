"""Histories handed out: as PDF, CSV or JSON, all of the same events; handing out is an event."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum

from django.db import models, transaction
from django.db.models import QuerySet
from django.utils import timezone

from gradation.documents.history import (
    HistoryChange,
    HistoryContent,
    HistoryEntry,
    history_pdf,
)
from gradation.documents.history_table import history_csv
from gradation.errors import Conflict
from gradation.models import ChainHead, Laboratory, LedgerEntry, User
from gradation.policy import Action, require
from gradation.queries.history import Event, tell
from gradation.services import clock, ledger

__all__ = ["HistoryFile", "HistoryForm", "HistoryOf", "export_history"]

MOST_EVENTS = 20_000


class HistoryForm(StrEnum):
    """As what a history is handed out."""

    PDF = "pdf"
    CSV = "csv"
    JSON = "json"


@dataclass(frozen=True)
class HistoryOf:
    """Which history: what it is about, in words, and its entries; the row its export is told of."""

    about: str
    description: str
    entries: QuerySet[LedgerEntry]
    subject: models.Model


@dataclass(frozen=True)
class HistoryFile:
    """A history as a file."""

    name: str
    media_type: str
    content: bytes


_MEDIA = {
    HistoryForm.PDF: "application/pdf",
    HistoryForm.CSV: "text/csv; charset=utf-8",
    HistoryForm.JSON: "application/json",
}


def export_history(*, actor: User, wanted: HistoryOf, form: HistoryForm) -> HistoryFile:
    """Hand out a history as a file.

    Whoever may read it may; the caller has found what it is about for this person. Refuses
    (`Conflict`) more events than a reader can use. Ledger: history exported, with the form, the
    number of events and the digest of the last one.
    """
    require(actor, Action.EXPORT_HISTORY)
    with transaction.atomic():
        content = _content_of(actor, wanted)
        after = {"form": form.value, "events": len(content.entries), "about": content.subject}
        ledger.write(actor=actor, action="history exported", subject=wanted.subject, after=after)
    name = f"history-{content.subject}.{form.value}".replace(" ", "-").replace("/", "-")
    return HistoryFile(name, _MEDIA[form], _written(content, form))


def _written(content: HistoryContent, form: HistoryForm) -> bytes:
    if form is HistoryForm.PDF:
        return history_pdf(content)
    if form is HistoryForm.CSV:
        return history_csv(content).encode("utf-8-sig")
    return (json.dumps(asdict(content), ensure_ascii=False, indent=2) + "\n").encode()


def _content_of(actor: User, wanted: HistoryOf) -> HistoryContent:
    """Gather a history, oldest event first, with the head of its chain."""
    entries = list(wanted.entries.order_by("pk")[: MOST_EVENTS + 1])
    if len(entries) > MOST_EVENTS:
        msg = f"More than {MOST_EVENTS} events. Narrow the days or the kind, then export again."
        raise Conflict(msg, code="too-many-events")
    laboratory = Laboratory.objects.get()
    events = tell(entries)
    return HistoryContent(
        laboratory=laboratory.name,
        subject=wanted.about,
        description=wanted.description,
        printed_at=timezone.localtime(clock.now()).isoformat(timespec="minutes")[:16],
        printed_by=actor.full_name or actor.username,
        time_zone=timezone.get_current_timezone_name(),
        entries=tuple(_entry(event) for event in events),
        chain_head=_head(events),
    )


def _entry(event: Event) -> HistoryEntry:
    return HistoryEntry(
        at=timezone.localtime(event.at).replace(tzinfo=None).isoformat(timespec="seconds"),
        person=event.person,
        place=event.bench,
        what=f"{event.action[:1].upper()}{event.action[1:]}: {event.subject}",
        changes=tuple(
            HistoryChange(change.name, change.before, change.after) for change in event.changes
        ),
        reason=event.reason,
        equipment=event.equipment,
        digest=event.digest,
    )


def _head(events: Sequence[Event]) -> str:
    """Give the head of the chain, where all events are of one."""
    chains = {event.chain for event in events}
    if len(chains) != 1:
        return ""
    return ChainHead.objects.get(chain=chains.pop()).digest
