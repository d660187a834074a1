"""Comparing curves: any runs, samples and means on one chart; the choice stands in the address."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET

from gradation.charts.interactive import plotly_figure
from gradation.charts.palette import curve_style
from gradation.charts.printed import svg
from gradation.documents.workbook import MEDIA_TYPE
from gradation.errors import Invalid
from gradation.models import Run, Sample
from gradation.queries.comparisons import (
    Comparison,
    compare,
    recent_runs,
    recent_samples,
    specification_choices,
)
from gradation.queries.curve_picks import Pick, PickKind
from gradation.web import lists
from gradation.web.answers import PersonRequest, found, page
from gradation.web.compare_address import Shown
from gradation.web.compare_figure import comparison_figure, model_lines
from gradation.web.compare_table import (
    comparison_csv,
    comparison_workbook,
    curve_key,
    table_rows,
)
from gradation.web.forms.compare import PickForm

_RECENT = 15
_SIZE_MM = (240.0, 150.0)


@require_GET
@page()
def comparison_show(request: PersonRequest) -> HttpResponse:
    """Show the curves that the address names, and offer further ones."""
    shown = Shown.read(request.GET)
    form = PickForm(request.GET if "add" in request.GET else None)
    if form.is_bound and form.is_valid():
        try:
            picks = form.picks(request.user)
        except Invalid as refusal:
            form.take(refusal)
        else:
            return redirect(request.path + shown.with_picks(picks))
    context = _context(request, shown) | {"form": form}
    status = 422 if form.errors else 200
    return render(request, "web/compare/comparison_show.html", context, status=status)


def _context(request: PersonRequest, shown: Shown) -> dict[str, Any]:
    comparison = compare(request.user, shown.asked)
    lines = model_lines(comparison, shown)
    figure = comparison_figure(comparison, shown, lines)
    material = lists.key_in(request, "of")
    return {
        "shown": shown,
        "comparison": comparison,
        "faults": [*shown.faults, *comparison.faults],
        "figure": plotly_figure(figure),
        "described": figure.described(),
        "lines": lines,
        "keys": [_key(shown, comparison, place) for place in range(len(comparison.curves))],
        "rows": table_rows(comparison, shown.quantity),
        "specifications": specification_choices(),
        "runs": _adding(shown, PickKind.RUN, recent_runs(request.user, material)[:_RECENT]),
        "samples": _adding(
            shown, PickKind.SAMPLE, recent_samples(request.user, material)[:_RECENT]
        ),
        "lines_address": shown.address(has_lines=not shown.has_lines),
        "query": shown.address(),
    }


def _key(shown: Shown, comparison: Comparison, place: int) -> dict[str, Any]:
    """Give one curve's line of the key: how it looks, what it is, what can be done with it."""
    curve = comparison.curves[place]
    return {
        "curve": curve,
        "drawn": curve_key(curve_style(place)),
        "is_reference": place == comparison.reference,
        "reference_address": shown.address(reference=curve.pick.token),
        "without_address": shown.without(curve.pick),
    }


def _adding(shown: Shown, kind: PickKind, rows: Iterable[Run | Sample]) -> list[dict[str, Any]]:
    """Give rows of a list with the address that adds each to the comparison."""
    rows = list(rows)
    picks = [Pick(kind, row.number if isinstance(row, Sample) else str(row.pk)) for row in rows]
    return [
        {"row": row, "address": shown.with_picks([pick]), "is_in": pick in shown.picks}
        for row, pick in zip(rows, picks, strict=True)
    ]


@require_GET
@page()
def comparison_file(request: PersonRequest, form: str) -> HttpResponse:
    """Give the comparison as SVG, CSV or workbook, as its address says."""
    make, media_type = found(_FILES.get(form), "such form of a comparison")
    shown = Shown.read(request.GET)
    answer = HttpResponse(make(compare(request.user, shown.asked), shown), content_type=media_type)
    answer["Content-Disposition"] = f'attachment; filename="comparison.{form}"'
    return answer


def _svg(comparison: Comparison, shown: Shown) -> str:
    lines = model_lines(comparison, shown)
    return svg(comparison_figure(comparison, shown, lines), *_SIZE_MM)


_FILES = {
    "svg": (_svg, "image/svg+xml"),
    "csv": (lambda comparison, _: comparison_csv(comparison), "text/csv; charset=utf-8"),
    "xlsx": (lambda comparison, _: comparison_workbook(comparison), MEDIA_TYPE),
}
