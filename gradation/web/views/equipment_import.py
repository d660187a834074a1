"""An existing inventory of sieves: looked through first, then taken in whole or not at all."""

from __future__ import annotations

import csv
import io
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from gradation.errors import Invalid, Refusal
from gradation.policy import Action
from gradation.services import equipment_import
from gradation.services.equipment_import import COLUMNS, ImportReport
from gradation.web.answers import PersonRequest, page, said, sent
from gradation.web.forms.equipment import ImportForm

FAULTS_SHOWN = 200
ROWS_SHOWN = 50


@page(Action.KEEP_EQUIPMENT)
def sieve_import(request: PersonRequest) -> HttpResponse:
    """Look through an inventory, every fault by row and column; take it in when asked to."""
    form = ImportForm(sent(request), request.FILES or None)
    report = None
    if form.is_bound and form.is_valid():
        try:
            report = _read(request, form)
        except Refusal as refusal:
            form.add_error("file" if not isinstance(refusal, Invalid) else None, refusal.message)
        else:
            if report.registered:
                return _taken_in(request, report)
    context = {
        "form": form,
        "columns": COLUMNS,
        "report": report,
        "faults": report.faults[:FAULTS_SHOWN] if report else (),
        "rows": report.rows[:ROWS_SHOWN] if report else (),
    }
    status = 422 if form.errors or (report and report.faults) else 200
    return render(request, "web/equipment/sieve_import.html", context, status=status)


def _read(request: PersonRequest, form: ImportForm) -> ImportReport:
    """Look first; only a file without a fault is taken in, and only when that was asked for."""
    kept: Any = form.cleaned_data["file"]
    content = kept.read()
    report = equipment_import.import_sieves(
        actor=request.user, file=content, name=kept.name, dry_run=True
    )
    if report.faults or request.POST.get("act") != "import":
        return report
    return equipment_import.import_sieves(
        actor=request.user, file=content, name=kept.name, dry_run=False
    )


def _taken_in(request: PersonRequest, report: ImportReport) -> HttpResponse:
    said(request, f"{report.registered} sieves are registered.")
    if request.headers.get("HX-Request"):
        return HttpResponse(status=204, headers={"HX-Redirect": reverse("equipment:sieve-list")})
    return redirect("equipment:sieve-list")


@require_GET
@page(Action.KEEP_EQUIPMENT)
def import_template(request: PersonRequest) -> HttpResponse:
    """Give an empty inventory with its columns, to be filled in."""
    sheet = io.StringIO()
    csv.writer(sheet).writerow(COLUMNS)
    answer = HttpResponse("\ufeff" + sheet.getvalue(), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="sieves.csv"'
    return answer
