"""Equipment: how a balance is connected, tried on lines of its own, and what it sent."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_POST

from gradation.models import BalanceLink, Equipment, Instrument
from gradation.policy import Action
from gradation.queries.balances import link_of, readings_of
from gradation.services import balance_links
from gradation.services.balance_forms import Read, form_of, read_balance_line
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.forms.balances import BalanceLinkForm, TriedLinesForm
from gradation.web.forms.base import initial_of
from gradation.web.forms.intake import ReasonForm
from gradation.web.lists import page_in_address
from gradation.web.views.equipment_items import card_of, item_of

_MOST_LINES = 40


@dataclass(frozen=True)
class Tried:
    """One pasted line and what it is read as."""

    line: str
    read: Read


def _balance(serial: str) -> Instrument:
    item = item_of(serial)
    is_balance = isinstance(item, Instrument) and item.kind == Equipment.Kind.BALANCE
    return found(item if is_balance else None, f"balance {serial}")  # type: ignore[return-value]


@page(Action.KEEP_EQUIPMENT)
def balance_connect(request: PersonRequest, serial: str) -> HttpResponse:
    """Say what a balance sends and at which bench it stands; try it on pasted lines."""
    balance = _balance(serial)
    link = link_of(balance)
    shown = link or BalanceLink(balance=balance, bench=balance.bench, form="number_unit")
    start = {**initial_of(shown, BalanceLinkForm), "bench": shown.bench_id}
    form = BalanceLinkForm(sent(request), initial=start, is_new=link is None)
    asking = Asking(f"Connect balance {serial}", "Keep the connection", card_of(balance))
    context = {"item": balance, "link": link}

    def act() -> BalanceLink:
        if link is None:
            return balance_links.connect_balance(actor=request.user, link=form.link(balance))
        return balance_links.change_balance_link(actor=request.user, link=link, **form.cleaned_data)

    says = f"Balance {serial} is connected."
    return FormPage(request, form, asking, "web/equipment/balance_connect.html", context).answer(
        Doing(act, lambda _: card_of(balance), lambda _: says)
    )


@require_POST
@page(Action.KEEP_EQUIPMENT)
def balance_try(request: PersonRequest, serial: str) -> HttpResponse:
    """Show what pasted lines would be read as; nothing is kept."""
    form = TriedLinesForm(request.POST)
    context: dict[str, object] = {"item": _balance(serial), "fault": "", "tried": []}
    if not form.is_valid():
        context["fault"] = "Choose what a line looks like, and paste one that the balance sent."
        return render(request, "parts/balance_tried.html", context)
    try:
        shape = form_of(form.tried())
    except ValueError as fault:
        context["fault"] = str(fault)
        return render(request, "parts/balance_tried.html", context)
    lines = [line for line in form.cleaned_data["lines"].splitlines() if line.strip()]
    context["tried"] = [Tried(it, read_balance_line(it, shape)) for it in lines[:_MOST_LINES]]
    return render(request, "parts/balance_tried.html", context)


@page(Action.KEEP_EQUIPMENT)
def balance_disconnect(request: PersonRequest, serial: str) -> HttpResponse:
    """Take no more readings of a balance, with a reason."""
    balance = _balance(serial)
    link = found(link_of(balance), f"connection of balance {serial}")
    form = ReasonForm(sent(request))
    asking = Asking(f"Disconnect balance {serial}", "Disconnect it", card_of(balance), grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: balance_links.disconnect_balance(
                actor=request.user, link=link, reason=form.cleaned_data["reason"]
            ),
            lambda _: card_of(balance),
            lambda _: f"Balance {serial} is disconnected; what it sent stays on record.",
        )
    )


@page()
def balance_lines(request: PersonRequest, serial: str) -> HttpResponse:
    """List every line that a balance sent and what became of it, newest first."""
    balance = _balance(serial)
    context = {"item": balance, "page": page_in_address(request, readings_of(balance))}
    return render(request, "web/equipment/balance_lines.html", context)
