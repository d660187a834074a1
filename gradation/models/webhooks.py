"""Webhooks: which other system hears of what, what there is to tell, and every try to tell it."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar
from uuid import uuid4

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import Q

from gradation.models.procedures import choices


class Event(StrEnum):
    """What another system can be told of."""

    SAMPLE_LOGGED = "sample.logged"
    RUN_ACCEPTED = "run.accepted"
    CERTIFICATE_ISSUED = "certificate.issued"
    CERTIFICATE_AMENDED = "certificate.amended"
    CERTIFICATE_WITHDRAWN = "certificate.withdrawn"
    SIEVE_OUT_OF_SERVICE = "sieve.out_of_service"


class Webhook(models.Model):
    """An address of another system that is told of some events.

    The secret it checks our signatures with is not kept: it is made from `secret_salt` and the
    installation's key whenever something is signed, so a stolen database signs nothing.
    """

    name = models.CharField(max_length=80)
    url = models.CharField(max_length=500)
    events = models.JSONField(help_text="Events, as words.")
    secret_salt = models.CharField(max_length=64)
    is_paused = models.BooleanField(default=False)
    resting_until = models.DateTimeField(
        null=True, blank=True, help_text="Not called before: the last call failed."
    )
    created_at = models.DateTimeField()
    created_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering: ClassVar[list[str]] = ["name"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["name"], name="webhook_name_unique"),
        ]

    def __str__(self) -> str:
        return self.name


class Announcement(models.Model):
    """One thing that happened, as it is told; written in the transaction in which it happened."""

    key = models.UUIDField(default=uuid4, editable=False)
    event = models.CharField(max_length=32, choices=choices(Event))
    subject = models.CharField(max_length=80)
    at = models.DateTimeField()
    data = models.JSONField(encoder=DjangoJSONEncoder)

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["key"], name="announcement_key_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.event} {self.subject}"


class Delivery(models.Model):
    """One announcement to one webhook: waiting until it was taken, or given up after a day."""

    class State(StrEnum):
        """How far it is."""

        WAITING = "waiting"
        DELIVERED = "delivered"
        GIVEN_UP = "given up"

    webhook = models.ForeignKey(Webhook, on_delete=models.PROTECT, related_name="deliveries")
    announcement = models.ForeignKey(
        Announcement, on_delete=models.PROTECT, related_name="deliveries"
    )
    state = models.CharField(max_length=10, choices=choices(State), default=State.WAITING.value)
    tries = models.PositiveSmallIntegerField(default=0, help_text="Since it was last asked for.")
    due_at = models.DateTimeField(help_text="Not tried before.")
    claim = models.UUIDField(null=True, blank=True, help_text="Of the worker that tries it now.")
    claimed_until = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        verbose_name_plural: ClassVar[str] = "deliveries"
        indexes: ClassVar[list[models.Index]] = [
            models.Index(
                fields=["due_at", "id"], condition=Q(state="waiting"), name="delivery_due"
            ),
            models.Index(fields=["webhook", "-id"], name="delivery_by_webhook"),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["webhook", "announcement"], name="delivery_once"),
            models.CheckConstraint(
                condition=Q(state="waiting") | Q(ended_at__isnull=False),
                name="delivery_ended_has_time",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.announcement} to {self.webhook}"


class DeliveryTry(models.Model):
    """One try of a delivery and what came of it. Never changed."""

    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="log")
    at = models.DateTimeField()
    took_ms = models.PositiveIntegerField()
    status = models.PositiveSmallIntegerField(null=True, blank=True, help_text="None: no answer.")
    said = models.CharField(max_length=400, blank=True, help_text="What was wrong.")

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        verbose_name_plural: ClassVar[str] = "delivery tries"

    def __str__(self) -> str:
        return f"try of {self.delivery_id} at {self.at:%d %b %Y %H:%M}"
