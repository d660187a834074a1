"""Blends: worked out from the address, kept as records, printed."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from gradation.charts.figure import Direction, Scale
from gradation.charts.interactive import plotly_figure
from gradation.documents.blend_report import BlendContent, blend_csv, blend_figure, blend_pdf
from gradation.errors import Invalid, Refusal
from gradation.policy import Action, may
from gradation.queries.blends import BlendAsked, blend_list, find_blend, work_out
from gradation.services.blend_content import blend_content, worked_out_record
from gradation.services.blends import save_blend
from gradation.web import lists
from gradation.web.answers import PersonRequest, page, said
from gradation.web.forms.blend import BlendForm, KeepForm

SCALES = (
    (Scale.LOG, "logarithmic"),
    (Scale.POWER45, "power 0.45"),
    (Scale.PHI, "phi"),
    (Scale.LINEAR, "linear"),
)


@require_GET
@page()
def record_list(request: PersonRequest) -> HttpResponse:
    """List the blends kept, the newest first."""
    context = {"page": lists.page_in_address(request, blend_list())}
    return render(request, "web/blend/record_list.html", context)


@page()
def record_work(request: PersonRequest) -> HttpResponse:
    """Work a blend out from what the address asks for; a sent title keeps it."""
    form = BlendForm(request.GET if "work" in request.GET else None)
    keep = KeepForm(request.POST if request.method == "POST" else None)
    asked = form.asked(request.user) if form.is_bound and form.is_valid() else None
    if asked is not None and request.method == "POST":
        kept = _kept(request, asked, form, keep)
        if kept is not None:
            return kept
    content = _worked_out(request, asked, form)
    context = {"form": form, "keep": keep, "query": request.GET.urlencode()}
    if content is not None:
        context |= _drawn(request, content) | {"may_keep": may(request.user, Action.KEEP_BLENDS)}
    status = 422 if form.is_refused or keep.errors else 200
    return render(request, "web/blend/record_work.html", context, status=status)


def _kept(
    request: PersonRequest, asked: BlendAsked, form: BlendForm, keep: KeepForm
) -> HttpResponse | None:
    """Keep the blend and go to it; what was refused stands in the forms."""
    if not keep.is_valid():
        return None
    try:
        record = save_blend(actor=request.user, asked=asked, **keep.cleaned_data)
    except Invalid as refusal:
        (keep if refusal.field in keep.fields else form).take(refusal)
        return None
    said(request, f"Blend {record} is kept.")
    return redirect(reverse("blend:record-show", args=[record.number]))


def _worked_out(
    request: PersonRequest, asked: BlendAsked | None, form: BlendForm
) -> BlendContent | None:
    if asked is None or form.is_refused:
        return None
    try:
        outcome = work_out(request.user, asked)
    except Refusal as refusal:
        form.take(refusal)
        return None
    return blend_content(worked_out_record(outcome, request.user), request.user)


@require_GET
@page()
def record_show(request: PersonRequest, number: str) -> HttpResponse:
    """Show a blend as it was kept."""
    content = blend_content(find_blend(number), request.user)
    return render(request, "web/blend/record_show.html", _drawn(request, content))


def _drawn(request: PersonRequest, content: BlendContent) -> dict[str, Any]:
    scale = lists.chosen(request, "scale", [(word.value, name) for word, name in SCALES])
    coarse = request.GET.get("direction") == Direction.COARSE_LEFT
    direction = Direction.COARSE_LEFT if coarse else Direction.FINE_LEFT
    figure = blend_figure(content, Scale(scale) if scale else Scale.LOG, direction)
    return {
        "content": content,
        "figure": plotly_figure(figure),
        "described": figure.described(),
        "scales": lists.choices(
            request, "scale", [("" if w is Scale.LOG else w.value, name) for w, name in SCALES]
        ),
        "directions": lists.choices(
            request,
            "direction",
            [("", "fine on the left"), (Direction.COARSE_LEFT.value, "coarse on the left")],
        ),
    }


@require_GET
@page()
def record_pdf(request: PersonRequest, number: str) -> HttpResponse:
    """Give a blend as PDF, with its figures as a data file inside."""
    content = blend_content(find_blend(number), request.user)
    return _file(blend_pdf(content), "application/pdf", f"blend-{content.number}.pdf")


@require_GET
@page()
def record_csv(request: PersonRequest, number: str) -> HttpResponse:
    """Give the sieves of a blend as CSV."""
    content = blend_content(find_blend(number), request.user)
    return _file(blend_csv(content), "text/csv; charset=utf-8", f"blend-{content.number}.csv")


def _file(content: bytes | str, media_type: str, name: str) -> HttpResponse:
    answer = HttpResponse(content, content_type=media_type)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
