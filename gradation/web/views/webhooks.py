"""Settings: webhooks - listed, added with the secret shown once, paused, their log, replays."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from gradation.errors import Refusal
from gradation.models import Delivery, Webhook
from gradation.policy import Action
from gradation.queries.webhooks import deliveries_of, find_delivery, find_webhook, webhook_list
from gradation.services import webhooks as services
from gradation.web import lists
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, said, sent
from gradation.web.forms.base import initial_of
from gradation.web.forms.intake import ReasonForm
from gradation.web.forms.webhooks import EVENT_WORDS, WebhookForm
from gradation.web.fresh import fresh

_MADE = "web/settings/webhook_made.html"
_STATES = [("", "all"), *((state.value, state.value) for state in Delivery.State)]


def _list() -> str:
    return reverse("settings:webhook-list")


def _shown(webhook: Webhook) -> str:
    return reverse("settings:webhook-show", args=[webhook.pk])


def _found(pk: int) -> Webhook:
    return found(find_webhook(pk), "webhook")


@page(Action.MANAGE_WEBHOOKS)
def webhooks_known(request: PersonRequest) -> HttpResponse:
    """List the webhooks with what waits for each."""
    context = {"page": lists.page_in_address(request, webhook_list())}
    return render(request, "web/settings/webhook_list.html", context)


@page(Action.MANAGE_WEBHOOKS)
def webhook_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a webhook and all that it was told, newest first."""
    webhook = _found(pk)
    state = lists.chosen(request, "state", _STATES)
    context = {
        "webhook": webhook,
        "hears": [words for event, words in EVENT_WORDS.items() if event in webhook.events],
        "states": lists.choices(request, "state", _STATES),
        "page": lists.page_in_address(request, deliveries_of(webhook, state)),
    }
    return render(request, "web/settings/webhook_show.html", context)


@fresh
@page(Action.MANAGE_WEBHOOKS)
def webhook_add(request: PersonRequest) -> HttpResponse:
    """Add a webhook; the answer is the only page that ever shows its secret."""
    form = WebhookForm(sent(request))
    if form.is_bound and form.is_valid():
        try:
            made = services.add_webhook(actor=request.user, wanted=form.wanted())
        except Refusal as refusal:
            form.take(refusal)
        else:
            return render(request, _MADE, {"made": made})
    intro = "Another system is told as soon as something happens here, instead of asking again."
    asking = Asking("Add a webhook", "Add it", _list(), intro=intro)
    return FormPage(request, form, asking, "web/settings/token_make.html").show()


@fresh
@page(Action.MANAGE_WEBHOOKS)
def webhook_change(request: PersonRequest, pk: int) -> HttpResponse:
    """Change name, address or events of a webhook."""
    webhook = _found(pk)
    form = WebhookForm(sent(request), initial=initial_of(webhook, WebhookForm))
    asking = Asking(
        f"Change {webhook}",
        "Keep the change",
        _shown(webhook),
        intro="What still waits goes to the new address. The secret stays as it is.",
    )
    return FormPage(request, form, asking, "web/settings/token_make.html").answer(
        Doing(
            lambda: services.change_webhook(
                actor=request.user, webhook=webhook, wanted=form.wanted()
            ),
            _shown,
            lambda changed: f"{changed} is changed.",
        )
    )


@fresh
@page(Action.MANAGE_WEBHOOKS)
def webhook_renew(request: PersonRequest, pk: int) -> HttpResponse:
    """Give a webhook another secret, shown once."""
    webhook, form = _found(pk), ReasonForm(sent(request))
    if form.is_bound and form.is_valid():
        made = services.renew_secret(
            actor=request.user, webhook=webhook, reason=form.cleaned_data["reason"]
        )
        return render(request, _MADE, {"made": made})
    asking = Asking(
        f"Renew the secret of {webhook}",
        "Renew it",
        _shown(webhook),
        intro="The former secret signs nothing more: the other system needs the new one at once.",
        grave=True,
    )
    return FormPage(request, form, asking).show()


@page(Action.MANAGE_WEBHOOKS)
def webhook_pause(request: PersonRequest, pk: int) -> HttpResponse:
    """Call a webhook no more for a while, or call it again; with a reason."""
    webhook = _found(pk)
    form = ReasonForm(sent(request))
    act: Any = services.resume_webhook if webhook.is_paused else services.pause_webhook
    word = "Resume" if webhook.is_paused else "Pause"
    intro = "What happens meanwhile waits, and is told when it is resumed."
    asking = Asking(f"{word} {webhook}", word, _shown(webhook), intro=intro)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: act(actor=request.user, webhook=webhook, reason=form.cleaned_data["reason"]),
            _shown,
            lambda row: f"{row} is {'paused' if row.is_paused else 'called again'}.",
        )
    )


@require_POST
@page(Action.MANAGE_WEBHOOKS)
def delivery_replay(request: PersonRequest, pk: int, delivery: int) -> HttpResponse:
    """Tell a webhook once more what it was told or what was given up."""
    webhook = _found(pk)
    row = found(find_delivery(webhook, delivery), "delivery")
    try:
        services.replay_delivery(actor=request.user, delivery=row)
    except Refusal as refusal:
        said(request, refusal.message)
    else:
        said(request, f"{row.announcement} is told again.")
    return redirect(_shown(webhook))
