"""Preparation at the bench: dividing portions, and what a portion's own page shows."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from gradation.models import Sample, TestPortion
from gradation.policy import Action
from gradation.queries.portions import find_portion, portion_page
from gradation.queries.samples import find_sample
from gradation.services import preparation
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, sent
from gradation.web.forms.preparation import AsReceivedForm, PortionForm


def place_of_portion(portion: TestPortion) -> str:
    """Give the page of a portion."""
    return reverse("bench:portion-show", args=[portion.label])


@page(Action.PREPARE_PORTION)
def portion_prepare(request: PersonRequest, number: str) -> HttpResponse:
    """Divide test portions from a sample."""
    return _divide(request, find_sample(request.user, number), None)


@page(Action.PREPARE_PORTION)
def portion_divide(request: PersonRequest, label: str) -> HttpResponse:
    """Divide test portions from a portion."""
    parent = find_portion(request.user, label)
    return _divide(request, parent.sample, parent)


def _divide(request: PersonRequest, sample: Sample, parent: TestPortion | None) -> HttpResponse:
    """Show the halves that chance chose, and keep what was divided."""
    form = PortionForm(sample, parent, sent(request), request.GET)
    context = {"sample": sample, "parent": parent, "procedure": sample.procedure_version}

    def act() -> list[TestPortion]:
        return preparation.prepare_portions(
            actor=request.user,
            sample=sample,
            division=form.division(),
            count=form.cleaned_data["count"],
        )

    return FormPage(request, form, None, "web/bench/portion_divide.html", context).answer(
        Doing(act, lambda made: place_of_portion(made[0]), _prepared)
    )


def _prepared(made: list[TestPortion]) -> str:
    labels = ", ".join(portion.label for portion in made)
    if len(made) == 1:
        return f"Portion {labels} is prepared. Label its tray."
    return f"Portions {labels} are prepared. Label each tray."


@require_GET
@page(Action.READ_OWN_SAMPLES)
def portion_show(request: PersonRequest, label: str) -> HttpResponse:
    """Show how a portion was made, its dryings, its runs and what is next."""
    shown = portion_page(find_portion(request.user, label))
    return render(request, "web/bench/portion_show.html", {"page": shown, "portion": shown.portion})


@page(Action.PREPARE_PORTION)
def portion_as_received(request: PersonRequest, label: str) -> HttpResponse:
    """Put on record that a portion is tested with its natural moisture."""
    portion = find_portion(request.user, label)
    form = AsReceivedForm(sent(request))
    asking = Asking(
        f"Test {portion} as received, not dried",
        "Keep the word",
        place_of_portion(portion),
        "Percentages are then of the moist mass; the certificate says so with this reason.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: preparation.declare_as_received(
                actor=request.user, portion=portion, reason=form.cleaned_data["reason"]
            ),
            place_of_portion,
            lambda kept: f"{kept} is tested as received.",
        )
    )
