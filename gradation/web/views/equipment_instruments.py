"""Instruments: their list, cards and register; lots of reference material."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.models import Instrument
from gradation.policy import Action
from gradation.queries import equipment_file as file
from gradation.queries.balances import link_of
from gradation.queries.equipment import drying_uses, instrument_uses
from gradation.queries.equipment import instrument_list as instruments_known
from gradation.services import instruments
from gradation.services.balance_forms import form_of
from gradation.web import lists
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.equipment_card import USES_SHOWN, card_context
from gradation.web.equipment_facts import facts_of
from gradation.web.forms.instruments import INSTRUMENT_KINDS, InstrumentForm, LotForm
from gradation.web.forms.intake import ReasonForm
from gradation.web.shelf import tags_of
from gradation.web.views.equipment_items import card_of, item_of


@page()
def instrument_list(request: PersonRequest) -> HttpResponse:
    """List the instruments of every kind with where their checks stand."""
    words = [("", "all"), *INSTRUMENT_KINDS]
    kind = lists.chosen(request, "kind", words)
    rows = [
        it for it in instruments_known().order_by("kind", "serial") if not kind or it.kind == kind
    ]
    context = {
        "rows": tags_of(request, rows),
        "choices": lists.choices(request, "kind", words),
        "kinds": INSTRUMENT_KINDS,
    }
    return render(request, "web/equipment/instrument_list.html", context)


@page(Action.KEEP_EQUIPMENT)
def instrument_register(request: PersonRequest, kind: str) -> HttpResponse:
    """Register an instrument of one kind."""
    known = found(kind if kind in dict(INSTRUMENT_KINDS) else None, f"kind of instrument {kind}")
    form = InstrumentForm(known, sent(request))
    back = reverse("equipment:instrument-list")
    asking = Asking(f"Register a {known}", f"Register the {known}", back)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: instruments.register_instrument(
                actor=request.user, instrument=form.instrument()
            ),
            card_of,
            lambda it: f"{it} is registered.",
        )
    )


@page()
def instrument_show(request: PersonRequest, serial: str) -> HttpResponse:
    """Show an instrument's card: limits, checks, files, runs and dryings it served, its story."""
    item = item_of(serial)
    instrument = found(item if isinstance(item, Instrument) else None, f"instrument {serial}")
    link = link_of(instrument)
    context = {
        **card_context(request, instrument),
        "facts": facts_of(instrument),
        "uses": instrument_uses(instrument)[:USES_SHOWN],
        "dryings": drying_uses(instrument)[:USES_SHOWN],
        "link": link,
        "line_words": form_of(link).words if link else "",
    }
    return render(request, "web/equipment/instrument_show.html", context)


@page()
def lot_list(request: PersonRequest) -> HttpResponse:
    """List the lots of reference material with how often each was used."""
    return render(request, "web/equipment/lot_list.html", {"lots": file.lot_list()})


@page(Action.KEEP_EQUIPMENT)
def lot_register(request: PersonRequest) -> HttpResponse:
    """Register a lot of reference material."""
    form = LotForm(sent(request))
    back = reverse("equipment:lot-list")
    asking = Asking("Register a lot of reference material", "Register the lot", back)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: instruments.register_reference_lot(
                actor=request.user, lot=form.reference_lot()
            ),
            lambda _: back,
            lambda lot: f"Lot {lot} is registered.",
        )
    )


@page(Action.KEEP_EQUIPMENT)
def lot_retire(request: PersonRequest, pk: int) -> HttpResponse:
    """Take a lot of reference material out of use, with a reason."""
    lot = found(file.lot_list().filter(pk=pk).first(), "lot under that number")
    form = ReasonForm(sent(request))
    back = reverse("equipment:lot-list")
    asking = Asking(f"Take {lot} out of use", "Take it out of use", back, grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: instruments.retire_reference_lot(
                actor=request.user, lot=lot, reason=form.cleaned_data["reason"]
            ),
            lambda _: back,
            lambda _: f"{lot} is out of use.",
        )
    )
