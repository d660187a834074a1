"""Bench: the work that waits, opening a run, weighing in, correcting, handing over."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from gradation.errors import Refusal
from gradation.models import Bench, Nest, Run, User, Weighing
from gradation.policy import Action, may
from gradation.queries.equipment import (
    NestState,
    nest_states,
    nests_for,
)
from gradation.queries.portions import find_portion
from gradation.queries.runs import find_run, run_view, runs_at_bench, samples_awaiting_test
from gradation.services import bench as services
from gradation.services import clock
from gradation.services.bench import Reading
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, said, sent
from gradation.web.figures import SCALES, run_chart
from gradation.web.forms.bench import (
    BenchPickForm,
    CorrectionForm,
    HandOverForm,
    ReadingForm,
    RunForm,
)
from gradation.web.picked import keep_bench, picked_bench
from gradation.web.run_sheet import Sheet, row_name, run_sheet


def _place(run: Run) -> str:
    return reverse("bench:run-weigh", args=[run.pk])


def _sheet(actor: User, pk: int) -> Sheet:
    return run_sheet(run_view(find_run(actor, pk)))


@page()
def run_queue(request: PersonRequest) -> HttpResponse:
    """List what waits for the bench: open and returned runs, samples not yet tested."""
    bench = picked_bench(request)
    context = {
        "bench": bench,
        "runs": runs_at_bench(request.user, bench),
        "samples": samples_awaiting_test(request.user),
    }
    return render(request, "web/bench/run_queue.html", context)


@page()
def bench_pick(request: PersonRequest) -> HttpResponse:
    """Pick the bench this browser stands at."""
    form = BenchPickForm(sent(request), initial={"bench": picked_bench(request)})
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
        return redirect(_place(working))
    procedure = portion.sample.procedure_version
    nests = nest_states(nests_for(procedure.procedure), clock.today())
    bench = picked_bench(request)
    start = {"bench": bench, "nest": nearest_fit(nests, bench)}
    form = RunForm(procedure.procedure, sent(request), initial=start)
    context = {"portion": portion, "procedure": procedure, "nests": nests}
    return FormPage(request, form, None, "web/bench/run_open.html", context).answer(
        Doing(
            lambda: services.open_run(actor=request.user, portion=portion, setup=form.setup()),
            _place,
            lambda run: f"Run {run} is open. Weigh the portion first.",
        )
    )


@require_GET
@page(Action.READ_OWN_SAMPLES)
def run_weigh(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a run: the weighing screen while readings can be made, its result afterwards."""
    sheet = _sheet(request.user, pk)
    writes = sheet.run.is_editable and may(request.user, Action.RECORD_RUN)
    form = HandOverForm(initial={"version": sheet.run.version})
    return render(request, "web/bench/run_weigh.html", _context(request, sheet, form, writes))


def _context(
    request: PersonRequest, sheet: Sheet, form: HandOverForm, writes: bool
) -> dict[str, Any]:
    return {
        "sheet": sheet,
        "run": sheet.run,
        "form": form,
        "writes": writes,
        "gross": request.GET.get("weigh") == "gross",
        "chart": run_chart(sheet),
        "scales": SCALES,
    }


@require_GET
@page(Action.READ_OWN_SAMPLES)
def run_figure(request: PersonRequest, pk: int) -> JsonResponse:
    """Give the run's chart on another scale or in the other direction."""
    sheet = _sheet(request.user, pk)
    scale, direction = request.GET.get("scale", ""), request.GET.get("direction", "")
    return JsonResponse(run_chart(sheet, scale, direction))


@require_POST
@page(Action.RECORD_RUN)
def reading_record(request: PersonRequest, pk: int) -> HttpResponse:
    """Keep one reading at once; answer with everything that it changes on the screen."""
    run = find_run(request.user, pk)
    form = ReadingForm(request.POST)
    if not form.is_valid():
        return HttpResponse(status=400)
    reading = form.reading()
    try:
        services.record_weighing(actor=request.user, run=run, reading=reading)
    except Refusal as refusal:
        return _refused(request, run, reading, refusal)
    sheet = _sheet(request.user, pk)
    context = _context(request, sheet, HandOverForm(), writes=True)
    return render(request, "web/bench/live.html", {**context, "oob": True, "saved": reading})


def _refused(request: PersonRequest, run: Run, reading: Reading, refusal: Refusal) -> HttpResponse:
    """Say beside the field why a reading was not kept; what was typed stays in it."""
    where = row_name(reading.slot, reading.position)
    context = {"where": where, "refusal": refusal, "run": run, "reading": reading}
    answer = render(request, "web/bench/reading_refused.html", context, status=422)
    answer["HX-Reswap"] = "none"
    return answer


@page(Action.RECORD_RUN)
def reading_correct(request: PersonRequest, pk: int, slot: str, position: int) -> HttpResponse:
    """Replace a reading, with a reason; the earlier value stays readable."""
    run = find_run(request.user, pk)
    form = CorrectionForm(sent(request), initial={"key": uuid4()})
    asking = Asking(f"Correct {slot} of run {run}", "Keep the correction", _place(run))

    def act() -> Weighing:
        told = {name: form.cleaned_data[name] for name in ("text", "tare_text", "key")}
        reading = Reading(slot=slot, position=position, **told)
        reason = form.cleaned_data["reason"]
        return services.correct_weighing(
            actor=request.user, run=run, reading=reading, reason=reason
        )

    says = "The reading is corrected; the earlier value stays in the history."
    return FormPage(request, form, asking).answer(Doing(act, lambda _: _place(run), lambda _: says))


@require_POST
@page(Action.RECORD_RUN)
def run_submit(request: PersonRequest, pk: int) -> HttpResponse:
    """Hand a run over for review; its figures are frozen."""
    sheet = _sheet(request.user, pk)
    form = HandOverForm(request.POST)
    context = _context(request, sheet, form, sheet.run.is_editable)
    return FormPage(request, form, None, "web/bench/run_weigh.html", context).answer(
        Doing(
            lambda: services.submit_run(
                actor=request.user,
                run=sheet.run,
                hand_over=form.hand_over(),
                version=form.cleaned_data["version"],
            ),
            _place,
            lambda run: f"Run {run} is handed over for review.",
        )
    )
