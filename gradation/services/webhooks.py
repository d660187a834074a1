"""Webhooks: which system hears of what; added with the secret shown once, changed, paused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import Delivery, Event, User, Webhook
from gradation.policy import Action, require
from gradation.services import clock, ledger, outgoing
from gradation.services.checking import cleaned, locked, needs_reason, unchanged
from gradation.services.webhook_secrets import new_salt, secret_of

__all__ = [
    "MadeWebhook",
    "WebhookWanted",
    "add_webhook",
    "change_webhook",
    "pause_webhook",
    "renew_secret",
    "replay_delivery",
    "resume_webhook",
]


@dataclass(frozen=True)
class WebhookWanted:
    """Where another system is called, and of what it hears."""

    name: str
    url: str
    events: Sequence[str]


@dataclass(frozen=True)
class MadeWebhook:
    """A webhook with the secret its system checks signatures with; it cannot be shown again."""

    webhook: Webhook
    secret: str = field(repr=False)


def add_webhook(*, actor: User, wanted: WebhookWanted) -> MadeWebhook:
    """Add a webhook; what happens from now on is told to it.

    Quality managers may. Refuses (`Invalid`) an address that is not called (one in a private
    network that is not allowed, one without TLS), unknown events or none. Ledger: webhook added,
    without the secret.
    """
    require(actor, Action.MANAGE_WEBHOOKS)
    _refuse_faulty(wanted)
    with transaction.atomic():
        webhook = Webhook(
            name=wanted.name.strip(),
            url=wanted.url,
            events=sorted(set(wanted.events)),
            secret_salt=new_salt(),
            created_at=clock.now(),
            created_by=actor,
        )
        cleaned(webhook).save(force_insert=True)
        ledger.write(actor=actor, action="webhook added", subject=webhook)
    return MadeWebhook(webhook, secret_of(webhook.secret_salt))


def change_webhook(
    *, actor: User, webhook: Webhook, wanted: WebhookWanted, version: int | None = None
) -> Webhook:
    """Change name, address or events; what waits goes to the new address.

    Quality managers may. Refuses as `add_webhook` does, and (`Conflict`) when somebody else changed
    it since `version`. Ledger: webhook changed.
    """
    require(actor, Action.MANAGE_WEBHOOKS)
    _refuse_faulty(wanted)
    with transaction.atomic():
        webhook = locked(webhook)
        unchanged(webhook, version)
        before = ledger.snapshot(webhook)
        webhook.name, webhook.url = wanted.name.strip(), wanted.url
        webhook.events = sorted(set(wanted.events))
        webhook.resting_until, webhook.version = None, webhook.version + 1
        cleaned(webhook).save()
        ledger.write(actor=actor, action="webhook changed", subject=webhook, before=before)
    return webhook


def renew_secret(*, actor: User, webhook: Webhook, reason: str) -> MadeWebhook:
    """Give a webhook another secret, with a reason; the former one signs nothing more.

    Quality managers may. Ledger: webhook secret renewed, without it.
    """
    require(actor, Action.MANAGE_WEBHOOKS)
    reason = needs_reason(reason, "renew the secret")
    with transaction.atomic():
        webhook = locked(webhook)
        webhook.secret_salt, webhook.version = new_salt(), webhook.version + 1
        webhook.save(update_fields=["secret_salt", "version"])
        ledger.write(
            actor=actor, action="webhook secret renewed", subject=webhook, after={}, reason=reason
        )
    return MadeWebhook(webhook, secret_of(webhook.secret_salt))


def pause_webhook(*, actor: User, webhook: Webhook, reason: str) -> Webhook:
    """Call a webhook no more for a while; what happens meanwhile waits for it.

    Quality managers may, with a reason. Ledger: webhook paused.
    """
    return _set_paused(actor, webhook, needs_reason(reason, "pause the webhook"), is_paused=True)


def resume_webhook(*, actor: User, webhook: Webhook, reason: str) -> Webhook:
    """Call a paused webhook again, first with what waited. Ledger: webhook resumed."""
    return _set_paused(actor, webhook, needs_reason(reason, "resume the webhook"), is_paused=False)


def _set_paused(actor: User, webhook: Webhook, reason: str, *, is_paused: bool) -> Webhook:
    require(actor, Action.MANAGE_WEBHOOKS)
    with transaction.atomic():
        webhook = locked(webhook)
        if webhook.is_paused == is_paused:
            msg = f"{webhook} is {'paused' if is_paused else 'called'} already."
            raise Conflict(msg)
        before = ledger.snapshot(webhook)
        webhook.is_paused, webhook.resting_until = is_paused, None
        webhook.version += 1
        webhook.save(update_fields=["is_paused", "resting_until", "version"])
        action = "webhook paused" if is_paused else "webhook resumed"
        ledger.write(actor=actor, action=action, subject=webhook, before=before, reason=reason)
    return webhook


def replay_delivery(*, actor: User, delivery: Delivery) -> Delivery:
    """Tell a webhook once more what was delivered or given up, under the same id.

    Quality managers may. Refuses (`Conflict`) what is still waiting. Ledger: delivery replayed.
    """
    require(actor, Action.MANAGE_WEBHOOKS)
    with transaction.atomic():
        delivery = locked(delivery, "webhook", "announcement")
        if delivery.state == Delivery.State.WAITING:
            msg = f"{delivery} is still waiting; it is told without your doing."
            raise Conflict(msg, code="delivery-waiting")
        before = ledger.snapshot(delivery)
        delivery.state, delivery.tries = Delivery.State.WAITING, 0
        delivery.due_at, delivery.ended_at = clock.now(), None
        delivery.save()
        ledger.write(actor=actor, action="delivery replayed", subject=delivery, before=before)
    return delivery


def _refuse_faulty(wanted: WebhookWanted) -> None:
    faults = []
    strange = sorted(set(wanted.events) - set(Event))
    if strange or not wanted.events:
        said = f"There is no event {', '.join(strange)}." if strange else "It hears of nothing."
        faults.append(Fault("events", f"{said} Choose from: {', '.join(Event)}.", "unknown-event"))
    try:
        outgoing.checked_addresses(outgoing.parts_of(wanted.url))
    except outgoing.Refused as refused:
        faults.append(Fault("url", str(refused), "address-refused"))
    if faults:
        raise Invalid(faults)
