"""Specifications: the list, the library, a version drafted, proposed, approved, ended, exported."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from gradation.charts.interactive import plotly_figure
from gradation.documents import specification_sheet as files
from gradation.models import Specification, SpecificationVersion
from gradation.policy import Action
from gradation.queries import specifications as file
from gradation.queries.lots import lots_of
from gradation.queries.specification_words import line_words_of, version_words
from gradation.science.envelope_library import library, library_entry
from gradation.science.errors import GradationError
from gradation.services import specifications
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, said, sent
from gradation.web.context import laboratory_of
from gradation.web.forms.specifications import (
    ApprovalForm,
    CategoryForm,
    EndForm,
    FromLibraryForm,
    LimitRows,
    ReturnForm,
    SpecificationForm,
)
from gradation.web.lists import searched
from gradation.web.specification_editor import (
    Editor,
    preview_of,
    rules_typed,
    sentences_about,
)
from gradation.web.specification_figure import specification_figure
from gradation.web.specification_library import families_shown, library_line, lines_of_entry

KEEP, APPROVE = Action.KEEP_SPECIFICATIONS, Action.APPROVE_SPECIFICATIONS


def _specification(pk: int) -> Specification:
    return found(file.find_specification(pk), "specification")


def _version(pk: int) -> SpecificationVersion:
    return found(file.find_version(pk), "specification version")


def _place(pk: int) -> str:
    return reverse("specifications:version-show", args=[pk])


@page()
def specification_list(request: PersonRequest) -> HttpResponse:
    """List the specifications with their versions, and what waits for approval."""
    context = {
        "specifications": file.specifications_listed(),
        "waiting": file.versions_awaiting_approval(),
    }
    return render(request, "web/specifications/specification_list.html", context)


@page(KEEP)
def specification_add(request: PersonRequest) -> HttpResponse:
    """Add a specification by code and title."""
    form = SpecificationForm(sent(request))
    back = reverse("specifications:specification-list")
    return FormPage(request, form, Asking("Add a specification", "Add it", back)).answer(
        Doing(
            lambda: specifications.add_specification(
                actor=request.user, specification=form.specification()
            ),
            lambda row: reverse("specifications:version-draft", args=[row.pk]),
            lambda row: f"Specification {row} is added. Draft its first version.",
        )
    )


@page()
def library_list(request: PersonRequest) -> HttpResponse:
    """List the published gradings that a draft can be made from."""
    term = searched(request)
    form = CategoryForm(request.GET if "category" in request.GET else None)
    if form.is_bound and form.is_valid():
        try:
            return redirect("specifications:library-show", library_entry(form.key()).key)
        except GradationError as error:
            form.add_error(None, str(error))
    context = {"families": families_shown(term), "term": term, "form": form, "all": len(library())}
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "web/specifications/library_list.html", context, status=status)


@page()
def library_show(request: PersonRequest, key: str) -> HttpResponse:
    """Show one published grading with the mark of every figure; draft a specification from it."""
    try:
        entry = library_entry(key)
    except GradationError:
        entry = found(None, "published grading")
    lines = lines_of_entry(entry)
    form = FromLibraryForm(sent(request), initial={"title": entry.title[:160]})
    context = {
        "entry": entry,
        "lines": [library_line(*pair) for pair in zip(entry.lines, entry.marks, strict=True)],
        "chart": plotly_figure(specification_figure(entry.title, lines)),
    }
    if request.method == "POST":
        page_may_keep(request)
    shown = FormPage(request, form, None, "web/specifications/library_show.html", context)
    return shown.answer(
        Doing(
            lambda: specifications.draft_specification_version(
                actor=request.user,
                version=SpecificationVersion(
                    specification=form.specification_named(),
                    effective_from=form.cleaned_data["effective_from"],
                    library_key=entry.key[:60],
                    source=entry.source[:240],
                    unconfirmed_note="" if entry.is_confirmed else _TO_CONFIRM,
                ),
                lines=lines,
            ),
            lambda version: reverse("specifications:version-edit", args=[version.pk]),
            lambda version: f"{version} is drafted from {entry.title}. Look at every limit.",
        )
    )


_TO_CONFIRM = "All limits: kept from public summaries or memory; confirm against your edition."


def page_may_keep(request: PersonRequest) -> None:
    """Refuse a draft by who may only read the library."""
    from gradation.policy import require

    require(request.user, KEEP)


@page()
def version_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show one version of a specification."""
    version = _version(pk)
    lines = list(version.lines.all())
    context = {
        "version": version,
        "lines": lines,
        "chart": plotly_figure(specification_figure(str(version), lines)),
        "decision": file.decision_words(version),
        "lot": file.lot_words(version),
        "lots": lots_of(version),
        "from_memory": file.figures_from_memory(version),
        "own": request.user.pk in {version.drafted_by_id, version.proposed_by_id},
        "policy": laboratory_of(request),
    }
    return render(request, "web/specifications/version_show.html", context)


