"""The chart of a comparison: passing, differences, single sieves or density."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from gradation.charts.axes import has_place
from gradation.charts.figure import (
    Band,
    BandLimit,
    Curve,
    CurvePoint,
    GradationFigure,
    Quantity,
    Scale,
    SieveName,
)
from gradation.queries.comparisons import Comparison, FittedCurve, densities, fitted
from gradation.queries.curves import PickedCurve
from gradation.science.apertures import size_text
from gradation.science.fits import Fit
from gradation.science.models import Model
from gradation.web.compare_address import Shown

MODELS = {
    Scale.PROBABILITY: Model.LOG_NORMAL,
    Scale.RRSB: Model.RRSB,
    Scale.GGS: Model.GGS,
}
_LINE_PASSING = (0.001, 0.999)  # the ends of the papers


def model_lines(comparison: Comparison, shown: Shown) -> tuple[FittedCurve, ...]:
    """Give the straight lines through the curves, when the paper has any and they are asked for."""
    if not (shown.has_lines and shown.has_paper):
        return ()
    return fitted(comparison.curves, MODELS[shown.scale])


def comparison_figure(
    comparison: Comparison, shown: Shown, lines: tuple[FittedCurve, ...] = ()
) -> GradationFigure:
    """Give the figure of a comparison as it is asked for."""
    is_passing = shown.quantity is Quantity.PASSING
    drawn = tuple(_CURVES[shown.quantity](comparison, shown))
    reference = comparison.curves[comparison.reference].label if comparison.curves else ""
    return GradationFigure(
        title="Comparison",
        curves=(*drawn, *_lines(lines)),
        band=_band(comparison) if is_passing else None,
        target=_target(comparison) if is_passing else None,
        sieves=tuple(SieveName(row.aperture_um, row.name) for row in comparison.rows),
        scale=shown.scale,
        direction=shown.direction,
        quantity=shown.quantity,
        against=reference,
    )


def _passing(comparison: Comparison, shown: Shown) -> Iterator[Curve]:
    for place, curve in enumerate(comparison.curves):
        points = (CurvePoint(um, 100 * share) for um, share in _known(curve))
        on_paper = tuple(it for it in points if has_place(it.passing_pct, shown.scale))
        yield Curve(curve.label, on_paper, look=place)


def _known(curve: PickedCurve) -> Iterator[tuple[float, float]]:
    yield from zip(curve.group.apertures_um, curve.passing, strict=True)


def _differences(comparison: Comparison, _: Shown) -> Iterator[Curve]:
    for place, curve in enumerate(comparison.curves):
        if place == comparison.reference:
            continue
        cells = ((row.aperture_um, row.cells[place].difference_pct) for row in comparison.rows)
        points = tuple(CurvePoint(um, points) for um, points in cells if points is not None)
        yield Curve(curve.label, points, look=place)


def _retained(comparison: Comparison, _: Shown) -> Iterator[Curve]:
    for place, curve in enumerate(comparison.curves):
        cells = ((row.aperture_um, row.cells[place].retained_pct) for row in comparison.rows)
        points = tuple(CurvePoint(um, pct) for um, pct in cells if pct is not None)
        yield Curve(curve.label, points, look=place)


def _densities(comparison: Comparison, _: Shown) -> Iterator[Curve]:
    for place, curve in enumerate(comparison.curves):
        yield Curve(curve.label, tuple(_steps(curve)), look=place)


def _steps(curve: PickedCurve) -> Iterator[CurvePoint]:
    """Yield each class as a step: its ends as corners, its middle with the marker."""
    classes = densities(curve)
    if not classes:
        return
    yield CurvePoint(classes[0].upper_um, 0.0, is_corner=True)
    for each in classes:
        value = 100 * each.share_per_decade
        said = f"{size_text(each.lower_um)} to {size_text(each.upper_um)}: {value:.4g} % per decade"
        middle = float(np.sqrt(each.lower_um * each.upper_um))
        yield CurvePoint(each.upper_um, value, is_corner=True, said=said)
        yield CurvePoint(middle, value, said=said)
        yield CurvePoint(each.lower_um, value, is_corner=True, said=said)
    yield CurvePoint(classes[-1].lower_um, 0.0, is_corner=True)


_CURVES = {
    Quantity.PASSING: _passing,
    Quantity.DIFFERENCE: _differences,
    Quantity.RETAINED: _retained,
    Quantity.DENSITY: _densities,
}


def _lines(lines: tuple[FittedCurve, ...]) -> Iterator[Curve]:
    for place, line in enumerate(lines):
        if line.fit is None:
            continue
        ends = _ends(line.curve, line.fit)
        shares = line.fit.curve.passing(np.array(ends)).tolist()
        points = (CurvePoint(um, 100 * share) for um, share in zip(ends, shares, strict=True))
        yield Curve(f"{line.curve.label}, line", tuple(points), fitted=True, look=place)


def _ends(curve: PickedCurve, fit: Fit) -> list[float]:
    """Give the sizes between which a line is drawn: its curve's nest, inside the paper."""
    nest = curve.group.apertures_um
    foot, top = fit.curve.size_at_passing(np.array(_LINE_PASSING)).tolist()
    return [max(min(nest[0], top), foot), min(max(nest[-1], foot), top)]


def _band(comparison: Comparison) -> Band | None:
    rows = [row for row in comparison.rows if row.minimum is not None or row.maximum is not None]
    limits = tuple(
        BandLimit(
            row.aperture_um,
            None if row.minimum is None else float(row.minimum),
            None if row.maximum is None else float(row.maximum),
        )
        for row in rows
    )
    return Band(str(comparison.specification), limits) if limits else None


def _target(comparison: Comparison) -> Curve | None:
    points = tuple(
        CurvePoint(row.aperture_um, float(row.target))
        for row in comparison.rows
        if row.target is not None
    )
    return Curve("target", points) if points else None
