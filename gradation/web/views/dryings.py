"""Drying at the bench: what stands in the ovens, putting in, weighing, taking out."""

from __future__ import annotations

from uuid import uuid4

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from gradation.models import Drying, Run
from gradation.policy import Action
from gradation.queries.portion_mass import plain
from gradation.queries.portions import find_portion
from gradation.queries.preparation import (
    DryingView,
    drying_view,
    dryings_open,
    find_drying,
)
from gradation.queries.runs import find_run
from gradation.services import clock, dryings
from gradation.services.drying_containers import correct_container
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, sent
from gradation.web.drying_page import drying_context
from gradation.web.forms.preparation import (
    ContainerForm,
    DryingCorrectionForm,
    DryingEndForm,
    DryingMassForm,
    OvenForm,
)
from gradation.web.picked import picked_bench
from gradation.web.views.preparation import place_of_portion

_SHOW = "web/bench/drying_show.html"


def place_of_drying(drying: Drying) -> str:
    """Give the page of a drying."""
    return reverse("bench:drying-show", args=[drying.pk])


@require_GET
@page()
def drying_list(request: PersonRequest) -> HttpResponse:
    """List what stands in the ovens now."""
    context = {"dryings": dryings_open(), "now": clock.now()}
    return render(request, "web/bench/drying_list.html", context)


@page(Action.PREPARE_PORTION)
def drying_begin(request: PersonRequest, label: str) -> HttpResponse:
    """Put a portion into the oven before its test."""
    portion = find_portion(request.user, label)
    form = OvenForm(portion, portion.sample.procedure_version, sent(request))
    context = {
        "portion": portion,
        "procedure": portion.sample.procedure_version,
        "back": place_of_portion(portion),
    }
    return FormPage(request, form, None, "web/bench/drying_begin.html", context).answer(
        Doing(
            lambda: dryings.begin_drying(
                actor=request.user, portion=portion, oven=form.put_in(None)
            ),
            place_of_drying,
            lambda drying: f"{drying.portion} is in the oven.",
        )
    )


@page(Action.PREPARE_PORTION)
def drying_again(request: PersonRequest, pk: int) -> HttpResponse:
    """Put what washing left of a run's portion into the oven."""
    run = find_run(request.user, pk)
    form = OvenForm(run.portion, run.procedure_version, sent(request)).without_moist_mass()
    context = {
        "portion": run.portion,
        "run": run,
        "procedure": run.procedure_version,
        "back": reverse("bench:run-weigh", args=[run.pk]),
    }
    return FormPage(request, form, None, "web/bench/drying_begin.html", context).answer(
        Doing(
            lambda: dryings.begin_drying(
                actor=request.user, portion=run.portion, oven=form.put_in(run)
            ),
            place_of_drying,
            lambda drying: f"{drying.portion} is in the oven after washing.",
        )
    )


@require_GET
@page(Action.READ_OWN_SAMPLES)
def drying_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a drying: its weighings with the verdict, and the field for the next."""
    view = drying_view(find_drying(request.user, pk))
    return _page(request, view, DryingMassForm.of(view.next_number)).show()


def _page(request: PersonRequest, view: DryingView, form: DryingMassForm) -> FormPage:
    bench = picked_bench(request) or (view.drying.oven and view.drying.oven.bench)
    context = {**drying_context(request.user, view), "balance_bench": bench}
    return FormPage(request, form, None, _SHOW, context)


@require_POST
@page(Action.PREPARE_PORTION)
def drying_weigh(request: PersonRequest, pk: int) -> HttpResponse:
    """Keep the next weighing; show the verdict."""
    drying = find_drying(request.user, pk)
    view = drying_view(drying)
    form = DryingMassForm.of(view.next_number, request.POST)
    return _page(request, view, form).answer(
        Doing(
            lambda: dryings.record_drying_mass(
                actor=request.user, drying=drying, reading=form.reading()
            ),
            lambda mass: place_of_drying(drying),
            lambda mass: f"{mass}, kept.",
        )
    )


@page(Action.PREPARE_PORTION)
def drying_correct(request: PersonRequest, pk: int, number: int) -> HttpResponse:
    """Replace a weighing, with a reason; the earlier value stays readable."""
    drying = find_drying(request.user, pk)
    form = DryingCorrectionForm(sent(request), initial={"number": number, "key": uuid4()})
    form.fields["text"].label, form.fields["text"].required = "New value", True
    asking = Asking(
        f"Correct weighing {number} of {drying.portion}",
        "Keep the correction",
        place_of_drying(drying),
        "As the balance shows it, with the container." if drying.container_g else "",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: dryings.correct_drying_mass(
                actor=request.user,
                drying=drying,
                reading=form.reading(),
                reason=form.cleaned_data["reason"],
            ),
            lambda mass: place_of_drying(drying),
            lambda mass: f"Weighing {mass.number} is corrected; the earlier value stays readable.",
        )
    )


@page(Action.PREPARE_PORTION)
def container_correct(request: PersonRequest, pk: int) -> HttpResponse:
    """Replace the mass of the empty container, with a reason; the first stays readable."""
    drying = find_drying(request.user, pk)
    form = ContainerForm(sent(request), initial={"container_text": plain(drying.container_g)})
    asking = Asking(
        f"Correct the container of {drying.portion}",
        "Keep the correction",
        place_of_drying(drying),
        "Every weighing of this drying gets its net mass anew; what the balance showed stays.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: correct_container(actor=request.user, drying=drying, **form.cleaned_data),
            lambda container: place_of_drying(drying),
            lambda container: f"{container}; the earlier mass stays readable.",
        )
    )


@page(Action.PREPARE_PORTION)
def drying_end(request: PersonRequest, pk: int) -> HttpResponse:
    """Take a portion out for good: constant, or given up with a reason."""
    view = drying_view(find_drying(request.user, pk))
    drying = view.drying
    form = DryingEndForm(sent(request), initial={"version": drying.version})
    asking = Asking(
        f"End the drying of {drying.portion}", "End it", place_of_drying(drying), view.sentence
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: dryings.end_drying(
                actor=request.user,
                drying=drying,
                reason=form.cleaned_data["reason"],
                run=_run_named(request),
                version=form.cleaned_data["version"],
            ),
            place_of_drying,
            lambda ended: f"{ended.portion} is out of the oven.",
        )
    )


def _run_named(request: PersonRequest) -> Run | None:
    """Give the run whose dry mass the last weighing is to become, if one is named."""
    key = request.POST.get("run", "")
    return find_run(request.user, int(key)) if key.isascii() and key.isdigit() else None


@page(Action.RECORD_RUN)
def dry_mass_take(request: PersonRequest, pk: int, run: int) -> HttpResponse:
    """Let the last mass of a drying be the dry mass of a run."""
    drying, taking = find_drying(request.user, pk), find_run(request.user, run)
    view = drying_view(drying)
    form = DryingEndForm(sent(request), initial={"version": drying.version})
    del form.fields["reason"]
    asking = Asking(
        f"Dry mass of run {taking}",
        "Take it",
        place_of_drying(drying),
        f"{view.last_mass} of {drying.portion} becomes the run's mass.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: dryings.take_dry_mass(actor=request.user, drying=drying, run=taking),
            lambda weighing: reverse("bench:run-weigh", args=[taking.pk]),
            lambda weighing: f"{weighing.mass_as_entered} g is the {weighing.slot} of {taking}.",
        )
    )
