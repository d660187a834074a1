"""Webhooks: the list for the settings, what each was told, and what waits for it."""

from __future__ import annotations

from django.db.models import Count, Prefetch, Q, QuerySet

from gradation.models import Delivery, DeliveryTry, Webhook

__all__ = ["deliveries_of", "find_delivery", "find_webhook", "webhook_list"]

_State = Delivery.State


def webhook_list() -> QuerySet[Webhook]:
    """List the webhooks with how much waits for each and how much was given up."""
    return Webhook.objects.annotate(
        waiting=Count("deliveries", filter=Q(deliveries__state=_State.WAITING)),
        given_up=Count("deliveries", filter=Q(deliveries__state=_State.GIVEN_UP)),
    ).order_by("-id")


def find_webhook(pk: int) -> Webhook | None:
    """Find one webhook."""
    return webhook_list().select_related("created_by").filter(pk=pk).first()


def deliveries_of(webhook: Webhook, state: str = "") -> QuerySet[Delivery]:
    """List what a webhook was or will be told, newest first, each with its tries."""
    tries = Prefetch("log", DeliveryTry.objects.order_by("-id"), to_attr="tried")
    rows = Delivery.objects.filter(webhook=webhook).select_related("announcement", "webhook")
    rows = rows.filter(state=state) if state else rows
    return rows.prefetch_related(tries).order_by("-id")


def find_delivery(webhook: Webhook, pk: int) -> Delivery | None:
    """Find one delivery of a webhook."""
    return deliveries_of(webhook).filter(pk=pk).first()
