"""The envelope of a specification as a figure, from limits stored or still being typed."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from gradation.charts.figure import Band, BandLimit, Curve, CurvePoint, GradationFigure, SieveName
from gradation.models import SpecificationLine
from gradation.queries.worksheets import envelope_line
from gradation.science.apertures import designation
from gradation.science.envelope_form import WHOLE_PCT, EnvelopeLine, LineKind
from gradation.science.errors import GradationError

__all__ = ["band_of", "specification_figure", "target_of"]

_DRAWN = (LineKind.PASSING, LineKind.RETAINED)


def specification_figure(
    title: str,
    lines: Sequence[SpecificationLine],
    curves: tuple[Curve, ...] = (),
    *,
    names_sieves: bool = True,
) -> GradationFigure:
    """Give the figure of the limits on passing and retained; other limits have no place in it.

    A narrow drawing does without the names of the sieves along its top.
    """
    drawn = _drawable([envelope_line(line) for line in lines])
    sizes = sorted({line.aperture_um for line in drawn if line.aperture_um}, reverse=True)
    return GradationFigure(
        title=title,
        curves=curves,
        band=band_of(title, drawn),
        target=target_of(drawn),
        sieves=tuple(SieveName(float(size), designation(size)) for size in sizes if names_sieves),
    )


def _drawable(lines: Sequence[EnvelopeLine]) -> list[EnvelopeLine]:
    return [line for line in lines if line.kind in _DRAWN and line.aperture_um and _fits(line)]


def _fits(line: EnvelopeLine) -> bool:
    """Leave out what is no pair of limits yet, as while somebody types."""
    try:
        low, high = line.limits()
    except GradationError:
        return False
    ends = [end for end in (low, high) if end is not None]
    return all(0 <= end <= WHOLE_PCT for end in ends) and (len(ends) < 2 or ends[0] <= ends[1])


def band_of(label: str, lines: Sequence[EnvelopeLine]) -> Band | None:
    """Give the band between the limits, in % passing."""
    limits = tuple(_limit(line) for line in _drawable(lines) if line.limits() != (None, None))
    return Band(label, limits) if limits else None


def _limit(line: EnvelopeLine) -> BandLimit:
    low, high = line.limits()
    if line.kind is LineKind.RETAINED:
        low, high = _rest(high), _rest(low)
    return BandLimit(
        float(line.aperture_um or 0),
        None if low is None else float(low),
        None if high is None else float(high),
    )


def _rest(limit: Decimal | None) -> Decimal | None:
    return None if limit is None else WHOLE_PCT - limit


def target_of(lines: Sequence[EnvelopeLine]) -> Curve | None:
    """Give the curve through the targets, in % passing."""
    points = tuple(
        CurvePoint(float(line.aperture_um or 0), float(_as_passing(line, line.target)))
        for line in _drawable(lines)
        if line.target is not None
    )
    return Curve("target", points) if points else None


def _as_passing(line: EnvelopeLine, figure: Decimal) -> Decimal:
    return WHOLE_PCT - figure if line.kind is LineKind.RETAINED else figure
