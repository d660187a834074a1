"""Balances that send: how each is read, where its bench's next reading goes, what came."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from django.db.models import QuerySet

from gradation.models import (
    BalanceLink,
    BalanceReading,
    Bench,
    BenchPlace,
    Check,
    Equipment,
    Instrument,
)

__all__ = [
    "balance_by_serial",
    "bench_called",
    "link_of",
    "links_at",
    "named_place",
    "reading_with_key",
    "readings_of",
    "waiting_at",
    "waiting_reading",
    "was_checked_on",
]

Outcome = BalanceReading.Outcome


def balance_by_serial(serial: str) -> Instrument | None:
    """Find an instrument by its serial number, whatever the case sent."""
    text = serial.strip()
    rows = Instrument.objects.all()
    return rows.filter(serial=text).first() or rows.filter(serial__iexact=text).first()


def bench_called(text: str) -> Bench | None:
    """Find a bench by its name, or by its number where no bench has that name."""
    named = (
        Bench.objects.filter(name=text).first() or Bench.objects.filter(name__iexact=text).first()
    )
    is_number = text.isascii() and text.isdigit() and len(text) < 18
    return named or (Bench.objects.filter(pk=int(text)).first() if is_number else None)


def link_of(balance: Equipment) -> BalanceLink | None:
    """Give how a balance is read, also when it is disconnected."""
    return BalanceLink.objects.select_related("balance", "bench").filter(balance=balance.pk).first()


def links_at(bench: Bench) -> QuerySet[BalanceLink]:
    """List the balances whose readings go to a bench."""
    return BalanceLink.objects.filter(bench=bench, is_active=True).select_related(
        "balance", "bench"
    )


def named_place(bench: Bench) -> BenchPlace | None:
    """Give where the next balance reading of a bench goes, if anybody named a place."""
    return (
        BenchPlace.objects.select_related("run__portion", "person", "bench")
        .filter(bench=bench, person__isnull=False)
        .first()
    )


def reading_with_key(key: UUID) -> BalanceReading | None:
    """Give the reading that came under a key."""
    return (
        BalanceReading.objects.select_related("balance", "bench", "weighing", "drying_mass")
        .filter(key=key)
        .first()
    )


def waiting_at(bench: Bench) -> QuerySet[BalanceReading]:
    """List the readings of a bench that wait for somebody to say where they belong."""
    return (
        BalanceReading.objects.filter(bench=bench, outcome=Outcome.WAITING)
        .select_related("balance")
        .order_by("-id")
    )


def waiting_reading(pk: int) -> BalanceReading | None:
    """Give one reading for an answer to it, whatever became of it."""
    return BalanceReading.objects.select_related("balance", "bench").filter(pk=pk).first()


def readings_of(balance: Equipment) -> QuerySet[BalanceReading]:
    """List everything a balance sent, newest first."""
    return (
        BalanceReading.objects.filter(balance=balance.pk)
        .select_related("bench", "weighing__run__portion", "drying_mass__drying__portion")
        .order_by("-id")
    )


def was_checked_on(balance: Equipment, day: date) -> bool:
    """Say whether a balance passed its check-weights on a day."""
    return Check.objects.filter(
        equipment=balance.pk, kind=Check.Kind.WEIGHTS, passed=True, performed_on=day
    ).exists()
