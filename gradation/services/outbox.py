"""The outbox: what other systems are to be told, written with what happened.

A use-case calls `announce` inside its transaction; either both are kept or neither. The worker
(`services/delivering.py`) reads the rows later, so that no use-case waits for another system.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import singledispatch
from typing import Any

from django.db import connection, models

from gradation.models import (
    Announcement,
    Certificate,
    Delivery,
    Equipment,
    Event,
    Run,
    Sample,
    Sieve,
    Webhook,
)
from gradation.services import clock

__all__ = ["announce", "announce_out_of_service", "told_of"]


def announce(event: Event, subjects: Iterable[models.Model]) -> None:
    """Write down for every webhook that hears of `event` that it is to be told.

    Refuses outside a transaction. Where nobody listens, nothing is written.
    """
    if not connection.in_atomic_block:
        msg = "An announcement belongs in the transaction of what it tells."
        raise RuntimeError(msg)
    listening = [hook for hook in Webhook.objects.all() if event.value in hook.events]
    if not listening:
        return
    now = clock.now()
    told = Announcement.objects.bulk_create(
        Announcement(event=event.value, subject=str(each)[:80], at=now, data=told_of(each))
        for each in subjects
    )
    Delivery.objects.bulk_create(_deliveries(told, listening, now))


def _deliveries(
    told: Iterable[Announcement], listening: Sequence[Webhook], now: datetime
) -> Iterable[Delivery]:
    for announcement in told:
        for hook in listening:
            yield Delivery(webhook=hook, announcement=announcement, due_at=now)


def announce_out_of_service(item: Equipment) -> None:
    """Announce that an item was taken out of service, when it is a sieve."""
    announce(Event.SIEVE_OUT_OF_SERVICE, Sieve.objects.filter(pk=item.pk))


@singledispatch
def told_of(subject: models.Model) -> dict[str, Any]:
    """Say of a thing what another system needs to ask for the rest by the interface."""
    raise NotImplementedError(type(subject).__name__)


@told_of.register
def _(subject: Sample) -> dict[str, Any]:
    return {
        "sample": subject.number,
        "customer": subject.customer.name,
        "customer_reference": subject.customer_reference,
        "material": subject.material.name,
        "lot": subject.lot,
        "received_at": subject.received_at,
        "path": f"/api/v1/samples/{subject.number}",
    }


@told_of.register
def _(subject: Run) -> dict[str, Any]:
    sample = subject.portion.sample
    return {
        "run": subject.pk,
        "portion": subject.portion.label,
        "determination": subject.determination,
        "sample": sample.number,
        "customer_reference": sample.customer_reference,
        "path": f"/api/v1/runs/{subject.pk}",
    }


@told_of.register
def _(subject: Certificate) -> dict[str, Any]:
    return {
        "certificate": subject.number,
        "state": str(subject.state),
        "amends": subject.amends.number if subject.amends else None,
        "reason": subject.withdrawal_reason or subject.reason,
        "pdf_sha256": subject.pdf_sha256,
        "sample": subject.sample.number,
        "customer_reference": subject.sample.customer_reference,
        "path": f"/api/v1/certificates/{subject.number}",
    }


@told_of.register
def _(subject: Equipment) -> dict[str, Any]:
    return {
        "sieve": subject.serial,
        "state": str(subject.state),
        "since": subject.state_since,
        "reason": subject.state_reason,
        "path": f"/api/v1/sieves/{subject.serial}",
    }
