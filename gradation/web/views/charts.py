"""Control charts: the list with the points to answer, a chart, its limits, its answers."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from gradation.charts.control_printed import control_svg
from gradation.models import ChartNote, ControlChart, FrozenLimits
from gradation.policy import Action
from gradation.queries.control_charts import chart_list as all_charts
from gradation.queries.control_charts import find_chart, find_note, open_notes
from gradation.queries.studies.records import open_follow_ups
from gradation.services import clock
from gradation.services import control_charts as service
from gradation.web import lists
from gradation.web.answers import Asking, Doing, FormPage, PersonRequest, page, sent
from gradation.web.context import laboratory_of
from gradation.web.forms.charts import BaseForm, ChartForm, PointForm, WhyForm
from gradation.web.trend_page import chart_page, points_csv

_NOTES_SHOWN = 50
_PAPER_MM = (180.0, 115.0)


def _place(chart: ControlChart, group: int | None = None) -> str:
    address = reverse("charts:chart-show", args=[chart.pk])
    return f"{address}?group={group}" if group else address


@page()
def chart_list(request: PersonRequest) -> HttpResponse:
    """List the points that wait for an answer, and the charts."""
    notes = list(open_notes()[: _NOTES_SHOWN + 1])
    context = {
        "charts": all_charts(),
        "notes": notes[:_NOTES_SHOWN],
        "has_more": len(notes) > _NOTES_SHOWN,
        "follow_ups": list(open_follow_ups()[:_NOTES_SHOWN]),
    }
    return render(request, "web/charts/chart_list.html", context)


@page(Action.KEEP_CHARTS)
def chart_open(request: PersonRequest) -> HttpResponse:
    """Open a control chart."""
    start = {"answers_from": clock.today(laboratory_of(request))}
    form = ChartForm(sent(request), initial=start)
    asking = Asking(
        "Open a control chart",
        "Open the chart",
        reverse("charts:chart-list"),
        "A figure of one material's or one procedure's runs, followed over time.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: service.open_chart(actor=request.user, chart=form.chart()),
            _place,
            lambda it: f"{it} is open. Freeze its limits once a base period is known to be good.",
        )
    )


@page()
def chart_show(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a chart: drawing, limits, capability, what happened, points out of the ordinary."""
    context = chart_page(request, find_chart(pk)).context()
    return render(request, "web/charts/chart_show.html", context)


@require_GET
@page()
def chart_print(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a chart as it is printed."""
    shown = chart_page(request, find_chart(pk))
    context = shown.context()
    context["drawing"] = control_svg(shown.figure, *_PAPER_MM) if shown.judged else ""
    return render(request, "web/charts/chart_print.html", context)


@require_GET
@page()
def chart_csv(request: PersonRequest, pk: int) -> HttpResponse:
    """Give every point of a chart as CSV."""
    shown = chart_page(request, find_chart(pk))
    answer = HttpResponse(points_csv(shown), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="control-chart-{pk}.csv"'
    return answer


@page(Action.KEEP_CHARTS)
def limits_freeze(request: PersonRequest, pk: int) -> HttpResponse:
    """Freeze the limits of a chart, or of one of its groups, from a base period."""
    chart, group = find_chart(pk), lists.key_in(request, "group") or 0
    form = BaseForm(sent(request))
    asking = Asking(
        f"Freeze the limits of {chart}",
        "Freeze the limits",
        _place(chart, group),
        "The accepted runs of these days make the limits; every point is held against them from "
        "then on. Choose days in which nothing was wrong.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: _freeze(request, chart, group, form),
            lambda it: _place(chart, it.group_key),
            lambda it: f"Limits are frozen from {it.base_points} points.",
        )
    )


def _freeze(
    request: PersonRequest, chart: ControlChart, group: int, form: BaseForm
) -> FrozenLimits:
    given = form.cleaned_data
    period = service.BasePeriod(given["base_from"], given["base_to"], group)
    return service.freeze_limits(
        actor=request.user, chart=chart, period=period, reason=given["reason"]
    )


@page(Action.KEEP_CHARTS)
def limits_release(request: PersonRequest, pk: int) -> HttpResponse:
    """End the frozen limits, so that the points shown make their own."""
    chart, group = find_chart(pk), lists.key_in(request, "group") or 0
    form = WhyForm(sent(request))
    asking = Asking(f"End the frozen limits of {chart}", "End the limits", _place(chart, group))
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: service.release_limits(
                actor=request.user, chart=chart, group_key=group, **form.cleaned_data
            ),
            lambda it: _place(it, group),
            lambda it: "The limits have ended; the points shown make their own.",
        )
    )


@page(Action.KEEP_CHARTS)
def chart_give_up(request: PersonRequest, pk: int) -> HttpResponse:
    """Give a chart up."""
    chart = find_chart(pk)
    form = WhyForm(sent(request))
    asking = Asking(
        f"Give up {chart}",
        "Give the chart up",
        _place(chart),
        "It stays readable; new runs open no more notes.",
    )
    return FormPage(request, form, asking).answer(
        Doing(
            lambda: service.give_up_chart(actor=request.user, chart=chart, **form.cleaned_data),
            _place,
            lambda it: f"{it} is given up.",
        )
    )


@page(Action.ANSWER_POINT)
def note_answer(request: PersonRequest, pk: int) -> HttpResponse:
    """Answer a point out of control."""
    note = find_note(pk)
    form = PointForm(sent(request))
    asking = Asking(f"Answer run {note.run} on {note.chart}", "Keep the answer", _back(note))
    context = {"note": note}
    return FormPage(request, form, asking, "web/charts/note_answer.html", context).answer(
        Doing(
            lambda: service.answer_note(actor=request.user, note=note, **form.cleaned_data),
            _back,
            lambda it: f"The point of run {it.run} is answered.",
        )
    )


def _back(note: ChartNote) -> str:
    return _place(note.chart, note.group_key)
