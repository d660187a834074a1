"""Checks: each kind has its form; the verdict is computed and shown with what it rests on."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from gradation.errors import Refusal
from gradation.models import Check
from gradation.policy import Action
from gradation.queries import equipment_file as file
from gradation.services import attachments, checks, clock
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.context import laboratory_of
from gradation.web.equipment_facts import readings_of
from gradation.web.forms.checks import FORMS, OFFERED, CheckForm, start_of
from gradation.web.lists import Choice
from gradation.web.views.equipment_items import Item, card_of, item_of, named


@page(Action.KEEP_EQUIPMENT)
def check_begin(request: PersonRequest, serial: str) -> HttpResponse:
    """Go to the commonest kind of check of an item."""
    item = item_of(serial)
    return redirect("equipment:check-record", item.serial, OFFERED[item.kind][0])


@page(Action.KEEP_EQUIPMENT)
def check_record(request: PersonRequest, serial: str, kind: str) -> HttpResponse:
    """Record a check of one kind; what failed is out of service at once."""
    item = item_of(serial)
    form = _form(request, item, found(kind if kind in OFFERED[item.kind] else None, "such check"))
    asking = Asking(f"Check of {named(item)}", "Keep the check", card_of(item))
    context = {"item": item, "kinds": _kinds(item, kind), "back_name": f"{named(item)}"}
    return FormPage(request, form, asking, "web/equipment/check_record.html", context).answer(
        Doing(
            lambda: _keep(request, item, form),
            _place,
            lambda check: _said_kept(item, check),
        )
    )


def _said_kept(item: Item, check: Check) -> str:
    kept = f"The {check.kind} check is kept"
    return f"{kept}." if check.passed else f"{kept}. It failed: {named(item)} is out of service."


def _form(request: PersonRequest, item: Item, kind: str) -> CheckForm:
    last = file.last_check(item, FORMS[kind].kind)
    start = {"performed_on": clock.today(laboratory_of(request)), **start_of(item, last)}
    return FORMS[kind](item, sent(request), request.FILES or None, initial=start)


def _keep(request: PersonRequest, item: Item, form: CheckForm) -> Check:
    values: dict[str, Any] = form.cleaned_data
    check = checks.record_check(
        actor=request.user,
        equipment=item,
        evidence=form.evidence(),
        performed_on=values["performed_on"],
        note=values["note"],
        next_due_on=values["next_due_on"],
    )
    if values["file"]:
        _attach(request, check, values["file"])
    return check


def _attach(request: PersonRequest, check: Check, kept: UploadedFile) -> None:
    """Keep the file with the check; the check stands even when its file is refused."""
    try:
        attachments.attach_file(
            actor=request.user,
            equipment=check.equipment,
            name=kept.name or "file",
            content=kept.read(),
            check=check,
        )
    except Refusal as refusal:
        messages.warning(request, f"The check is kept, its file is not: {refusal.message}")


def _place(check: Check) -> str:
    return reverse("equipment:check-show", args=[check.equipment.serial, check.pk])


def _kinds(item: Item, chosen: str) -> list[Choice]:
    return [
        Choice(
            FORMS[word].kind.value,
            reverse("equipment:check-record", args=[item.serial, word]),
            word == chosen,
        )
        for word in OFFERED[item.kind]
    ]


@page()
def check_show(request: PersonRequest, serial: str, pk: int) -> HttpResponse:
    """Show one check: the verdict, every figure it rests on, its files."""
    item = item_of(serial)
    check = found(file.check_of(item, pk), "check of this item under that number")
    context = {
        "item": item,
        "check": check,
        "card": card_of(item),
        "named": named(item),
        "readings": readings_of(check),
        "directions": [(it, check.findings[it]) for it in ("warp", "weft") if it in check.findings],
        "impacts": check.impacts.all(),
    }
    return render(request, "web/equipment/check_show.html", context)
