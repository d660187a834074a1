"""Delivery of what the outbox holds: a row is claimed, the call made, its outcome written down.

A claim is a lease. A worker that dies in the middle leaves the row claimed; when the lease is over
another takes it, so nothing is lost and something may be told twice, under the same `webhook-id`.
No transaction is open during a call, and two workers never hold the same lease.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.db.models import Q

from gradation.models import Announcement, Delivery, DeliveryTry, Webhook
from gradation.services import clock, outgoing
from gradation.services.webhook_secrets import signed_headers

__all__ = ["BACK_OFF", "LEASE", "RESTS", "body_of", "deliver_due", "deliver_one"]

#: Longer than any call may take (`outgoing.LONGEST_S`) with the writing before and after it.
LEASE = timedelta(seconds=120)
#: After a failed call nothing else is tried at the same webhook for so long: others go on.
RESTS = timedelta(seconds=30)
#: Waits between the tries, together a day; after the last try the delivery is given up.
BACK_OFF = tuple(
    timedelta(seconds=seconds)
    for seconds in (30, 90, 240, 600, 1_800, 3_600, 7_200, 14_400, 28_800, 29_640)
)
State = Delivery.State


@dataclass(frozen=True)
class _Claimed:
    """A delivery that this worker alone tries now."""

    delivery: Delivery
    claim: UUID


def deliver_due(limit: int = 1_000) -> int:
    """Try what is due, one after another; say how many were tried."""
    tried = 0
    while tried < limit and deliver_one():
        tried += 1
    return tried


def deliver_one() -> bool:
    """Try one delivery that is due; say whether there was one."""
    claimed = _claim(clock.now())
    if claimed is None:
        return False
    answer = _send(claimed.delivery.webhook, claimed.delivery.announcement)
    _settle(claimed, answer)
    return True


def _claim(now: datetime) -> _Claimed | None:
    """Take a lease on the next delivery: a locked row is passed over, SQLite has one writer."""
    free = Q(claimed_until=None) | Q(claimed_until__lte=now)
    awake = Q(webhook__resting_until=None) | Q(webhook__resting_until__lte=now)
    with transaction.atomic():
        delivery = (
            Delivery.objects.select_for_update(skip_locked=True, of=("self",))
            .select_related("webhook", "announcement")
            .filter(free, awake, state=State.WAITING, due_at__lte=now, webhook__is_paused=False)
            .order_by("due_at", "id")
            .first()
        )
        if delivery is None:
            return None
        delivery.claim, delivery.claimed_until = uuid4(), now + LEASE
        delivery.save(update_fields=["claim", "claimed_until"])
    return _Claimed(delivery, delivery.claim)


def body_of(announcement: Announcement) -> bytes:
    """Write an announcement as it is sent, the same bytes at every try."""
    told = {
        "type": announcement.event,
        "timestamp": announcement.at.isoformat(),
        "data": announcement.data,
    }
    return json.dumps(told, cls=DjangoJSONEncoder, sort_keys=True).encode()


def _send(webhook: Webhook, announcement: Announcement) -> outgoing.Answer:
    body, now = body_of(announcement), int(clock.now().timestamp())
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "Gradation",
        **signed_headers(webhook.secret_salt, str(announcement.key), now, body),
    }
    return outgoing.post(webhook.url, body, headers)


def _settle(claimed: _Claimed, answer: outgoing.Answer) -> None:
    """Write down what came of a try; a lease that was lost meanwhile decides nothing more."""
    now = clock.now()
    with transaction.atomic():
        delivery = Delivery.objects.select_for_update().get(pk=claimed.delivery.pk)
        DeliveryTry.objects.create(
            delivery=delivery,
            at=now,
            took_ms=answer.took_ms,
            status=answer.status,
            said=answer.said[:400],
        )
        if delivery.claim != claimed.claim or delivery.state != State.WAITING:
            return
        _decide(delivery, now, is_taken=answer.is_taken)
        delivery.claim = delivery.claimed_until = None
        delivery.save()
        rests = None if answer.is_taken else now + RESTS
        Webhook.objects.filter(pk=delivery.webhook_id).update(resting_until=rests)


def _decide(delivery: Delivery, now: datetime, *, is_taken: bool) -> None:
    delivery.tries += 1
    if is_taken:
        delivery.state, delivery.ended_at = State.DELIVERED, now
    elif delivery.tries > len(BACK_OFF):
        delivery.state, delivery.ended_at = State.GIVEN_UP, now
    else:
        delivery.due_at = now + BACK_OFF[delivery.tries - 1]
