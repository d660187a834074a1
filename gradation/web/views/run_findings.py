"""Findings of a run: the list afresh, and the reason given for one of them."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from gradation.errors import Refusal
from gradation.policy import Action
from gradation.queries.runs import find_run, run_view
from gradation.services import run_checks
from gradation.web.answers import PersonRequest, page, said
from gradation.web.bench_page import place_of
from gradation.web.run_findings import findings_at_bench

LIST = "parts/run_findings.html"


@require_GET
@page(Action.READ_RECORDS)
def finding_list(request: PersonRequest, pk: int) -> HttpResponse:
    """Show what is found in a run as it stands."""
    view = run_view(find_run(request.user, pk))
    context = {"run": view.run, "findings": findings_at_bench(request.user, view)}
    return render(request, LIST, context)


@require_POST
@page(Action.READ_RECORDS)
def finding_answer(request: PersonRequest, pk: int, key: str) -> HttpResponse:
    """Keep the reason for a finding; what was typed stays when it is refused."""
    run = find_run(request.user, pk)
    reason = request.POST.get("reason", "")
    is_part = request.headers.get("HX-Request") == "true"
    typed, error, status = {}, "", 200
    try:
        run_checks.answer_finding(actor=request.user, run=run, key=key, reason=reason)
    except Refusal as refusal:
        typed, error, status = {key: reason}, refusal.message, 422
    if not is_part:
        said(request, error or "The reason is kept with the run.")
        return redirect(f"{place_of(run)}#findings")
    view = run_view(find_run(request.user, pk))
    found = findings_at_bench(request.user, view, typed, error)
    lost = error if error and all(not one.error for one in found) else ""
    context = {"run": view.run, "findings": found, "lost": lost, "lost_text": reason}
    return render(request, LIST, context, status=status)
