"""Bench: the work that waits, opening a run, weighing in, correcting, handing over."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from gradation.models import Bench, Nest, Run, Weighing
from gradation.policy import Action, may
from gradation.queries.equipment import (
    NestState,
    nest_states,
    nests_for,
)
from gradation.queries.paper import may_compare, paper_of
from gradation.queries.portions import find_portion
from gradation.queries.preparation import drying_state
from gradation.queries.runs import find_run
from gradation.queries.work_queue import work_queue
from gradation.services import bench as services
from gradation.services import clock
from gradation.services.bench import Reading
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, said, sent
from gradation.web.bench_page import page_context, place_of, sheet_of
from gradation.web.figures import run_chart
from gradation.web.forms.bench import (
    BenchPickForm,
    CorrectionForm,
    HandOverForm,
    RunForm,
)
from gradation.web.picked import keep_bench, picked_bench
from gradation.web.run_sheet import Sheet


@page()
def run_queue(request: PersonRequest) -> HttpResponse:
    """List what waits for the bench: returned, to shake, in hand, drying, not yet begun."""
    bench = picked_bench(request)
    queue = work_queue(request.user, bench, clock.now(), clock.today())
    return render(request, "web/bench/run_queue.html", {"bench": bench, "queue": queue})


@page()
def bench_pick(request: PersonRequest) -> HttpResponse:
    """Pick the bench this browser stands at."""
    start = request.GET.get("bench") or picked_bench(request)
    form = BenchPickForm(sent(request), initial={"bench": start})
    if form.is_bound and form.is_valid():
        bench = form.cleaned_data["bench"]
        said(request, f"This browser stands at {bench}.")
        return keep_bench(request, redirect("bench:run-queue"), bench)
    asking = Asking("Pick the bench", "Work here", reverse("bench:run-queue"))
    return FormPage(request, form, asking).show()


def nearest_fit(nests: list[NestState], bench: Bench | None) -> Nest | None:
    """Give the nest to offer first: fit for use, at this bench if there is one here."""
    fit = [state.nest for state in nests if state.is_fit]
    here = [nest for nest in fit if bench and nest.bench_id == bench.pk]
    return next(iter(here or fit), None)


@page(Action.RECORD_RUN)
def run_open(request: PersonRequest, label: str) -> HttpResponse:
    """Open a run of a portion on a nest, or go to the one that is open."""
    portion = find_portion(request.user, label)
    working = portion.runs.filter(state__in=Run.EDITABLE).first()
    if working is not None and request.method == "GET":
        return redirect(place_of(working))
    procedure = portion.sample.procedure_version
    nests = nest_states(nests_for(procedure.procedure), clock.today())
    bench = picked_bench(request)
    start = {"bench": bench, "nest": nearest_fit(nests, bench)}
    form = RunForm(procedure.procedure, sent(request), initial=start)
    dry = drying_state(portion)
    context = {"portion": portion, "procedure": procedure, "nests": nests, "dry": dry}
    return FormPage(request, form, None, "web/bench/run_open.html", context).answer(
        Doing(
            lambda: services.open_run(actor=request.user, portion=portion, setup=form.setup()),
            place_of,
            lambda run: f"Run {run} is open. Weigh the portion first.",
        )
    )


@require_GET
@page(Action.READ_OWN_SAMPLES)
def run_weigh(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a run: the weighing screen while readings can be made, its result afterwards."""
    sheet = sheet_of(request.user, pk)
    writes = sheet.run.is_editable and may(request.user, Action.RECORD_RUN)
    initial = {"version": sheet.run.version}
    form = HandOverForm(initial=initial, is_shaking_recorded=bool(sheet.shaking.made))
    return render(request, "web/bench/run_weigh.html", _context(request, sheet, form, writes))


def _context(
    request: PersonRequest, sheet: Sheet, form: HandOverForm, writes: bool
) -> dict[str, Any]:
    shown = page_context(sheet, writes=writes, gross=request.GET.get("weigh") == "gross")
    return {**shown, **_paper(request, sheet.run), "form": form, "chart": run_chart(sheet)}


def _paper(request: PersonRequest, run: Run) -> dict[str, Any]:
    """Give the paper that a run is typed from, to who may read the records; or the way to it."""
    if run.on_paper is None:
        is_fresh = run.state == Run.State.OPEN and not run.weighings.all()
        return {"may_mark": is_fresh and may(request.user, Action.RECORD_RUN)}
    if not may(request.user, Action.READ_RECORDS):
        return {}
    return {"paper": paper_of(run), "may_compare": may_compare(request.user, run)}


@require_GET
@page(Action.READ_OWN_SAMPLES)
def run_figure(request: PersonRequest, pk: int) -> JsonResponse:
    """Give the run's chart on another scale or in the other direction."""
    sheet = sheet_of(request.user, pk)
    scale, direction = request.GET.get("scale", ""), request.GET.get("direction", "")
    return JsonResponse(run_chart(sheet, scale, direction))


@page(Action.RECORD_RUN)
def reading_correct(
    request: PersonRequest, pk: int, slot: str, position: int, increment: int = 1
) -> HttpResponse:
    """Replace a reading, with a reason; the earlier value stays readable."""
    run = find_run(request.user, pk)
    form = CorrectionForm(sent(request), initial={"key": uuid4()})
    asking = Asking(f"Correct {slot} of run {run}", "Keep the correction", place_of(run))

    def act() -> Weighing:
        told = {name: form.cleaned_data[name] for name in ("text", "tare_text", "key")}
        reading = Reading(slot=slot, position=position, increment=increment, **told)
        reason = form.cleaned_data["reason"]
        return services.correct_weighing(
            actor=request.user, run=run, reading=reading, reason=reason
        )

    says = "The reading is corrected; the earlier value stays in the history."
    return FormPage(request, form, asking).answer(
        Doing(act, lambda _: place_of(run), lambda _: says)
    )


@require_POST
@page(Action.RECORD_RUN)
def run_submit(request: PersonRequest, pk: int) -> HttpResponse:
    """Hand a run over for review; its figures are frozen."""
    sheet = sheet_of(request.user, pk)
    form = HandOverForm(request.POST, is_shaking_recorded=bool(sheet.shaking.made))
    context = _context(request, sheet, form, sheet.run.is_editable)
    return FormPage(request, form, None, "web/bench/run_weigh.html", context).answer(
        Doing(
            lambda: services.submit_run(
                actor=request.user,
                run=sheet.run,
                hand_over=form.hand_over(),
                version=form.cleaned_data["version"],
            ),
            place_of,
            lambda run: f"Run {run} is handed over for review.",
        )
    )
