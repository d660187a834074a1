"""Report forms: the list, one of them with its live preview, drawing up, changing, giving up."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from gradation.documents.certificate import certificate_html
from gradation.models import ReportForm
from gradation.policy import Action
from gradation.queries import report_forms as file
from gradation.services import report_forms
from gradation.services.certificate_drafting import draft_content
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.document_page import framed_by_own_pages, on_screen
from gradation.web.forms.intake import ReasonForm
from gradation.web.forms.report_forms import (
    ReportFormChangeForm,
    ReportFormForm,
    initial_of_form,
)

_TEMPLATE = "web/certificates/form_edit.html"
_START = {"language": "en", "paper": "A4", "scale": "log", "direction": "fine_left"}


def _list_address(_row: ReportForm) -> str:
    return reverse("certificates:form-list")


@page()
def form_list(request: PersonRequest) -> HttpResponse:
    """List the report forms in use and for whom each holds."""
    context = {"forms": file.report_forms(), "built_in": file.BUILT_IN}
    return render(request, "web/certificates/form_list.html", context)


@page(Action.KEEP_REPORT_FORMS)
def form_add(request: PersonRequest) -> HttpResponse:
    """Draw up a report form."""
    form = ReportFormForm(sent(request), request.FILES or None, initial=_START)
    return FormPage(request, form, None, _TEMPLATE, {"kept": None}).answer(
        Doing(
            lambda: report_forms.draw_up_form(
                actor=request.user, form=form.shown(), logo=form.picture()
            ),
            _list_address,
            lambda kept: f"{kept} is kept; certificates drafted from now on take it.",
        )
    )


@page(Action.KEEP_REPORT_FORMS)
def form_change(request: PersonRequest, pk: int) -> HttpResponse:
    """Change a report form, with a reason."""
    kept = found(file.find_report_form(pk), "report form")
    form = ReportFormChangeForm(sent(request), request.FILES or None, initial=initial_of_form(kept))
    return FormPage(request, form, None, _TEMPLATE, {"kept": kept}).answer(
        Doing(
            lambda: report_forms.change_form(
                actor=request.user,
                form=kept,
                reason=form.cleaned_data["reason"],
                version=form.cleaned_data["version"],
                logo=form.picture(),
                **form.values(),
            ),
            _list_address,
            lambda changed: f"{changed} is changed; what was issued keeps the form it had.",
        )
    )


@page(Action.KEEP_REPORT_FORMS)
def form_give_up(request: PersonRequest, pk: int) -> HttpResponse:
    """Use a report form no longer."""
    kept = found(file.find_report_form(pk), "report form")
    form = ReasonForm(sent(request))
    back = reverse("certificates:form-list")
    asking = Asking(f"Give up the report form {kept}", "Give it up", back, grave=True)
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: report_forms.give_up_form(
                actor=request.user, form=kept, reason=form.cleaned_data["reason"]
            ),
            _list_address,
            lambda given_up: f"{given_up} is used no longer.",
        )
    )


@require_GET
@framed_by_own_pages
@page(Action.KEEP_REPORT_FORMS)
def form_preview(request: PersonRequest) -> HttpResponse:
    """Show a certificate of the laboratory on the form as it stands on the page."""
    form = ReportFormForm(request.GET)
    certificate = file.example_certificate(request.user, request.GET)
    if not form.is_valid():
        return _said(request, "Fill in what is missing; the preview follows.")
    if certificate is None:
        return _said(request, "Draft a certificate first; the preview shows it on this form.")
    shown = form.shown()
    file.lend_logo(shown, request.GET.get("kept", ""))
    return HttpResponse(on_screen(certificate_html(draft_content(certificate, shown))))


def _said(request: HttpRequest, words: str) -> HttpResponse:
    return render(request, "web/certificates/form_preview.html", {"words": words})
