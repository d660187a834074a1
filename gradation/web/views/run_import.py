"""Import of runs and orders: forms, tables given in, looked through, taken in."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from gradation.errors import Refusal
from gradation.models import RunImport, SheetForm
from gradation.policy import Action
from gradation.queries.run_imports import find_import, find_sheet_form, import_list, sheet_forms
from gradation.services import clock, long_work
from gradation.services import run_import as services
from gradation.web import lists
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, said, sent
from gradation.web.forms.base import initial_of
from gradation.web.forms.run_import import FORM_OF, ColumnsForm, TableForm, TakeInForm

FAULTS_SHOWN = 200
SAMPLES_SHOWN = 50


def _place(job: RunImport) -> str:
    return reverse("bench:import-show", args=[job.pk])


@page()
def table_list(request: PersonRequest) -> HttpResponse:
    """List the tables given in and the forms by which they are read."""
    context = {"page": lists.page_in_address(request, import_list()), "forms": sheet_forms()}
    return render(request, "web/bench/import_list.html", context)


@page(Action.IMPORT_RUNS)
def table_give(request: PersonRequest) -> HttpResponse:
    """Give in a table of runs or orders."""
    form = TableForm(sent(request), request.FILES or None)
    asking = Asking(
        "Give in a table",
        "Give it in",
        reverse("bench:import-list"),
        "One run or order a row. It is looked through next; nothing is taken in yet.",
    )

    def act() -> RunImport:
        file: Any = form.cleaned_data["file"]
        return services.add_table(
            actor=request.user, form=form.cleaned_data["form"], file=file.read(), name=file.name
        )

    says = "The table is given in. Look it through next."
    return FormPage(request, form, asking).answer(Doing(act, _place, lambda _: says))


@page(Action.IMPORT_RUNS)
def sheet_form_add(request: PersonRequest) -> HttpResponse:
    """Describe how tables of runs of one origin are read."""
    form = FORM_OF[SheetForm.Kind.RUNS](sent(request), request.FILES or None)
    return _kept(request, form, None)


@page(Action.LOG_SAMPLE)
def order_form_add(request: PersonRequest) -> HttpResponse:
    """Describe how tables of orders of one origin are read."""
    form = FORM_OF[SheetForm.Kind.ORDERS](sent(request), request.FILES or None)
    return _kept(request, form, None)


@page(Action.IMPORT_RUNS)
def sheet_form_change(request: PersonRequest, pk: int) -> HttpResponse:
    """Change how the tables of one origin are read; tables taken in stay as they are."""
    row = find_sheet_form(pk)
    kind = FORM_OF[row.kind]
    start = initial_of(row, kind)
    start |= {"columns": row.columns, "headings": json.dumps(list(row.columns))}
    form = kind(sent(request), request.FILES or None, initial=start)
    return _kept(request, form, row)


def _kept(request: PersonRequest, form: ColumnsForm, row: SheetForm | None) -> HttpResponse:
    """Keep a form, or show it again with the columns of the table that came with it."""
    asking = Asking(
        f"How {row} is read" if row else f"A form for tables of {form.kind}",
        "Keep the form",
        reverse("bench:import-list"),
        "Hand in a table once: its headings appear below, and each is given its meaning.",
    )
    shown = FormPage(request, form, asking)
    if form.is_bound and form.is_valid() and form.take_headings():
        return shown.show()
    return shown.answer(
        Doing(
            lambda: services.change_sheet_form(
                actor=request.user,
                form=form.sheet_form(row),
                version=form.cleaned_data["version"],
            ),
            lambda _: reverse("bench:import-list"),
            lambda kept: f"Tables are read as {kept} from now on.",
        )
    )


@page()
def table_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show one table: how far it is, what is wrong with it, what can be done next."""
    return render(request, "web/bench/import_show.html", _context(find_import(pk)))


def _context(job: RunImport) -> dict[str, Any]:
    done = long_work.Progress.of(job.work_name)
    return {
        "job": job,
        "done": job.rows_done if done is None else done,
        "silent": job.is_silent(clock.now()),
        "sound": job.rows_total - job.rows_faulty,
        "faults": job.faults[:FAULTS_SHOWN],
        "samples": job.samples.order_by("import_row")[:SAMPLES_SHOWN],
        "form": TakeInForm(),
    }


@require_GET
@page()
def table_progress(request: PersonRequest, pk: int) -> HttpResponse:
    """Give the part of the page that tells how far the work is."""
    return render(request, "web/bench/import_progress.html", _context(find_import(pk)))


@require_POST
@page(Action.IMPORT_RUNS)
def table_look(request: PersonRequest, pk: int) -> HttpResponse:
    """Begin to look a table through."""
    job = find_import(pk)
    return _begun(request, job, lambda: services.look_in_background(actor=request.user, job=job))


@require_POST
@page(Action.IMPORT_RUNS)
def table_take_in(request: PersonRequest, pk: int) -> HttpResponse:
    """Begin to take the rows of a table in."""
    job, way = find_import(pk), request.POST.get("way", "")
    return _begun(
        request, job, lambda: services.take_in_background(actor=request.user, job=job, way=way)
    )


def _begun(request: PersonRequest, job: RunImport, begin: Callable[[], RunImport]) -> HttpResponse:
    """Begin the work; a refusal is told at once."""
    try:
        begin()
    except Refusal as refusal:
        said(request, refusal.message)
    return redirect(_place(job))


@require_POST
@page(Action.IMPORT_RUNS)
def table_stop(request: PersonRequest, pk: int) -> HttpResponse:
    """Ask the work to stop."""
    job = find_import(pk)
    try:
        services.stop_import(actor=request.user, job=job)
    except Refusal as refusal:
        said(request, refusal.message)
    return redirect(_place(job))
