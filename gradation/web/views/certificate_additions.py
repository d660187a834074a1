"""What is added to a draft or a sample: items left out, opinions, others' results, the sampling."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse

from gradation.policy import Action
from gradation.queries.certificates import find_certificate
from gradation.queries.samples import find_sample
from gradation.services import certificate_additions
from gradation.services.certificate_gates import open_gaps
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, sent
from gradation.web.forms.certificates import (
    ExternalResultForm,
    OmissionForm,
    OpinionForm,
    SamplingForm,
)


@page(Action.LEAVE_OUT_ITEM)
def omission_add(request: PersonRequest, pk: int) -> HttpResponse:
    """Leave an item out of a draft, with a reason that is printed."""
    certificate = find_certificate(request.user, pk)
    form = OmissionForm(open_gaps(certificate), sent(request))
    back = reverse("certificates:certificate-show", args=[pk])
    asking = Asking(
        f"Leave an item out of {certificate}",
        "Leave it out",
        back,
        intro="The reason and your name are printed on the certificate.",
        grave=True,
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: certificate_additions.leave_out_item(
                actor=request.user, certificate=certificate, **form.cleaned_data
            ),
            lambda omission: back,
            lambda omission: f"Left out: {omission.item}.",
        )
    )


@page(Action.GIVE_OPINION)
def opinion_add(request: PersonRequest, pk: int) -> HttpResponse:
    """Give an opinion on a draft; it is printed apart from the results."""
    certificate = find_certificate(request.user, pk)
    form = OpinionForm(sent(request))
    back = reverse("certificates:certificate-show", args=[pk])
    asking = Asking(f"Give an opinion on {certificate}", "Add the opinion", back)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: certificate_additions.give_opinion(
                actor=request.user, certificate=certificate, **form.cleaned_data
            ),
            lambda opinion: back,
            lambda opinion: "The opinion stands on the draft, under its own heading.",
        )
    )


@page(Action.ENTER_EXTERNAL_RESULT)
def external_add(request: PersonRequest, number: str) -> HttpResponse:
    """Enter what another laboratory found on a sample."""
    sample = find_sample(request.user, number)
    form = ExternalResultForm(sent(request))
    back = reverse("intake:sample-show", args=[number])
    asking = Asking(
        f"A result of another laboratory on sample {sample}",
        "Enter the result",
        back,
        intro="Certificates mark it on its row as coming from outside.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: certificate_additions.enter_external_result(
                actor=request.user, sample=sample, result=form.result()
            ),
            lambda result: back,
            lambda result: f"{result} is entered.",
        )
    )


@page(Action.RECORD_SAMPLING)
def sampling_add(request: PersonRequest, number: str) -> HttpResponse:
    """Record how the laboratory took a sample."""
    sample = find_sample(request.user, number)
    form = SamplingForm(sent(request))
    back = reverse("intake:sample-show", args=[number])
    asking = Asking(
        f"How sample {sample} was taken",
        "Keep the record",
        back,
        intro="A certificate on a sample that the laboratory took states all six.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: certificate_additions.record_sampling(
                actor=request.user, sample=sample, record=form.record()
            ),
            lambda record: back,
            lambda record: f"The sampling of {sample} is on record.",
        )
    )
