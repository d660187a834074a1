"""The verdict of a run: margins, what decides, 'would it still pass', rounding replay."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from gradation.charts.interactive import plotly_figure
from gradation.errors import Invalid
from gradation.models import Run
from gradation.queries.lots import lot_verdict
from gradation.queries.runs import find_run
from gradation.queries.specifications import decision_words
from gradation.queries.verdicts import verdict_sentence
from gradation.queries.what_ifs import (
    RunVerdict,
    masses_of,
    record_of,
    replayed,
    run_verdict,
    what_if_of,
)
from gradation.web.answers import PersonRequest, page
from gradation.web.forms.verdicts import WhatIfForm
from gradation.web.lot_part import lot_context
from gradation.web.verdict_page import (
    mass_name,
    replay_rows,
    verdict_figure,
    verdict_lines,
)

_ASKED = ("sieve", "error_um", "mass_of", "mass_change_g")


@page()
def run_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a run's verdict; with a what-if in the address, what it would be. Nothing is kept."""
    run = find_run(request.user, pk)
    form = _form(request, run)
    found: RunVerdict | None
    try:
        found = _asked(run, form)
    except Invalid as refusal:
        form.take(refusal)
        found = _plain(run)
    context = {} if found is None else _context(run, found)
    status = 422 if form.is_bound and form.errors else 200
    shown = {"run": run, "form": form, **context}
    return render(request, "web/verdicts/run_show.html", shown, status=status)


def _form(request: PersonRequest, run: Run) -> WhatIfForm:
    worksheet = record_of(run)
    asked = request.GET if any(request.GET.get(name) for name in _ASKED) else None
    return WhatIfForm(
        asked,
        sizes_um=[fraction.aperture_um for fraction in worksheet.coarse_to_fine],
        masses=[(name, f"{mass_name(name)}, {mass_g} g") for name, mass_g in masses_of(worksheet)],
    )


def _asked(run: Run, form: WhatIfForm) -> RunVerdict:
    if not (form.is_bound and form.is_valid()):
        return run_verdict(run)
    told = {name: str(form.cleaned_data[name] or "") for name in _ASKED}
    return run_verdict(run, what_if_of(told))


def _plain(run: Run) -> RunVerdict | None:
    """Give the verdict without the what-if that was refused; None when nothing can be computed."""
    try:
        return run_verdict(run)
    except Invalid:
        return None


def _context(run: Run, found: RunVerdict) -> dict[str, Any]:
    version, assessment = found.specification, found.assessment
    again = replayed(run)
    return {
        "found": found,
        "version": version,
        "assessment": assessment,
        "sentence": verdict_sentence(found.figures["assessment"], str(version.specification))
        if version and found.figures["assessment"] and found.evaluation.is_complete
        else "",
        "decision": decision_words(version) if version else None,
        **lot_context(lot_verdict(run), version),
        "lines": verdict_lines(found),
        "reason": (found.figures["uncertainty"] or {}).get("reason", ""),
        "chart": plotly_figure(verdict_figure(found)),
        "replay": again,
        "replay_rows": replay_rows(again) if again else (),
        "replay_rules": list(zip(again.rules, again.assessments, again.flips, strict=True))
        if again
        else (),
    }
