"""Impact assessments: what a bad sieve, instrument or person did, and what is done about it."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from gradation.documents.impact_report import certificates_csv, impact_pdf, runs_csv
from gradation.models import ImpactAssessment
from gradation.policy import Action
from gradation.queries.certificates import certificates_visible_to
from gradation.queries.impact import find_assessment, impact_list, touched
from gradation.services import impact
from gradation.services.impact_content import impact_content
from gradation.web import lists
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, found, page, sent
from gradation.web.forms.impact import CloseForm, DecisionForm, ImpactForm

ROWS_SHOWN = 200

_STATES = [("", "all"), *((state.value, state.value) for state in ImpactAssessment.State)]


def _place(assessment: ImpactAssessment) -> str:
    return reverse("equipment:impact-show", args=[assessment.pk])


@page()
def assessment_list(request: PersonRequest) -> HttpResponse:
    """List the impact assessments, newest first."""
    state = lists.chosen(request, "state", _STATES)
    rows = impact_list().filter(state=state) if state else impact_list()
    context = {
        "page": lists.page_in_address(request, rows),
        "choices": lists.choices(request, "state", _STATES),
    }
    return render(request, "web/equipment/impact_list.html", context)


@page(Action.OPEN_IMPACT)
def assessment_open(request: PersonRequest) -> HttpResponse:
    """Open an assessment by hand."""
    start = {"equipment": lists.key_in(request, "item")}
    form = ImpactForm(sent(request), initial=start)
    asking = Asking(
        "Open an impact assessment",
        "Open the assessment",
        reverse("equipment:impact-list"),
        "Every run in the period is looked at again; certificates are decided one by one.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: impact.open_assessment(actor=request.user, **form.cleaned_data),
            _place,
            lambda it: f"Impact assessment {it.pk} is open.",
        )
    )


@page()
def assessment_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show what was touched, ranked by what would flip, and what was decided."""
    assessment = find_assessment(pk)
    found_impact = touched(assessment)
    shown = (
        found_impact.runs if request.GET.get("runs") == "all" else found_impact.runs[:ROWS_SHOWN]
    )
    context = {"impact": found_impact, "assessment": assessment, "runs": shown}
    return render(request, "web/equipment/impact_show.html", context)


@page(Action.ASSESS_IMPACT)
def assessment_decide(request: PersonRequest, pk: int, certificate: int) -> HttpResponse:
    """Decide what becomes of one certificate, with a reason."""
    assessment = find_assessment(pk)
    row = found(
        certificates_visible_to(request.user).filter(pk=certificate).first(), "such certificate"
    )
    form = DecisionForm(sent(request))
    asking = Asking(f"Decide on certificate {row}", "Keep the decision", _place(assessment))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: impact.decide(
                actor=request.user, assessment=assessment, certificate=row, **form.cleaned_data
            ),
            lambda _: _place(assessment),
            lambda it: f"Certificate {row}: {it.verdict}.",
        )
    )


@page(Action.ASSESS_IMPACT)
def assessment_close(request: PersonRequest, pk: int) -> HttpResponse:
    """Close an assessment with its conclusion, once every certificate is decided."""
    assessment = find_assessment(pk)
    form = CloseForm(sent(request))
    heading = f"Close impact assessment {assessment.pk}"
    asking = Asking(heading, "Close the assessment", _place(assessment))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: impact.close_assessment(
                actor=request.user, assessment=assessment, **form.cleaned_data
            ),
            _place,
            lambda it: f"Impact assessment {it.pk} is closed.",
        )
    )


@require_GET
@page()
def assessment_pdf(request: PersonRequest, pk: int) -> HttpResponse:
    """Give the assessment as PDF, with all its rows as a data file inside."""
    content = impact_content(touched(find_assessment(pk)), request.user)
    return _file(impact_pdf(content), "application/pdf", f"impact-{pk}.pdf")


@require_GET
@page()
def assessment_csv(request: PersonRequest, pk: int, rows: str) -> HttpResponse:
    """Give the assessment's runs or certificates as CSV."""
    table = found(_TABLES.get(rows), "such table of an assessment")
    text = table(impact_content(touched(find_assessment(pk)), request.user))
    return _file(text, "text/csv; charset=utf-8", f"impact-{pk}-{rows}.csv")


_TABLES = {"runs": runs_csv, "certificates": certificates_csv}


def _file(content: bytes | str, media_type: str, name: str) -> HttpResponse:
    answer = HttpResponse(content, content_type=media_type)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
