"""Equipment: everything by when it is due, the sieves and their cards."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any, TypeVar

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.models import Sieve
from gradation.policy import Action
from gradation.queries import equipment as known
from gradation.queries.due import due_list as due_rows
from gradation.queries.sieve_limits import edition_of, sieve_limits
from gradation.queries.tares import tares_of
from gradation.queries.wear import suspect_sieves, wear_of
from gradation.queries.wear_list import worn_sieves
from gradation.science.errors import GradationError
from gradation.services import clock, upkeep
from gradation.web import lists
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.context import laboratory_of
from gradation.web.equipment_card import USES_SHOWN, card_context
from gradation.web.equipment_figures import tares_shown, wear_shown
from gradation.web.forms.equipment import DueForm, SieveForm
from gradation.web.shelf import Shelf, Tag, shelf_of
from gradation.web.views.equipment_due import calendar_password
from gradation.web.views.equipment_items import card_of

ROWS_SHOWN = 200
SUSPECT_DAYS = 730

Shown = TypeVar("Shown")


def first_rows(request: PersonRequest, rows: Sequence[Shown]) -> dict[str, Any]:
    """Give the first rows of a long list, all when asked for, and how many there are."""
    shown = rows if request.GET.get("rows") == "all" else rows[:ROWS_SHOWN]
    return {"rows": shown, "count": len(rows), "more": len(rows) - len(shown)}


@page()
def due_list(request: PersonRequest) -> HttpResponse:
    """List all equipment by when it is due, by bench and keeper, as a shelf and as a table."""
    picks = DueForm(request.GET or None)
    today = clock.today(laboratory_of(request))
    chosen = picks.cleaned_data if picks.is_bound and picks.is_valid() else {}
    rows = due_rows(today, chosen.get("bench"), chosen.get("keeper"))
    shelf = shelf_of(request, [row.thing for row in rows])
    context = {
        **_of_shelf(request, shelf),
        "picks": picks,
        "narrowed": bool(chosen.get("bench") or chosen.get("keeper")),
        "calendar_url": request.build_absolute_uri(reverse("equipment:due-subscribe")),
        "calendar_password": calendar_password(request.user),
    }
    return render(request, "web/equipment/due_list.html", context)


def _of_shelf(request: PersonRequest, shelf: Shelf) -> dict[str, Any]:
    words = [("", "all"), *shelf.words]
    chosen = lists.chosen(request, "due", words)
    tags: list[Tag] = shelf.chosen(chosen)
    return {
        "shelf": shelf,
        "page": first_rows(request, tags),
        "choices": lists.choices(request, "due", words),
        "chosen_due": chosen,
    }


@page()
def sieve_list(request: PersonRequest) -> HttpResponse:
    """List the sieves by when they are due, as a shelf and as a table."""
    shelf = shelf_of(request, known.sieve_list())
    context = {**_of_shelf(request, shelf), "any": bool(shelf.tags)}
    return render(request, "web/equipment/sieve_list.html", context)


@page(Action.KEEP_EQUIPMENT)
def sieve_register(request: PersonRequest) -> HttpResponse:
    """Register a test sieve."""
    form = SieveForm(sent(request))
    asking = Asking("Register a sieve", "Register the sieve", reverse("equipment:sieve-list"))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: upkeep.register_sieve(actor=request.user, sieve=form.sieve()),
            card_of,
            lambda sieve: f"Sieve {sieve} is registered.",
        )
    )


@page()
def sieve_show(request: PersonRequest, serial: str) -> HttpResponse:
    """Show a sieve's card: state, checks, wear, tares, files, runs it stood in, its story."""
    sieve = found(known.sieve_by_serial(serial), f"sieve {serial}")
    edition = edition_of(sieve)
    context = {
        **card_context(request, sieve),
        "edition": edition.words if edition else "",
        "limits": _limits(sieve),
        "wear": wear_shown(wear_of(sieve, clock.now())),
        "tares": tares_shown(tares_of(sieve)),
        "uses": known.sieve_uses(sieve)[:USES_SHOWN],
    }
    return render(request, "web/equipment/sieve_show.html", context)


def _limits(sieve: Sieve) -> dict[str, str] | None:
    """Give the permitted apertures in words, where a table holds the sieve."""
    try:
        allowed = sieve_limits(sieve)
    except GradationError:
        return None
    nominal = allowed.nominal_um
    return {
        "low": f"{nominal - allowed.mean_y_um:.2f}",
        "high": f"{nominal + allowed.mean_y_um:.2f}",
        "largest": f"{nominal + allowed.single_x_um:.2f}",
    }


@page()
def wear_list(request: PersonRequest) -> HttpResponse:
    """List the sieves by when wear takes them to their limit."""
    return render(request, "web/equipment/wear_list.html", {"rows": worn_sieves(clock.now())})


@page()
def suspect_list(request: PersonRequest) -> HttpResponse:
    """List sieves whose results depart from those of their sisters on the same materials."""
    since = clock.now() - timedelta(days=SUSPECT_DAYS)
    suspects = suspect_sieves(since)
    compared = [row for row in suspects.rows if row.departure]
    context = {
        "found": suspects,
        "compared": compared,
        "others": [row for row in suspects.rows if not row.departure],
    }
    return render(request, "web/equipment/suspect_list.html", context)
