"""Bench: where the next balance reading goes, lines from the browser's port, what waits."""

from __future__ import annotations

from http import HTTPStatus

from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from gradation.models import BalanceReading, Bench, Run
from gradation.policy import Action
from gradation.queries.balances import waiting_at, waiting_reading
from gradation.queries.equipment import bench_list
from gradation.queries.preparation import find_drying
from gradation.queries.runs import runs_visible_to
from gradation.services import balance_readings
from gradation.services.balance_readings import DryingField, Field
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.exchange import exchange, said
from gradation.web.forms.balances import BalanceLineForm, DryingFieldForm, FieldForm
from gradation.web.forms.intake import ReasonForm

_SHOWN = 12


def _bench(pk: int) -> Bench:
    return found(bench_list().filter(pk=pk).first(), "bench")


def _run(request: PersonRequest, pk: int) -> Run:
    return found(runs_visible_to(request.user).filter(pk=pk).first(), "run")


def _named(request: PersonRequest) -> tuple[Field | DryingField, str] | None:
    """Give the field that the page names, with a reason if there is one; None when malformed."""
    if "drying" in request.POST:
        of_drying = DryingFieldForm(request.POST)
        if not of_drying.is_valid():
            return None
        told = of_drying.cleaned_data
        drying = find_drying(request.user, told["drying"])
        return DryingField(drying, told["number"]), told["reason"]
    form = FieldForm(request.POST)
    if not form.is_valid():
        return None
    return form.field(_run(request, form.cleaned_data["run"])), form.cleaned_data["reason"]


def _malformed() -> HttpResponse:
    return said(HTTPStatus.BAD_REQUEST, "malformed", "The server could not read this.")


@require_POST
@exchange(Action.RECORD_RUN)
def place_name(request: PersonRequest, pk: int) -> HttpResponse:
    """Name the field that the bench's next balance reading goes to."""
    named = _named(request)
    if named is None:
        return _malformed()
    balance_readings.name_place(actor=request.user, bench=_bench(pk), field=named[0])
    return HttpResponse(status=HTTPStatus.NO_CONTENT)


@require_POST
@exchange(Action.SEND_BALANCE_READINGS)
def balance_line(request: PersonRequest, pk: int) -> HttpResponse:
    """Take one line that the browser read at its own port."""
    form = BalanceLineForm(request.POST)
    if not form.is_valid():
        return _malformed()
    reading = balance_readings.take_balance_reading(actor=request.user, sent=form.sent(_bench(pk)))
    return JsonResponse({"kind": "line", **_told(reading)})


def _told(reading: BalanceReading) -> dict[str, str]:
    mass_g = reading.mass_as_sent
    return {
        "outcome": reading.outcome,
        "mass_g": "" if mass_g is None else f"{mass_g:f}",
        "reason": reading.reason,
    }


@require_GET
@page(Action.READ_RECORDS)
def balance_waiting(request: PersonRequest, pk: int) -> HttpResponse:
    """Show the readings of a bench that wait for a person."""
    rows = waiting_at(_bench(pk))
    context = {"waiting": rows[:_SHOWN], "more": max(0, rows.count() - _SHOWN)}
    return render(request, "parts/balance_waiting.html", context)


def _reading(pk: int) -> BalanceReading:
    return found(waiting_reading(pk), "reading")


@require_POST
@exchange(Action.RECORD_RUN)
def waiting_take(request: PersonRequest, pk: int) -> HttpResponse:
    """Take a reading that waits to the field that the person is in."""
    named = _named(request)
    if named is None:
        return _malformed()
    field, reason = named
    reading = balance_readings.place_waiting(
        actor=request.user, reading=_reading(pk), field=field, reason=reason
    )
    return JsonResponse({"kind": "line", **_told(reading)})


def _work_at(request: PersonRequest) -> str:
    """Give the page of the run or the drying at which the person stands."""
    for name, page_name in (("run", "bench:run-weigh"), ("drying", "bench:drying-show")):
        key = request.GET.get(name, "")
        if key.isascii() and key.isdigit() and len(key) < 18:
            return reverse(page_name, args=[int(key)])
    return reverse("bench:run-queue")


@page(Action.RECORD_RUN)
def waiting_set_aside(request: PersonRequest, pk: int) -> HttpResponse:
    """Set a reading that waits aside, with a reason."""
    reading = _reading(pk)
    back = _work_at(request)
    form = ReasonForm(sent(request))
    asking = Asking(
        f"Set aside {reading.raw_text.strip()} of balance {reading.balance_named}",
        "Set it aside",
        back,
        intro=f"It waits because: {reading.reason}",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: balance_readings.set_aside(
                actor=request.user, reading=reading, reason=form.cleaned_data["reason"]
            ),
            lambda _: back,
            lambda _: "The reading is set aside; it stays on record with your reason.",
        )
    )
