"""Equipment: sieves by when they are due, their checks and whereabouts, nests and benches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.models import Equipment, Sieve
from gradation.policy import Action
from gradation.queries import equipment as file
from gradation.queries.history import story_of_sieve
from gradation.services import clock, upkeep
from gradation.web import lists
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.context import laboratory_of
from gradation.web.forms.base import NotebookForm
from gradation.web.forms.equipment import BenchForm, CheckForm, EvidenceForm, NestForm, SieveForm
from gradation.web.forms.intake import ReasonForm
from gradation.web.shelf import Shelf, shelf_of
from gradation.web.story import days_of

USES_SHOWN = 20


def _place(sieve: Sieve) -> str:
    return reverse("equipment:sieve-show", args=[sieve.serial])


def _sieve(serial: str) -> Sieve:
    return found(file.sieve_by_serial(serial), f"sieve {serial}")


def _shelf(request: PersonRequest) -> Shelf:
    days = laboratory_of(request).due_soon_days
    return shelf_of(file.sieve_list(), clock.today(laboratory_of(request)), days)


@page()
def sieve_list(request: PersonRequest) -> HttpResponse:
    """List the sieves by when they are due, as a shelf and as a table."""
    shelf = _shelf(request)
    words = [("", "all"), *shelf.words]
    chosen = lists.chosen(request, "due", words)
    context = {
        "shelf": shelf,
        "rows": shelf.chosen(chosen),
        "choices": lists.choices(request, "due", words),
    }
    return render(request, "web/equipment/sieve_list.html", context)


@page(Action.KEEP_EQUIPMENT)
def sieve_register(request: PersonRequest) -> HttpResponse:
    """Register a test sieve."""
    form = SieveForm(sent(request))
    asking = Asking("Register a sieve", "Register the sieve", reverse("equipment:sieve-list"))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: upkeep.register_sieve(actor=request.user, sieve=form.sieve()),
            _place,
            lambda sieve: f"Sieve {sieve} is registered.",
        )
    )


@page()
def sieve_show(request: PersonRequest, serial: str) -> HttpResponse:
    """Show a sieve's card: state, checks, the runs it stood in, its story."""
    sieve = _sieve(serial)
    context = {
        "sieve": sieve,
        "tag": _shelf(request).tag_of(sieve),
        "checks": file.check_list(sieve),
        "uses": file.sieve_uses(sieve)[:USES_SHOWN],
        "days": days_of(story_of_sieve(sieve)),
    }
    return render(request, "web/equipment/sieve_show.html", context)


@page(Action.KEEP_EQUIPMENT)
def check_record(request: PersonRequest, serial: str) -> HttpResponse:
    """Record a check of a sieve."""
    sieve = _sieve(serial)
    form = CheckForm(sent(request), initial={"performed_on": clock.today()})
    asking = Asking(f"Record a check of sieve {sieve}", "Keep the check", _place(sieve))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: upkeep.record_check(actor=request.user, check=form.check(sieve)),
            lambda check: _place(sieve),
            lambda check: f"The {check.kind} check of {sieve} is recorded.",
        )
    )


@dataclass(frozen=True)
class Move:
    """One change of a sieve's state: the service, its words, what is said afterwards."""

    service: Callable[..., Equipment]
    words: str
    done: str
    form: type[NotebookForm] = ReasonForm


@page(Action.KEEP_EQUIPMENT)
def sieve_take_out(request: PersonRequest, serial: str) -> HttpResponse:
    """Take a sieve out of service, with a reason."""
    move = Move(upkeep.take_out_of_service, "Take out of service", "is out of service")
    return _move(request, serial, move)


@page(Action.KEEP_EQUIPMENT)
def sieve_put_back(request: PersonRequest, serial: str) -> HttpResponse:
    """Put a sieve back in service, saying on what evidence."""
    service, words = upkeep.put_back_in_service, "Put back in service"
    return _move(request, serial, Move(service, words, "is in service again", EvidenceForm))


@page(Action.KEEP_EQUIPMENT)
def sieve_withdraw(request: PersonRequest, serial: str) -> HttpResponse:
    """Withdraw a sieve for good, with a reason."""
    move = Move(upkeep.withdraw_equipment, "Withdraw for good", "is withdrawn")
    return _move(request, serial, move)


def _move(request: PersonRequest, serial: str, move: Move) -> HttpResponse:
    sieve = _sieve(serial)
    form = move.form(sent(request))
    grave = move.form is ReasonForm
    asking = Asking(f"{move.words}: sieve {sieve}", move.words, _place(sieve), grave=grave)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: move.service(
                actor=request.user, item=sieve, reason=form.cleaned_data["reason"]
            ),
            lambda moved: _place(sieve),
            lambda moved: f"Sieve {sieve} {move.done}.",
        )
    )


@page()
def nest_list(request: PersonRequest) -> HttpResponse:
    """List the nests with whether they are fit for use today, and the benches."""
    today = clock.today(laboratory_of(request))
    nests = [file.nest_state(nest, today) for nest in file.nest_list()]
    context = {"nests": nests, "benches": file.bench_list()}
    return render(request, "web/equipment/nest_list.html", context)


@page(Action.KEEP_EQUIPMENT)
def nest_build(request: PersonRequest) -> HttpResponse:
    """Build a nest of serial-numbered sieves."""
    form = NestForm(sent(request))
    asking = Asking("Build a nest", "Build the nest", reverse("equipment:nest-list"))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: upkeep.build_nest(actor=request.user, **form.cleaned_data),
            lambda nest: reverse("equipment:nest-list"),
            lambda nest: f"Nest {nest} is built.",
        )
    )


@page(Action.KEEP_EQUIPMENT)
def bench_add(request: PersonRequest) -> HttpResponse:
    """Add a bench."""
    form = BenchForm(sent(request))
    asking = Asking("Add a bench", "Add the bench", reverse("equipment:nest-list"))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: upkeep.add_bench(actor=request.user, bench=form.bench()),
            lambda bench: reverse("equipment:nest-list"),
            lambda bench: f"{bench} is added.",
        )
    )