@page(KEEP)
def version_draft(request: PersonRequest, pk: int) -> HttpResponse:
    """Draft the next version of a specification."""
    return Editor(request, request.user, _specification(pk)).answer()


@page(KEEP)
def version_edit(request: PersonRequest, pk: int) -> HttpResponse:
    """Change a draft."""
    version = _version(pk)
    if version.state != "draft":
        said(request, f"{version} is {version.state}; it cannot be changed. Draft a new version.")
        return redirect("specifications:version-show", pk)
    return Editor(request, request.user, version.specification, version).answer()


@require_POST
@page(KEEP)
def limits_preview(request: PersonRequest) -> HttpResponse:
    """Draw the limits that are being typed, and say what is wrong with them; keeps nothing."""
    lines, rules = LimitRows.sent(request.POST).readable(), rules_typed(request.POST)
    context = preview_of("envelope", lines, sentences_about(lines, **rules), rules)
    return render(request, "web/specifications/preview.html", context)


@require_POST
@page(KEEP)
def version_propose(request: PersonRequest, pk: int) -> HttpResponse:
    """Propose a draft for approval."""
    version = specifications.propose_specification_version(actor=request.user, version=_version(pk))
    said(request, f"{version} is proposed. Another person approves it.")
    return redirect("specifications:version-show", pk)


@page(APPROVE)
def version_approve(request: PersonRequest, pk: int) -> HttpResponse:
    """Approve a proposed version."""
    version, form = _version(pk), ApprovalForm(sent(request))
    kept = file.figures_from_memory(version)
    intro = f"Kept from memory: {kept}. Compare with your own edition first." if kept else ""
    asking = Asking(f"Approve {version}", "Approve this version", _place(pk), intro=intro)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: specifications.approve_specification_version(
                actor=request.user, version=version, **form.cleaned_data
            ),
            lambda done: _place(pk),
            lambda done: f"{done} is approved and judges samples between its dates.",
        )
    )


@page(APPROVE)
def version_return(request: PersonRequest, pk: int) -> HttpResponse:
    """Give a proposed version back to be worked on."""
    version, form = _version(pk), ReturnForm(sent(request))
    asking = Asking(f"Return {version}", "Return it as a draft", _place(pk))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: specifications.return_specification_version(
                actor=request.user, version=version, **form.cleaned_data
            ),
            lambda back: _place(pk),
            lambda back: f"{back} is a draft again.",
        )
    )


@page(KEEP)
def version_end(request: PersonRequest, pk: int) -> HttpResponse:
    """Give a released version its last day."""
    version, form = _version(pk), EndForm(sent(request))
    asking = Asking(f"End {version}", "Keep the last day", _place(pk))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: specifications.end_specification_version(
                actor=request.user, version=version, **form.cleaned_data
            ),
            lambda ended: _place(pk),
            lambda ended: f"{ended} has its last day.",
        )
    )


_KINDS: dict[str, tuple[str, Any]] = {
    "csv": ("text/csv; charset=utf-8", files.as_csv),
    "xlsx": (
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        files.as_workbook,
    ),
    "json": ("application/json", files.as_json),
}


@page()
def version_export(request: PersonRequest, pk: int, kind: str) -> HttpResponse:
    """Give the limits as CSV or XLSX, or all of the version as JSON."""
    version = _version(pk)
    content_type, writer = found(_KINDS.get(kind), "export of this kind")
    sheet = files.SpecificationSheet(
        str(version), version_words(version), [line_words_of(line) for line in version.lines.all()]
    )
    name = f"{version.specification.code}-v{version.version}.{kind}".replace('"', "")
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(writer(sheet), content_type=content_type, headers=headers)
