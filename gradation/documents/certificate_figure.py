"""The certificate's curve, drawn from the reported figures so that it agrees with the table."""

from collections.abc import Iterator

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _noop

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
from gradation.documents.certificate_content import (
    CertificateContent,
    ResultRow,
    ResultTable,
    Verdict,
)
from gradation.documents.certificate_table import strip_of
from gradation.documents.figures import as_number
from gradation.language import localized


def certificate_figure(content: CertificateContent) -> GradationFigure:
    """Return the figure of all result tables, the first one with envelope and failing points."""
    first = content.results[0].rows if content.results else ()
    names = {it.aperture_mm: it.designation for it in content.rows()}
    return GradationFigure(
        title=gettext("Sample %(number)s") % {"number": content.sample.number},
        curves=tuple(_curve(table) for table in content.results),
        band=_band(content, first),
        target=_target(first),
        failing=tuple(_failing(first)),
        sieves=tuple(SieveName(_um(mm), localized(name)) for mm, name in names.items()),
        scale=Scale(content.chart.scale),
        direction=Direction(content.chart.direction),
        retained_axis=content.chart.retained_axis,
    )


def _um(aperture_mm: str) -> float:
    return float(aperture_mm) * 1000


def _curve(table: ResultTable) -> Curve:
    points = (
        CurvePoint(_um(row.aperture_mm), passing, as_number(row.uncertainty_pct))
        for row in table.rows
        if (passing := as_number(row.passing_pct)) is not None
    )
    return Curve(table.label, tuple(points))


def _band(content: CertificateContent, rows: tuple[ResultRow, ...]) -> Band | None:
    limits = tuple(
        BandLimit(_um(row.aperture_mm), as_number(row.lower_pct), as_number(row.upper_pct))
        for row in rows
        if row.lower_pct or row.upper_pct
    )
    names = [
        gettext("%(specification)s, version %(version)s")
        % {"specification": it.specification, "version": it.version}
        for it in content.conformity
    ]
    return Band(names[0] if names else gettext("Specified limits"), limits) if limits else None


def _target(rows: tuple[ResultRow, ...]) -> Curve | None:
    points = tuple(
        CurvePoint(_um(row.aperture_mm), target)
        for row in rows
        if (target := as_number(row.target_pct)) is not None
    )
    return Curve(gettext("Target"), points) if points else None


_SIDES = {
    Side.ABOVE: _noop("%(sieve)s: %(passing)s above %(limit)s"),
    Side.BELOW: _noop("%(sieve)s: %(passing)s below %(limit)s"),
}


def _failing(rows: tuple[ResultRow, ...]) -> Iterator[FailingPoint]:
    for row in rows:
        strip = strip_of(row)
        side = strip.side()
        if row.verdict is Verdict.OUTSIDE and side and strip.passing_pct is not None:
            limit = row.upper_pct if side is Side.ABOVE else row.lower_pct
            words = localized(
                gettext(_SIDES[side])
                % {"sieve": row.designation, "passing": row.passing_pct, "limit": limit}
            )
            yield FailingPoint(_um(row.aperture_mm), strip.passing_pct, side, words)
