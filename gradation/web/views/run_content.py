"""Bench: what a run consists of beside its first masses - shakings, washing, splits, increments."""

from __future__ import annotations

from dataclasses import asdict
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

from django.http import HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse

from gradation.models import Run, Shaking, Weighing
from gradation.policy import Action
from gradation.queries.end_points import shaken_again
from gradation.queries.portion_mass import plain
from gradation.queries.run_view import fresh_place
from gradation.queries.runs import find_run
from gradation.queries.shakings import latest_shakings, prefilled, shaker_of
from gradation.services import handling, run_places, shakings, weighing
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.forms.base import NotebookForm, initial_of
from gradation.web.forms.run_content import (
    HandlingForm,
    ReliefForm,
    ShakingCorrectionForm,
    ShakingForm,
    SievingForm,
    SplitForm,
    WeighingForm,
    WhyForm,
)
from gradation.web.run_sheet.rows import Row
from gradation.web.run_sheet.work import plan_words


def _place(run: Run) -> str:
    return reverse("bench:run-weigh", args=[run.pk])


def _asking(run: Run, heading: str, button: str, intro: str = "") -> Asking:
    return Asking(f"{heading} · run {run}", button, _place(run), intro)


@page(Action.RECORD_RUN)
def shaking_record(request: PersonRequest, pk: int) -> HttpResponse:
    """Keep how the nest was shaken: as planned by one confirmation, or otherwise with a note."""
    run = find_run(request.user, pk)
    ready = prefilled(run, shaker_of(run))
    start = {"key": uuid4(), **_filled(asdict(ready))}
    form = ShakingForm(_as_planned(request, start), initial=start)
    plan = plan_words(ready)
    intro = f"Planned: {plan}." if plan else "The procedure says nothing about shaking."
    asking = _asking(run, "Record a shaking", "Keep the shaking", intro)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: shakings.record_shaking(actor=request.user, run=run, shaken=form.shaken()),
            lambda _: _place(run),
            lambda made: f"Shaking {made.number} is recorded.",
        )
    )


def _filled(plan: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in plan.items() if name in ShakingForm.base_fields}


def _as_planned(request: PersonRequest, start: dict[str, Any]) -> QueryDict | None:
    """Take the plan for what a short confirmation leaves open."""
    data = sent(request)
    if data is None or "as_planned" not in data:
        return data
    full = data.copy()
    for name, value in start.items():
        if value is not None and not full.get(name):
            full[name] = plain(value) if isinstance(value, Decimal) else str(value)
    return full


@page(Action.RECORD_RUN)
def shaking_correct(request: PersonRequest, pk: int, number: int) -> HttpResponse:
    """Correct what was written down of a shaking; the earlier values stay readable."""
    run = find_run(request.user, pk)
    rows = {row.number: row for row in latest_shakings(run.shakings.all())}
    row = found(rows.get(number), "shaking of that number")
    start = {**initial_of(row, ShakingCorrectionForm), "key": uuid4(), "reason": ""}
    form = ShakingCorrectionForm(sent(request), initial=start)

    def act() -> Shaking:
        return shakings.correct_shaking(
            actor=request.user,
            run=run,
            number=number,
            shaken=form.shaken(),
            reason=form.cleaned_data["reason"],
        )

    asking = _asking(run, f"Correct shaking {number}", "Keep the correction")
    says = "The shaking is corrected; the earlier values stay in the history."
    return _answer(request, run, form, asking, Doing(act, lambda _: _place(run), lambda _: says))


def _answer(
    request: PersonRequest, run: Run, form: NotebookForm, asking: Asking, doing: Doing[Any]
) -> HttpResponse:
    return FormPage(request, form, asking, context={"back_name": f"Run {run}"}).answer(doing)


@page(Action.RECORD_RUN)
def handling_record(request: PersonRequest, pk: int) -> HttpResponse:
    """Keep how the portion was washed and sieved."""
    run = find_run(request.user, pk)
    start = initial_of(run, HandlingForm)
    start["guard_sieve"] = run.guard_sieve.serial if run.guard_sieve else ""
    kind = HandlingForm if run.procedure_version.wash else SievingForm
    form = kind(sent(request), initial=start)
    allowed = run.procedure_version.aids
    intro = f"The procedure allows as aids: {allowed}." if allowed else ""
    doing = Doing(
        lambda: handling.record_handling(actor=request.user, run=run, handling=form.handling()),
        _place,
        lambda _: "It is recorded how the portion was washed and sieved.",
    )
    asking = _asking(run, "Washing and sieving", "Keep it", intro)
    return _answer(request, run, form, asking, doing)


