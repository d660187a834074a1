"""Determinations of a sample: one that is an outlier is set aside, or counts again."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.models import Run
from gradation.policy import Action
from gradation.queries.runs import find_run
from gradation.queries.samples import find_sample
from gradation.services import determinations
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, sent
from gradation.web.determination_sheet import determination_sheet
from gradation.web.forms.determinations import WhyForm


@page(Action.READ_OWN_SAMPLES)
def determination_list(request: PersonRequest, number: str) -> HttpResponse:
    """Show the determinations of a sample side by side, with what follows from them."""
    sample = find_sample(request.user, number)
    context = {"sample": sample, "sheet": determination_sheet(sample)}
    return render(request, "web/intake/determination_list.html", context)


@page(Action.REVIEW_RUN)
def determination_set_aside(request: PersonRequest, pk: int) -> HttpResponse:
    """Set a determination aside that is an outlier by the procedure's rule."""
    run = find_run(request.user, pk)
    asking = Asking(
        f"Set determination {run} aside",
        "Set it aside",
        _place(run),
        "It stays readable with the others, and no longer counts in their mean.",
        grave=True,
    )
    return _answered(request, run, asking, determinations.set_determination_aside)


@page(Action.REVIEW_RUN)
def determination_count(request: PersonRequest, pk: int) -> HttpResponse:
    """Let a determination count again."""
    run = find_run(request.user, pk)
    asking = Asking(f"Let determination {run} count again", "Let it count", _place(run))
    return _answered(request, run, asking, determinations.count_determination)


def _place(run: Run) -> str:
    return reverse("intake:determination-list", args=[run.portion.sample.number])


def _answered(
    request: PersonRequest, run: Run, asking: Asking, act: Callable[..., Run]
) -> HttpResponse:
    form = WhyForm(sent(request))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: act(actor=request.user, run=run, reason=form.cleaned_data["reason"]),
            _place,
            lambda it: f"{it} {'counts' if it.counts else 'is set aside'}.",
        )
    )
