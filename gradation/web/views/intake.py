"""Intake: the list of samples, logging one, its page and its history."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from gradation.models import Sample
from gradation.policy import Action, may
from gradation.queries.lots import sample_lot
from gradation.queries.sample_results import sample_verdict
from gradation.queries.samples import SampleFilter, find_sample, sample_page
from gradation.services import intake
from gradation.web import lists
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, sent
from gradation.web.forms.base import initial_of
from gradation.web.forms.intake import ReasonForm, SampleChangeForm, SampleForm
from gradation.web.labels import labels_of_sample, printed, stock_in
from gradation.web.lot_part import lot_context
from gradation.web.next_step import next_step

_STATES = [("", "all"), *((state.value, state.value) for state in Sample.State)]


def _place(sample: Sample) -> str:
    return reverse("intake:sample-show", args=[sample.number])


@page(Action.READ_OWN_SAMPLES)
def sample_list(request: PersonRequest) -> HttpResponse:
    """List the samples, newest first."""
    wanted = SampleFilter(
        search=lists.searched(request),
        state=lists.chosen(request, "state", _STATES),
        before=lists.key_in(request, "before"),
        after=lists.key_in(request, "after"),
    )
    shown = lists.shown(request, sample_page(request.user, wanted))
    states = lists.choices(request, "state", _STATES)
    context = {"page": shown, "wanted": wanted, "states": states, "scanned": wanted.search}
    return render(request, "web/intake/sample_list.html", context)


@page(Action.LOG_SAMPLE)
def sample_log(request: PersonRequest) -> HttpResponse:
    """Log a delivered sample."""
    form = SampleForm(sent(request))
    asking = Asking("Log a sample", "Log the sample", reverse("intake:sample-list"))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: intake.log_sample(actor=request.user, delivery=form.delivery()),
            _place,
            lambda sample: f"Sample {sample} is logged. Write the number on the container.",
        )
    )


@page(Action.READ_OWN_SAMPLES)
def sample_show(request: PersonRequest, number: str) -> HttpResponse:
    """Show a sample with its portions, runs, results and certificates."""
    sample = find_sample(request.user, number)
    is_staff = may(request.user, Action.READ_RECORDS)  # a lot may hold samples of others
    context = {
        "sample": sample,
        "step": next_step(request.user, sample),
        "reported": sample_verdict(sample),
        **lot_context(sample_lot(sample) if is_staff else None, sample.specification_version),
    }
    return render(request, "web/intake/sample_show.html", context)


@page(Action.CHANGE_SAMPLE)
def sample_change(request: PersonRequest, number: str) -> HttpResponse:
    """Correct what was written about a sample."""
    sample = find_sample(request.user, number)
    form = SampleChangeForm(sent(request), initial=initial_of(sample, SampleChangeForm))
    asking = Asking(f"Change sample {sample}", "Keep the change", _place(sample))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: intake.change_sample(
                actor=request.user,
                sample=sample,
                delivery=form.delivery(),
                reason=form.cleaned_data["reason"],
                version=form.cleaned_data["version"],
            ),
            _place,
            lambda changed: f"Sample {changed} is changed; the earlier words stay in its history.",
        )
    )


@dataclass(frozen=True)
class Ending:
    """One way in which work on a sample ends: the service, its verb, what is said afterwards."""

    service: Callable[..., Sample]
    verb: str
    done: str


@page(Action.CLOSE_SAMPLE)
def sample_cancel(request: PersonRequest, number: str) -> HttpResponse:
    """Cancel a sample that will not be tested, with a reason."""
    return _end(request, number, Ending(intake.cancel_sample, "Cancel", "is cancelled"))


@page(Action.CLOSE_SAMPLE)
def sample_close(request: PersonRequest, number: str) -> HttpResponse:
    """Close a reported sample."""
    return _end(request, number, Ending(intake.close_sample, "Close", "is closed"))


def _end(request: PersonRequest, number: str, ending: Ending) -> HttpResponse:
    sample = find_sample(request.user, number)
    form = ReasonForm(sent(request))
    heading = f"{ending.verb} sample {sample}"
    asking = Asking(heading, f"{ending.verb} the sample", _place(sample), grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: ending.service(
                actor=request.user, sample=sample, reason=form.cleaned_data["reason"]
            ),
            _place,
            lambda ended: f"Sample {ended} {ending.done}.",
        )
    )


@require_GET
@page()
def label_print(request: PersonRequest, number: str) -> HttpResponse:
    """Give the labels of a sample and of its portions, on a roll unless the address says other."""
    sample = find_sample(request.user, number)
    return printed(labels_of_sample(sample), stock_in(request, "wide-roll"))
