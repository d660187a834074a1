"""Histories, told from the ledger: of a sample, a piece of equipment, a person or a time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from django.db.models import Q, QuerySet
from django.utils import timezone

from gradation.models import (
    Bench,
    ChainHead,
    DryingMass,
    Equipment,
    LedgerEntry,
    Run,
    RunSieve,
    Sample,
    User,
    Weighing,
)
from gradation.queries.history_words import KINDS, Change, changes_of

__all__ = [
    "Change",
    "Event",
    "HistoryFilter",
    "entries_of_equipment",
    "entries_of_person",
    "entries_of_sample",
    "moved_since",
    "narrowed",
    "people_in",
    "recent_entries",
    "sequence_of",
    "story_of_equipment",
    "story_of_sample",
    "tell",
]


@dataclass(frozen=True)
class Event:
    """One entry of the story, ready to be shown, with the equipment in its state of that day."""

    key: int
    chain: str
    sequence: int
    at: datetime
    person: str
    action: str
    subject: str
    kind: str
    changes: tuple[Change, ...]
    reason: str
    door: str
    digest: str
    is_new: bool
    bench: str = ""
    equipment: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class HistoryFilter:
    """To what a history is narrowed; empty means all."""

    kind: str = ""
    person: int | None = None
    bench: int | None = None
    first: date | None = None
    last: date | None = None

    @property
    def is_narrow(self) -> bool:
        """Say whether anything is left out."""
        return self != HistoryFilter()


def entries_of_sample(sample: Sample) -> QuerySet[LedgerEntry]:
    """List what happened to a sample, its portions, runs and certificates."""
    return LedgerEntry.objects.filter(chain=f"sample/{sample.number}")


def entries_of_equipment(item: Equipment) -> QuerySet[LedgerEntry]:
    """List what happened to a sieve or an instrument."""
    return LedgerEntry.objects.filter(chain=f"equipment/{item.serial}")


def entries_of_person(person: User) -> QuerySet[LedgerEntry]:
    """List what a person did, and what was done about that person's account."""
    about = Q(subject_type="user", subject_id=person.pk)
    return LedgerEntry.objects.filter(Q(actor=person) | about)


def recent_entries() -> QuerySet[LedgerEntry]:
    """List everything that was done."""
    return LedgerEntry.objects.all()


def sequence_of(chain: str) -> int:
    """Give how far a chain has come."""
    found = ChainHead.objects.filter(chain=chain).values_list("sequence", flat=True).first()
    return found or 0


def moved_since(chain: str, sequence: int, request_id: str) -> bool:
    """Say whether another request than this one wrote in a chain after the entry named.

    Asked after one's own entry, which holds the chain until the transaction ends, it is certain.
    """
    later = LedgerEntry.objects.filter(chain=chain, sequence__gt=sequence)
    return later.exclude(request_id=request_id).exists()


def story_of_sample(sample: Sample) -> list[Event]:
    """Tell a sample's history from delivery on, oldest first."""
    return tell(entries_of_sample(sample).order_by("sequence"))


def story_of_equipment(item: Equipment) -> list[Event]:
    """Tell the history of a sieve or an instrument, oldest first."""
    return tell(entries_of_equipment(item).order_by("sequence"))


def narrowed(entries: QuerySet[LedgerEntry], wanted: HistoryFilter) -> QuerySet[LedgerEntry]:
    """Leave out what is not asked for; days are those of the zone in force."""
    zone = timezone.get_current_timezone()
    if wanted.kind in KINDS:
        entries = entries.filter(subject_type__in=KINDS[wanted.kind])
    if wanted.person is not None:
        entries = entries.filter(actor=wanted.person)
    if wanted.bench is not None:
        entries = entries.filter(_at_bench(wanted.bench))
    if wanted.first is not None:
        entries = entries.filter(at__gte=datetime.combine(wanted.first, time(), zone))
    if wanted.last is not None:
        end = datetime.combine(wanted.last + timedelta(days=1), time(), zone)
        entries = entries.filter(at__lt=end)
    return entries


def _at_bench(bench: int) -> Q:
    runs = Run.objects.filter(bench=bench).values("pk")
    readings = Weighing.objects.filter(run__bench=bench).values("pk")
    return (
        Q(subject_type="run", subject_id__in=runs)
        | Q(subject_type="weighing", subject_id__in=readings)
        | Q(subject_type="bench", subject_id=bench)
    )


def people_in(entries: QuerySet[LedgerEntry]) -> list[tuple[int, str]]:
    """List who did something in a history, by name."""
    rows = entries.order_by().values_list("actor", "actor_name").distinct()
    return sorted(rows, key=lambda row: row[1])


def tell(entries: Iterable[LedgerEntry]) -> list[Event]:
    """Tell entries in their order, with benches and equipment; a constant number of queries."""
    rows, zone = list(entries), timezone.get_current_timezone()
    benches, sieves = _benches(rows), _sieves(rows)
    return [
        Event(
            key=entry.pk,
            chain=entry.chain,
            sequence=entry.sequence,
            at=entry.at,
            person=entry.actor_name,
            action=entry.action,
            subject=entry.subject,
            kind=_kind(entry.subject_type),
            changes=tuple(changes_of(entry, zone)),
            reason=entry.reason,
            door=entry.door,
            digest=entry.digest,
            is_new=entry.before is None,
            bench=benches.get((entry.subject_type, entry.subject_id), ""),
            equipment=sieves.get(entry.subject_id, ()) if entry.action == "run opened" else (),
        )
        for entry in rows
    ]


def _kind(subject_type: str) -> str:
    return next((kind for kind, types in KINDS.items() if subject_type in types), "")


def _benches(rows: Sequence[LedgerEntry]) -> dict[tuple[str, int], str]:
    """Give the bench at which each entry's thing was done."""
    runs = Run.objects.filter(pk__in=_keys(rows, "run")).values_list("pk", "bench__name")
    readings = Weighing.objects.filter(pk__in=_keys(rows, "weighing"))
    benches = Bench.objects.filter(pk__in=_keys(rows, "bench"))
    places = DryingMass.objects.filter(pk__in=_keys(rows, "dryingmass"))
    found = {("run", pk): name for pk, name in runs}
    found |= {("weighing", pk): name for pk, name in readings.values_list("pk", "run__bench__name")}
    found |= {("bench", bench.pk): bench.name for bench in benches}
    found |= {
        ("dryingmass", pk): f"oven {serial}"
        for pk, serial in places.values_list("pk", "drying__oven__serial")
        if serial
    }
    return found


def _keys(rows: Sequence[LedgerEntry], kind: str) -> list[int]:
    return [entry.subject_id for entry in rows if entry.subject_type == kind]


def _sieves(rows: Sequence[LedgerEntry]) -> dict[int, tuple[str, ...]]:
    """Give the sieves of each run opened, as they stood then: size, serial, next check due."""
    opened = [entry.subject_id for entry in rows if entry.action == "run opened"]
    places = RunSieve.objects.filter(run__in=opened).select_related("sieve")
    found: dict[int, list[str]] = {}
    for place in places.order_by("run", "position"):
        due = place.next_check_on
        until = f", check due {due.day} {due:%b %Y}" if due else ", no check due"
        line = f"{place.sieve.serial} ({place.sieve.designation}{until})"
        found.setdefault(place.run_id, []).append(line)
    return {run: tuple(lines) for run, lines in found.items()}
