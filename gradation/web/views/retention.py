"""What is left of samples: what may go, what is held, and how it goes."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.models import Sample
from gradation.policy import Action
from gradation.queries.retention import find_hold, retained
from gradation.queries.samples import find_sample
from gradation.services import clock, retention
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.context import laboratory_of
from gradation.web.forms.base import initial_of
from gradation.web.forms.intake import ReasonForm
from gradation.web.forms.retention import DisposalForm, HoldForm, KeepingForm

ROWS_SHOWN = 200


def _place(sample: Sample) -> str:
    return reverse("intake:sample-show", args=[sample.number])


@page()
def retention_list(request: PersonRequest) -> HttpResponse:
    """List what may be thrown away now or within a month, and what is held."""
    today = clock.today(laboratory_of(request))
    rows = list(retained(request.user, today)[: ROWS_SHOWN + 1])
    context = {"rows": rows[:ROWS_SHOWN], "more": len(rows) > ROWS_SHOWN, "today": today}
    return render(request, "web/intake/retention_list.html", context)


@page(Action.CLOSE_SAMPLE)
def sample_keep(request: PersonRequest, number: str) -> HttpResponse:
    """Say until when and where what is left of a sample is kept."""
    sample = find_sample(request.user, number)
    form = KeepingForm(sent(request), initial=initial_of(sample, KeepingForm))
    asking = Asking(f"How long sample {sample} is kept", "Keep it so", _place(sample))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: retention.keep_sample(
                actor=request.user,
                sample=sample,
                keeping=form.keeping(),
                reason=form.cleaned_data["reason"],
            ),
            _place,
            lambda kept: f"Sample {kept} is kept until {kept.retain_until:%d %b %Y}.",
        )
    )


@page(Action.HOLD_SAMPLE)
def sample_hold(request: PersonRequest, number: str) -> HttpResponse:
    """Hold what is left of a sample until a question is closed."""
    sample = find_sample(request.user, number)
    form = HoldForm(sent(request))
    asking = Asking(f"Hold sample {sample}", "Hold it", _place(sample))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: retention.hold_sample(
                actor=request.user,
                sample=sample,
                cause=form.cleaned_data["cause"],
                reason=form.cleaned_data["reason"],
            ),
            lambda hold: _place(hold.sample),
            lambda hold: f"Sample {hold.sample} is held: {hold.cause}.",
        )
    )


@page(Action.HOLD_SAMPLE)
def hold_lift(request: PersonRequest, pk: int) -> HttpResponse:
    """Let go of what was held."""
    hold = found(find_hold(request.user, pk), "hold")
    form = ReasonForm(sent(request))
    asking = Asking(
        f"Lift the hold of sample {hold.sample}",
        "Lift it",
        _place(hold.sample),
        intro=f"Held for {hold.cause}: {hold.reason}",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: retention.lift_hold(
                actor=request.user, hold=hold, reason=form.cleaned_data["reason"]
            ),
            lambda lifted: _place(lifted.sample),
            lambda lifted: f"The hold of sample {lifted.sample} is lifted.",
        )
    )


@page(Action.CLOSE_SAMPLE)
def sample_dispose(request: PersonRequest, number: str) -> HttpResponse:
    """Record that what is left of a sample was thrown away."""
    sample = find_sample(request.user, number)
    form = DisposalForm(sent(request))
    hazards = " ".join(text for text in (sample.hazard, sample.material.hazards) if text)
    asking = Asking(
        f"Record the disposal of sample {sample}",
        "Record it",
        _place(sample),
        intro=f"{hazards} Local rules and the safety data sheet come first." if hazards else "",
        grave=True,
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: retention.dispose_sample(
                actor=request.user,
                sample=sample,
                disposal=form.disposal(),
                reason=form.cleaned_data["reason"],
            ),
            _place,
            lambda gone: f"Sample {gone} is disposed of.",
        )
    )
