"""What is done to one item of any kind: its card, rule, state, files, tares."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from gradation.errors import NotFound
from gradation.models import Attachment, Equipment, Instrument, Sieve
from gradation.policy import Action
from gradation.queries import equipment_file as file
from gradation.services import attachments, upkeep
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.forms.base import NotebookForm, initial_of
from gradation.web.forms.equipment import (
    EvidenceForm,
    FileForm,
    RuleForm,
    SieveChangeForm,
    TareForm,
)
from gradation.web.forms.instruments import InstrumentChangeForm
from gradation.web.forms.intake import ReasonForm

Item = Sieve | Instrument


def card_of(item: Equipment) -> str:
    """Give the address of an item's card."""
    kind = "sieve" if item.kind == Equipment.Kind.SIEVE else "instrument"
    return reverse(f"equipment:{kind}-show", args=[item.serial])


def item_of(serial: str) -> Item:
    """Find an item by its serial number, or answer that there is none."""
    item = file.item_by_serial(serial)
    if item is None:
        msg = f"There is no sieve or instrument {serial} here. Check the number."
        raise NotFound(msg)
    return item


def named(item: Equipment) -> str:
    """Name an item with its kind, as a sentence does."""
    return f"sieve {item}" if item.kind == Equipment.Kind.SIEVE else str(item)


@page()
def item_show(request: PersonRequest, serial: str) -> HttpResponse:
    """Go from a serial number to the card of whatever has it."""
    return redirect(card_of(item_of(serial)))


@page(Action.KEEP_EQUIPMENT)
def item_change(request: PersonRequest, serial: str) -> HttpResponse:
    """Change what a card says, with a reason; serial number and size stay."""
    item = item_of(serial)
    form = _change_form(request, item)

    def act() -> Equipment:
        changes = {**form.cleaned_data}
        reason = changes.pop("reason")
        return upkeep.change_equipment(actor=request.user, item=item, reason=reason, **changes)

    asking = Asking(f"Change the card of {named(item)}", "Keep the change", card_of(item))
    says = "The card is changed; what it said before stays in its story."
    return FormPage(request, form, asking).answer(Doing(act, card_of, lambda _: says))


def _change_form(request: PersonRequest, item: Item) -> NotebookForm:
    if isinstance(item, Sieve):
        return SieveChangeForm(sent(request), initial=initial_of(item, SieveChangeForm))
    start = initial_of(item, InstrumentChangeForm)
    return InstrumentChangeForm(item.kind, sent(request), initial=start)


@page(Action.KEEP_EQUIPMENT)
def rule_set(request: PersonRequest, serial: str) -> HttpResponse:
    """Set how often an item is checked, saying why."""
    item = item_of(serial)
    start = {"days": item.check_interval_days, "uses": item.check_interval_uses}
    form = RuleForm(sent(request), initial=start)
    intro = "By days, by uses, or both: whichever comes first. Empty: never by that count."
    asking = Asking(f"Rule of checks: {named(item)}", "Keep the rule", card_of(item), intro)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: upkeep.set_check_rule(actor=request.user, equipment=item, **form.cleaned_data),
            lambda _: card_of(item),
            lambda _: f"The rule of checks of {named(item)} is set.",
        )
    )


@dataclass(frozen=True)
class Move:
    """One change of an item's state: the service, its words, what is said afterwards."""

    service: Callable[..., Equipment]
    words: str
    done: str
    form: type[NotebookForm] = ReasonForm


@page(Action.KEEP_EQUIPMENT)
def item_take_out(request: PersonRequest, serial: str) -> HttpResponse:
    """Take an item out of service, with a reason."""
    move = Move(upkeep.take_out_of_service, "Take out of service", "is out of service")
    return _move(request, serial, move)


@page(Action.KEEP_EQUIPMENT)
def item_put_back(request: PersonRequest, serial: str) -> HttpResponse:
    """Put an item back in service, saying on what evidence."""
    service, words = upkeep.put_back_in_service, "Put back in service"
    return _move(request, serial, Move(service, words, "is in service again", EvidenceForm))


@page(Action.KEEP_EQUIPMENT)
def item_withdraw(request: PersonRequest, serial: str) -> HttpResponse:
    """Withdraw an item for good, with a reason; its card and history stay."""
    move = Move(upkeep.withdraw_equipment, "Withdraw for good", "is withdrawn")
    return _move(request, serial, move)


def _move(request: PersonRequest, serial: str, move: Move) -> HttpResponse:
    item = item_of(serial)
    form = move.form(sent(request))
    grave = move.form is ReasonForm
    asking = Asking(f"{move.words}: {named(item)}", move.words, card_of(item), grave=grave)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: move.service(actor=request.user, item=item, reason=form.cleaned_data["reason"]),
            lambda moved: card_of(item),
            lambda moved: f"{named(item).capitalize()} {move.done}.",
        )
    )


@page(Action.KEEP_EQUIPMENT)
def file_add(request: PersonRequest, serial: str) -> HttpResponse:
    """Keep a photograph or a certificate with an item."""
    item = item_of(serial)
    form = FileForm(sent(request), request.FILES or None)

    def act() -> Attachment:
        kept: Any = form.cleaned_data["file"]
        return attachments.attach_file(
            actor=request.user, equipment=item, name=kept.name, content=kept.read()
        )

    asking = Asking(f"Add a file to {named(item)}", "Keep the file", card_of(item))
    return FormPage(request, form, asking).answer(
        Doing(act, lambda _: card_of(item), lambda kept: f"{kept.name} is kept with the card.")
    )


@page()
def file_show(request: PersonRequest, serial: str, pk: int) -> HttpResponse:
    """Hand out a kept file as it came, never to be run or shown by the browser itself."""
    item = item_of(serial)
    kept = found(file.attachment_of(item, pk), "file of this item under that number")
    answer = HttpResponse(bytes(kept.file), content_type="application/octet-stream")
    answer["Content-Disposition"] = f"attachment; filename*=UTF-8''{quote(kept.name, safe='')}"
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = "sandbox; default-src 'none'"
    return answer


@page(Action.KEEP_EQUIPMENT)
def tare_weigh(request: PersonRequest, serial: str) -> HttpResponse:
    """Record the empty mass of a clean, dry sieve."""
    item = item_of(serial)
    sieve = found(item if isinstance(item, Sieve) else None, f"sieve {serial}")
    form = TareForm(sent(request))
    intro = "Clean and dry. A falling tare is wear; a rising one is grains caught in the cloth."
    asking = Asking(f"Tare of {named(sieve)}", "Keep the tare", card_of(sieve), intro)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: upkeep.weigh_tare(actor=request.user, sieve=sieve, **form.cleaned_data),
            lambda _: card_of(sieve),
            lambda kept: f"Tare {kept} is kept.",
        )
    )
