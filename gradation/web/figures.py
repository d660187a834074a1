"""The chart of a run, from the figures that its page shows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from gradation.charts.figure import (
    Band,
    BandLimit,
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
from gradation.models import Run, SpecificationLine
from gradation.science.envelopes import LineKind
from gradation.web.run_sheet import Sheet

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
    points = (CurvePoint(float(row["aperture_um"]), row["passing_pct"]) for row in rows)
    target = _target(sheet.run)
    return GradationFigure(
        title=f"Run {sheet.run}",
        curves=(Curve(str(sheet.run), tuple(points)),) if rows else (),
        band=_band(sheet.run),
        target=target,
        failing=tuple(_failing(sheet)),
        sieves=tuple(
            SieveName(float(place.aperture_um), place.sieve.designation)
            for place in sheet.run.places.all()
        ),
        scale=scale,
        direction=direction,
    )


def _scale(text: str) -> Scale:
    return Scale(text) if text in set(Scale) else Scale.LOG


def _direction(text: str) -> Direction:
    return Direction(text) if text in set(Direction) else Direction.FINE_LEFT


def _lines(run: Run) -> list[SpecificationLine]:
    specification = run.portion.sample.specification_version
    if specification is None:
        return []
    return [line for line in specification.lines.all() if line.kind == LineKind.PASSING]


def _band(run: Run) -> Band | None:
    limits = tuple(
        BandLimit(
            float(line.aperture_um or 0),
            None if line.minimum is None else float(line.minimum),
            None if line.maximum is None else float(line.maximum),
        )
        for line in _lines(run)
    )
    return Band(str(run.portion.sample.specification_version), limits) if limits else None


def _target(run: Run) -> Curve | None:
    points = tuple(
        CurvePoint(float(line.aperture_um or 0), float(line.target))
        for line in _lines(run)
        if line.target is not None
    )
    return Curve("target", points) if points else None


def _failing(sheet: Sheet) -> Iterator[FailingPoint]:
    for row, found in zip(sheet.rows, sheet.figures.get("table", ()), strict=False):
        if row.verdict is None or row.verdict.kind != "outside":
            continue
        side = Side.ABOVE if row.verdict.side == "high" else Side.BELOW
        yield FailingPoint(
            float(found["aperture_um"]), found["passing_pct"], side, f"{row.passing} %"
        )
