"""Endpoints of webhooks: where news goes, what was told, what is told again."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from gradation.api.contract.endpoint import Endpoint
from gradation.api.contract.things import Act, Listing, Open, ReasonIn, Thing, Words, route
from gradation.api.contract.told import OlderPage, Sent, Told
from gradation.api.serializers import states
from gradation.errors import NotFound
from gradation.models import Delivery, Event, User, Webhook
from gradation.policy import Action
from gradation.queries.paging import page_of
from gradation.queries.webhooks import deliveries_of, find_delivery, find_webhook, webhook_list
from gradation.services import webhooks

KEEPERS = Open(needs=dict.fromkeys(("GET", "HEAD", "POST", "PUT"), Action.MANAGE_WEBHOOKS))


class WebhookIn(Sent):
    """Where another system is called, and of what it hears."""

    name = serializers.CharField(max_length=80)
    url = serializers.CharField(max_length=500, help_text="https:// and a public address.")
    events = serializers.ListField(
        child=serializers.ChoiceField(states(Event)), min_length=1, max_length=len(Event)
    )


class WebhookOut(serializers.Serializer):
    """A webhook; its secret is not shown."""

    id = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    url = serializers.CharField()
    events = serializers.ListField(child=serializers.ChoiceField(states(Event)))
    is_paused = serializers.BooleanField()
    waiting = serializers.IntegerField(help_text="News that is not told yet.")
    given_up = serializers.IntegerField(help_text="News that nobody took within a day.")
    created_at = serializers.DateTimeField()
    version = serializers.IntegerField(help_text="Counts the changes.")


class TryOut(serializers.Serializer):
    """One try to tell it."""

    at = serializers.DateTimeField()
    took_ms = serializers.IntegerField()
    status = serializers.IntegerField(allow_null=True, help_text="Null: no answer.")
    said = serializers.CharField(help_text="What was wrong.")


class DeliveryOut(serializers.Serializer):
    """One piece of news for one webhook."""

    id = serializers.IntegerField(source="pk")
    webhook_id = serializers.UUIDField(
        source="announcement.key", help_text="As in the header `webhook-id`."
    )
    type = serializers.ChoiceField(states(Event), source="announcement.event")
    subject = serializers.CharField(source="announcement.subject")
    at = serializers.DateTimeField(source="announcement.at")
    state = serializers.ChoiceField(states(Delivery.State))
    due_at = serializers.DateTimeField(help_text="Not tried before.")
    ended_at = serializers.DateTimeField(allow_null=True)
    tries = TryOut(many=True, source="tried", help_text="Newest first.")


class DeliveryFilters(OlderPage):
    """What the log is narrowed to."""

    state = serializers.ChoiceField(states(Delivery.State), required=False)


def _webhook(person: User, pk: int) -> Webhook:
    found = find_webhook(pk)
    if found is None:
        msg = "There is no such webhook. See /api/v1/webhooks."
        raise NotFound(msg)
    return found


def _delivery(person: User, pk: int, delivery: int) -> Delivery:
    found = find_delivery(_webhook(person, pk), delivery)
    if found is None:
        msg = "There is no such delivery of this webhook."
        raise NotFound(msg)
    return found


WEBHOOK = Thing("webhook", _webhook, WebhookOut)
DELIVERY = Thing("delivery", _delivery, DeliveryOut)


def _webhooks(person: User, asked: Words) -> QuerySet[Webhook]:
    return webhook_list()


def _wanted(person: User, subject: Any, told: Words) -> Words:  # noqa: ANN401
    return {"wanted": webhooks.WebhookWanted(**told)}


class Deliveries(Endpoint):
    """The log of a webhook."""

    area = "webhooks"
    operation = "webhook-deliveries"
    act = {"GET": Action.MANAGE_WEBHOOKS, "HEAD": Action.MANAGE_WEBHOOKS}
    told = {"GET": Told(gives=DeliveryOut, asks=DeliveryFilters, pages=True)}

    def get(self, request: Request, pk: int) -> Response:
        """Give what a webhook was or will be told, newest first, each with its tries."""
        rows = deliveries_of(_webhook(self.person, pk), self.asked.get("state", ""))
        page = page_of(rows, before=self.asked.get("before"), size=self.asked["size"])
        return self.paged(page, DeliveryOut(page.rows, many=True).data)


class SecretOut(serializers.Serializer):
    """A webhook's new secret."""

    secret = serializers.CharField(help_text="Shown in this answer and never again.")


class Secret(Endpoint):
    """The secret that calls of a webhook are signed with."""

    area = "webhooks"
    operation = "webhook-secret"
    act = {"POST": Action.MANAGE_WEBHOOKS}
    keeps_answers = False
    told = {
        "POST": Told(takes=ReasonIn, gives=SecretOut, keyed=False, service=webhooks.renew_secret)
    }

    def post(self, request: Request, pk: int) -> Response:
        """Renew the secret; the answer alone tells it, and is kept under no key."""
        reason = self.sent()["reason"]
        made = webhooks.renew_secret(
            actor=self.person, webhook=_webhook(self.person, pk), reason=reason
        )
        return Response({"secret": made.secret})


_ONE = "webhooks/<int:pk>"
routes = [
    route(
        "webhooks",
        "webhooks",
        "webhooks",
        usual=KEEPERS,
        get=Listing(_webhooks, WebhookOut, OlderPage),
        post=Act(
            webhooks.add_webhook,
            WebhookIn,
            _wanted,
            made=WEBHOOK,
            code=201,
            key_of=lambda made: made.webhook.pk,
            about="Add a webhook; what happens from now on is told to it.\n\nQuality managers may. "
            "The answer has no secret: renew it once (`webhook-secret`), and that answer tells it.",
        ),
    ),
    route(
        _ONE,
        "webhook",
        "webhooks",
        usual=KEEPERS,
        get=WEBHOOK,
        put=Act(webhooks.change_webhook, WebhookIn, _wanted, WEBHOOK),
    ),
    *(
        route(
            f"{_ONE}/{verb}",
            f"webhook-{verb}",
            "webhooks",
            usual=KEEPERS,
            post=Act(service, ReasonIn, thing=WEBHOOK),
        )
        for verb, service in (
            ("pause", webhooks.pause_webhook),
            ("resume", webhooks.resume_webhook),
        )
    ),
    path(f"{_ONE}/secret", Secret.as_view(), name="webhook-secret"),
    path(f"{_ONE}/deliveries", Deliveries.as_view(), name="webhook-deliveries"),
    route(
        f"{_ONE}/deliveries/<int:delivery>",
        "webhook-delivery",
        "webhooks",
        usual=KEEPERS,
        get=DELIVERY,
    ),
    route(
        f"{_ONE}/deliveries/<int:delivery>/replay",
        "webhook-replay",
        "webhooks",
        usual=KEEPERS,
        post=Act(webhooks.replay_delivery, None, thing=DELIVERY),
    ),
]
