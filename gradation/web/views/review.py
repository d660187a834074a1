"""Review: the queue, one run with its raw readings beside its result, and the answer."""

from __future__ import annotations

from dataclasses import replace

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.models import Run, User
from gradation.policy import Action
from gradation.queries.runs import find_run, run_view, runs_awaiting_review
from gradation.services import review
from gradation.web.answers import Doing, FormPage, PersonRequest, page, sent
from gradation.web.context import laboratory_of
from gradation.web.figures import SCALES, run_chart
from gradation.web.forms.review import AnswerForm
from gradation.web.readings import people_of, readings_of
from gradation.web.run_findings import findings_at_review, flags_left
from gradation.web.run_sheet import run_sheet


@page()
def run_queue(request: PersonRequest) -> HttpResponse:
    """List the runs that wait for review, the longest waiting first."""
    context = {"runs": runs_awaiting_review(request.user)}
    return render(request, "web/review/run_queue.html", context)


@page(Action.REVIEW_RUN)
def run_review(request: PersonRequest, pk: int) -> HttpResponse:
    """Look at a run and answer for it."""
    run = find_run(request.user, pk)
    sheet, found = run_sheet(run_view(run)), findings_at_review(request.user, run)
    sheet = replace(sheet, flags=flags_left(sheet.flags, found))
    form = AnswerForm(sent(request), initial={"version": run.version})
    context = {
        "run": run,
        "sheet": sheet,
        "chart": run_chart(sheet),
        "scales": SCALES,
        "findings": found,
        "readings": readings_of(run),
        "people": people_of(run),
        "policy": laboratory_of(request),
    }
    return FormPage(request, form, None, "web/review/run_review.html", context).answer(
        Doing(
            lambda: _answer(request.user, run, form),
            lambda answered: reverse("bench:run-weigh", args=[answered.pk]),
            lambda answered: f"Run {answered} is {answered.state}.",
        )
    )


_SERVICES = {
    AnswerForm.ACCEPT: review.accept_run,
    AnswerForm.RETURN: review.return_run,
    AnswerForm.INVALIDATE: review.invalidate_run,
}


def _answer(actor: User, run: Run, form: AnswerForm) -> Run:
    service = _SERVICES[form.cleaned_data["answer"]]
    reason, version = form.cleaned_data["reason"], form.cleaned_data["version"]
    return service(actor=actor, run=run, reason=reason, version=version)
