"""The equipment file: one item's card with its checks, tares, files and runs; lots; masters."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Prefetch, QuerySet

from gradation.models import (
    Attachment,
    Bench,
    Check,
    Equipment,
    ImpactAssessment,
    Instrument,
    LedgerEntry,
    ProcedureVersion,
    ReferenceLot,
    Sieve,
    Tare,
)

__all__ = [
    "SizePlaces",
    "all_equipment",
    "attachment_of",
    "attachments_of",
    "check_of",
    "checks_of",
    "impacts_of",
    "item_by_serial",
    "items_in_use",
    "labelled",
    "last_check",
    "latest_checks",
    "lot_list",
    "lots_in_use",
    "masters_of",
    "rule_history",
    "sieves_for",
    "tares_of",
]

_SHOWN_CHECK = ("performed_by", "reference_lot", "master")


def all_equipment() -> QuerySet[Equipment]:
    """List every item with what a list says of it: its own kind's columns, bench and keeper."""
    return Equipment.objects.select_related("sieve", "instrument", "bench", "keeper")


def item_by_serial(serial: str) -> Sieve | Instrument | None:
    """Find an item of any kind by its serial number, whatever the case typed."""
    item = all_equipment().filter(serial__iexact=serial.strip()).first()
    if item is None:
        return None
    kind = Sieve if item.kind == Equipment.Kind.SIEVE else Instrument
    return kind.objects.select_related("bench", "keeper").filter(pk=item.pk).first()


def labelled(serials: list[str]) -> list[Sieve | Instrument]:
    """Find the items of these serial numbers, in the order given."""
    rows: dict[str, Sieve | Instrument] = {
        **{item.serial: item for item in Sieve.objects.filter(serial__in=serials)},
        **{item.serial: item for item in Instrument.objects.filter(serial__in=serials)},
    }
    return [rows[serial] for serial in serials if serial in rows]


def checks_of(item: Equipment) -> QuerySet[Check]:
    """List an item's checks with their files, newest first."""
    files = Attachment.objects.defer("file")
    return (
        Check.objects.filter(equipment=item.pk)
        .select_related(*_SHOWN_CHECK)
        .prefetch_related(Prefetch("attachments", files))
    )


def latest_checks(item: Equipment, most: int | None) -> tuple[list[Check], int]:
    """Give an item's latest checks and how many earlier ones there are; all of them for None."""
    rows = list(checks_of(item)[: most + 1 if most else None])
    if most is None or len(rows) <= most:
        return rows, 0
    return rows[:most], Check.objects.filter(equipment=item.pk).count() - most


def check_of(item: Equipment, pk: int) -> Check | None:
    """Give one check of an item."""
    return checks_of(item).filter(pk=pk).first()


def last_check(item: Equipment, kind: str) -> Check | None:
    """Give an item's latest check of one kind."""
    return Check.objects.filter(equipment=item.pk, kind=kind).first()


def tares_of(sieve: Sieve) -> QuerySet[Tare]:
    """List the empty masses weighed on their own, newest first."""
    return Tare.objects.filter(sieve=sieve).select_related("weighed_by")


def attachments_of(item: Equipment) -> QuerySet[Attachment]:
    """List an item's files without their content, newest first."""
    return (
        Attachment.objects.filter(equipment=item.pk)
        .select_related("added_by", "check_made")
        .defer("file")
    )


def attachment_of(item: Equipment, pk: int) -> Attachment | None:
    """Give one file of an item, with its content."""
    return Attachment.objects.filter(equipment=item.pk, pk=pk).first()


def rule_history(item: Equipment) -> list[LedgerEntry]:
    """List the changes of an item's rule of checks, newest first."""
    chain = LedgerEntry.objects.filter(chain=f"equipment/{item.serial}")
    named = ("check_interval_days", "check_interval_uses")
    return [
        entry
        for entry in chain.filter(before__isnull=False).order_by("-sequence")
        if any(name in (entry.after or {}) for name in named)
    ]


def lot_list() -> QuerySet[ReferenceLot]:
    """List the lots of reference material, those in use first."""
    return ReferenceLot.objects.order_by("-is_active", "name", "lot")


def lots_in_use() -> QuerySet[ReferenceLot]:
    """List the lots that a check may use."""
    return ReferenceLot.objects.filter(is_active=True)


def masters_of(item: Equipment) -> QuerySet[Sieve]:
    """List the master sieves of the same size."""
    if not isinstance(item, Sieve):
        return Sieve.objects.none()
    return Sieve.objects.filter(
        is_master=True, aperture_um=item.aperture_um, state=Equipment.State.IN_SERVICE
    ).exclude(pk=item.pk)


@dataclass(frozen=True)
class SizePlaces:
    """One size of a procedure with the sieves there are for it."""

    aperture_um: Decimal
    sieves: tuple[Sieve, ...]


def sieves_for(version: ProcedureVersion) -> list[SizePlaces]:
    """List the sieves that could stand in a nest for a procedure, size by size, coarse to fine."""
    sizes = [place.aperture_um for place in version.apertures.all()]
    rows = Sieve.objects.filter(
        aperture_um__in=sizes, is_master=False, state=Equipment.State.IN_SERVICE
    ).order_by("frame_diameter_mm", "serial")
    found = list(rows)
    return [
        SizePlaces(size, tuple(sieve for sieve in found if sieve.aperture_um == size))
        for size in sorted(sizes, reverse=True)
    ]


def impacts_of(item: Equipment) -> QuerySet[ImpactAssessment]:
    """List the assessments of one item."""
    return ImpactAssessment.objects.filter(equipment=item.pk).select_related("failed_check")


def items_in_use(what: str, bench: Bench | None) -> list[Sieve | Instrument]:
    """List sieves, instruments or both that are not withdrawn, at one bench or everywhere."""
    kinds: dict[str, tuple[type[Sieve | Instrument], ...]] = {
        "sieve": (Sieve,),
        "instrument": (Instrument,),
    }
    found: list[Sieve | Instrument] = []
    for kind in kinds.get(what, (Sieve, Instrument)):
        rows = kind.objects.exclude(state=Equipment.State.WITHDRAWN)
        found += rows.filter(bench=bench) if bench else rows
    return found
