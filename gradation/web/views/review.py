"""Review: the queue, one run with its raw readings beside its result, and the answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from gradation.models import Run, User
from gradation.policy import Action
from gradation.queries.paper import PICTURES, may_compare, paper_of
from gradation.queries.review_queue import InReview, runs_in_review, runs_picked
from gradation.queries.review_risks import refused_signatures, risks_of
from gradation.queries.runs import find_run, other_runs, run_view
from gradation.queries.trail import Trail, trail_of
from gradation.services import clock, review
from gradation.web.answers import Doing, FormPage, PersonRequest, page, sent
from gradation.web.context import laboratory_of
from gradation.web.figures import SCALES, run_chart
from gradation.web.forms.review import AnswerForm, LookForm
from gradation.web.readings import people_of, readings_of
from gradation.web.run_findings import findings_at_review, flags_left
from gradation.web.run_sheet import run_sheet
from gradation.web.story import days_of


@page()
def run_queue(request: PersonRequest) -> HttpResponse:
    """List the runs that wait for review, the longest waiting first, with what to look at."""
    context = {
        "waiting": runs_in_review(request.user),
        "refused": refused_signatures(clock.now()),
    }
    return render(request, "web/review/run_queue.html", context)


@page(Action.REVIEW_RUN)
def runs_accept(request: PersonRequest) -> HttpResponse:
    """Look at several runs together and accept those that are clean."""
    chosen = request.POST if request.method == "POST" else request.GET
    waiting = runs_picked(request.user, chosen.getlist("run"))
    if request.method == "POST":
        answers = review.accept_runs(actor=request.user, picked=_picked(request, waiting))
        context = {"answers": answers}
        return render(request, "web/review/runs_accepted.html", context)
    return render(request, "web/review/runs_accept.html", {"waiting": waiting})


def _picked(request: PersonRequest, waiting: Sequence[InReview]) -> list[review.Picked]:
    return [
        review.Picked(each.run, _whole(request.POST.get(f"seen-{each.run.pk}", "")))
        for each in waiting
    ]


def _whole(text: str) -> int:
    return int(text) if text.isdigit() and len(text) < 10 else 0


@page(Action.REVIEW_RUN)
def run_review(request: PersonRequest, pk: int) -> HttpResponse:
    """Look at a run and answer for it."""
    run = find_run(request.user, pk)
    trail = trail_of(run)
    form = AnswerForm(sent(request), initial={"version": run.version, "seen": trail.newest})
    return FormPage(
        request, form, None, "web/review/run_review.html", _shown(request, run, trail)
    ).answer(
        Doing(
            lambda: _answer(request.user, run, form),
            lambda answered: reverse("bench:run-weigh", args=[answered.pk]),
            lambda answered: f"Run {answered} is {answered.state}.",
        )
    )


def _shown(request: PersonRequest, run: Run, trail: Trail) -> dict[str, Any]:
    sheet, found = run_sheet(run_view(run)), findings_at_review(request.user, run)
    sheet = replace(sheet, flags=flags_left(sheet.flags, found))
    return {
        "run": run,
        "sheet": sheet,
        "chart": run_chart(sheet),
        "scales": SCALES,
        "findings": found,
        "risks": risks_of([run])[run.pk],
        "others": other_runs(run),
        **_paper(request, run),
        "trail": trail,
        "days": days_of(trail.events),
        "look": LookForm(initial={"seen": trail.newest}),
        "readings": readings_of(run),
        "people": people_of(run),
        "policy": laboratory_of(request),
    }


def _paper(request: PersonRequest, run: Run) -> dict[str, Any]:
    """Give what the page shows of the paper, where the run was typed from it."""
    if run.on_paper is None:
        return {}
    return {
        "paper": paper_of(run),
        "pictures": PICTURES,
        "may_compare": may_compare(request.user, run),
    }


@page(Action.REVIEW_RUN)
def trail_look(request: PersonRequest, pk: int) -> HttpResponse:
    """Keep that a reviewer looked at what was written about a run since its review."""
    run = find_run(request.user, pk)
    trail = trail_of(run)
    form = LookForm(sent(request), initial={"seen": trail.newest})
    context = _shown(request, run, trail) | {"look": form}
    return FormPage(request, form, None, "web/review/run_review.html", context).answer(
        Doing(
            lambda: review.look_through_trail(actor=request.user, run=run, **form.cleaned_data),
            lambda look: reverse("review:run-review", args=[pk]),
            lambda look: f"It is kept that you went through the history of run {run}.",
        )
    )


def _answer(actor: User, run: Run, form: AnswerForm) -> Run:
    told = form.cleaned_data
    asked = {"actor": actor, "run": run, "reason": told["reason"], "version": told["version"]}
    if told["answer"] == AnswerForm.ACCEPT:
        return review.accept_run(**asked, seen=form.seen_entry())
    return _OTHERS[told["answer"]](**asked)


_OTHERS = {
    AnswerForm.RETURN: review.return_run,
    AnswerForm.INVALIDATE: review.invalidate_run,
}
