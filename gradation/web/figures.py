"""The chart of a run, from the figures that its page shows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from gradation.charts.figure import (
    Curve,
    CurvePoint,
    Direction,
    FailingPoint,
    GradationFigure,
    Scale,
    Side,
    SieveName,
)
from gradation.charts.interactive import plotly_figure
from gradation.models import Run
from gradation.queries.worksheets import envelope_line
from gradation.science.envelopes import EnvelopeLine
from gradation.science.rounding import round_significant
from gradation.web.run_sheet import Sheet
from gradation.web.run_sheet.layout import spreads_pct
from gradation.web.specification_figure import band_of, target_of

#: What the chart can be switched to, as the page names it.
SCALES = (
    (Scale.LOG.value, "logarithmic"),
    (Scale.POWER45.value, "power 0.45"),
    (Scale.PHI.value, "phi"),
    (Scale.PROBABILITY.value, "probability"),
)


def run_chart(sheet: Sheet, scale: str = "", direction: str = "") -> dict[str, Any]:
    """Give the chart of a run for the browser, on the scale and in the direction asked for."""
    return plotly_figure(run_figure(sheet, _scale(scale), _direction(direction)))


def run_figure(sheet: Sheet, scale: Scale, direction: Direction) -> GradationFigure:
    """Give the figure: the curve as far as it is known, the envelope, the points outside."""
    rows = [row for row in sheet.figures.get("table", ()) if row["passing_pct"] is not None]
    spreads = spreads_pct(sheet.figures)
    points = (_point(row, spreads) for row in rows)
    lines = _lines(sheet.run)
    return GradationFigure(
        title=f"Run {sheet.run}",
        curves=(Curve(str(sheet.run), tuple(points)),) if rows else (),
        band=band_of(str(sheet.run.portion.sample.specification_version), lines),
        target=target_of(lines),
        failing=tuple(_failing(sheet)),
        sieves=tuple(
            SieveName(float(place.aperture_um), place.sieve.designation)
            for place in sheet.run.places.all()
        ),
        scale=scale,
        direction=direction,
    )


def _point(row: dict[str, Any], spreads: Mapping[Decimal, float]) -> CurvePoint:
    spread_pct = spreads.get(Decimal(str(row["aperture_um"])))
    shown = None if not spread_pct else float(round_significant(spread_pct, 2))
    return CurvePoint(float(row["aperture_um"]), row["passing_pct"], shown)


def _scale(text: str) -> Scale:
    return Scale(text) if text in set(Scale) else Scale.LOG


def _direction(text: str) -> Direction:
    return Direction(text) if text in set(Direction) else Direction.FINE_LEFT


def _lines(run: Run) -> list[EnvelopeLine]:
    specification = run.portion.sample.specification_version
    if specification is None:
        return []
    return [envelope_line(line) for line in specification.lines.all()]


def _failing(sheet: Sheet) -> Iterator[FailingPoint]:
    for row, found in zip(sheet.rows, sheet.figures.get("table", ()), strict=False):
        if row.verdict is None or row.verdict.kind != "outside":
            continue
        side = Side.ABOVE if row.verdict.side == "high" else Side.BELOW
        yield FailingPoint(
            float(found["aperture_um"]), found["passing_pct"], side, f"{row.passing} %"
        )
