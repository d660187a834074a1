"""The history of a sample or a sieve, told from the ledger."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import QuerySet

from gradation.models import Equipment, LedgerEntry, Sample

__all__ = [
    "Change",
    "Event",
    "event_of",
    "ledger_of",
    "recent_entries",
    "story_of_equipment",
    "story_of_sample",
]


@dataclass(frozen=True)
class Change:
    """One value that changed: what it was, what it became."""

    name: str
    before: str
    after: str


@dataclass(frozen=True)
class Event:
    """One entry of the story, ready to be shown."""

    sequence: int
    at: datetime
    person: str
    action: str
    subject: str
    changes: tuple[Change, ...]
    reason: str
    door: str
    digest: str
    is_new: bool


#: Housekeeping columns that tell a reader nothing.
_UNTOLD = frozenset({"id", "version", "key", "decimals", "use_count"})


def ledger_of(chain: str) -> QuerySet[LedgerEntry]:
    """List the entries of one chain, oldest first."""
    return LedgerEntry.objects.filter(chain=chain).order_by("sequence")


def story_of_sample(sample: Sample) -> list[Event]:
    """Tell a sample's history from delivery on, oldest first."""
    return [event_of(entry) for entry in ledger_of(f"sample/{sample.number}")]


def story_of_equipment(item: Equipment) -> list[Event]:
    """Tell the history of a sieve or an instrument, oldest first."""
    return [event_of(entry) for entry in ledger_of(f"equipment/{item.serial}")]


def recent_entries() -> QuerySet[LedgerEntry]:
    """List everything that was done, for the records page."""
    return LedgerEntry.objects.all()


def event_of(entry: LedgerEntry) -> Event:
    """Tell one entry as a person would."""
    return Event(
        sequence=entry.sequence,
        at=entry.at,
        person=entry.actor_name,
        action=entry.action,
        subject=entry.subject,
        changes=tuple(_changes(entry)),
        reason=entry.reason,
        door=entry.door,
        digest=entry.digest,
        is_new=entry.before is None,
    )


def _changes(entry: LedgerEntry) -> Iterator[Change]:
    before: dict[str, Any] = entry.before or {}
    for name, value in (entry.after or {}).items():
        has_name = name.endswith("_id") and name.removesuffix("_id") in (entry.after or {})
        if name in _UNTOLD or has_name or value in (None, "", []):
            continue
        yield Change(_words(name), _text(before.get(name)), _text(value))


_UNITS = (
    ("_g", "g"),
    ("_um", "µm"),
    ("_pct", "%"),
    ("_mm", "mm"),
    ("_hz", "Hz"),
    ("_c", "°C"),
)


def _words(name: str) -> str:
    """Say a column's name as a person would, with its unit in brackets."""
    for suffix, unit in _UNITS:
        if name.endswith(suffix):
            return f"{name.removesuffix(suffix).replace('_', ' ')} [{unit}]"
    return name.replace("_", " ")


def _text(value: object) -> str:
    if value is None or value == "":
        return ""
    if isinstance(value, list):
        return ", ".join(str(part) for part in value)
    return str(value)