@page(Action.RECORD_RUN)
def split_add(request: PersonRequest, pk: int) -> HttpResponse:
    """Reduce what passes a sieve before it is sieved on."""
    run = find_run(request.user, pk)
    form = SplitForm(run, sent(request), initial={"position": request.GET.get("position")})
    intro = (
        "Weigh what passes the sieve, divide it, weigh the reduced part and sieve only that. Finer "
        "fractions are multiplied by what passed over what was sieved on."
    )
    doing = Doing(
        lambda: run_places.split_run(
            actor=request.user,
            run=run,
            position=int(form.cleaned_data["position"]),
            reason=form.cleaned_data["reason"],
        ),
        lambda _: _place(run),
        lambda place: f"The run is split below {place.sieve.designation}. {_correct_below()}",
    )
    return _answer(request, run, form, _asking(run, "Split the run", "Split it", intro), doing)


def _correct_below() -> str:
    return "A mass already weighed on the next sieve below is to be corrected."


@page(Action.RECORD_RUN)
def split_remove(request: PersonRequest, pk: int, position: int) -> HttpResponse:
    """Take back a split of which nothing is weighed."""
    run = find_run(request.user, pk)
    form = WhyForm(sent(request))
    doing = Doing(
        lambda: run_places.join_run(
            actor=request.user, run=run, position=position, reason=form.cleaned_data["reason"]
        ),
        lambda _: _place(run),
        lambda place: f"All that passes {place.sieve.designation} is sieved on.",
    )
    asking = _asking(run, "Take the split back", "Take it back")
    return _answer(request, run, form, asking, doing)


@page(Action.RECORD_RUN)
def relief_add(request: PersonRequest, pk: int) -> HttpResponse:
    """Put a relief sieve into the nest."""
    run = find_run(request.user, pk)
    form = ReliefForm(sent(request))
    intro = (
        "It takes its place by its size and gets a row of its own; the curve gets one more point. "
        "What lies on the sieve below is sieved again with it."
    )
    doing = Doing(
        lambda: run_places.add_relief_sieve(
            actor=request.user,
            run=run,
            sieve=form.cleaned_data["sieve"],
            reason=form.cleaned_data["reason"],
        ),
        lambda _: _place(run),
        lambda place: f"{place.sieve} is in the nest as a relief sieve. {_correct_below()}",
    )
    asking = _asking(run, "Put in a relief sieve", "Put it in", intro)
    return _answer(request, run, form, asking, doing)


@page(Action.RECORD_RUN)
def increment_add(
    request: PersonRequest, pk: int, slot: str, position: int, increment: int
) -> HttpResponse:
    """Give a row for a further increment, or a page of its own where no script runs."""
    run = find_run(request.user, pk)
    row = Row(fresh_place(run, slot, position, increment), f"increment {increment}", is_part=True)
    if request.headers.get("X-Asks-For") == "row":
        gross = request.GET.get("weigh") == "gross"
        context = {"row": row, "run": run, "writes": True, "gross": gross}
        return render(request, "parts/run_row.html", context)
    form = WeighingForm(sent(request), initial={"key": row.key})
    doing = Doing(
        lambda: weighing.record_weighing(
            actor=request.user, run=run, reading=_reading(form, slot, position, increment)
        ),
        lambda _: _place(run),
        lambda made: f"{made.mass_as_entered} g is recorded as increment {increment}.",
    )
    asking = _asking(run, row.spoken[:1].upper() + row.spoken[1:], "Keep it")
    return _answer(request, run, form, asking, doing)


def _reading(form: WeighingForm, slot: str, position: int, increment: int) -> weighing.Reading:
    key: UUID = form.cleaned_data["key"]
    text, tare_text = form.cleaned_data["text"], form.cleaned_data["tare_text"]
    return weighing.Reading(slot, text, key, position, increment, tare_text)


@page(Action.RECORD_RUN)
def reading_again(
    request: PersonRequest, pk: int, slot: str, position: int, increment: int
) -> HttpResponse:
    """Weigh a fraction again after a further shaking; its first mass stays readable."""
    run = find_run(request.user, pk)
    number = len(latest_shakings(run.shakings.all()))
    form = WeighingForm(sent(request), initial={"key": uuid4()})

    def act() -> Weighing:
        return weighing.correct_weighing(
            actor=request.user,
            run=run,
            reading=_reading(form, slot, position, increment),
            reason=shaken_again(number),
        )

    place = fresh_place(run, slot, position, increment)
    size = place.sieve.sieve.designation if place.sieve else slot
    asking = _asking(run, f"{size} after shaking {number}", "Keep it")
    says = "The new mass counts; the one before stays in the history."
    return _answer(request, run, form, asking, Doing(act, lambda _: _place(run), lambda _: says))
