"""A curve small enough for a list row: envelope and line, no words."""

from dataclasses import dataclass

from gradation.charts.axes import ApertureAxis, aperture_axis, passing_at
from gradation.charts.figure import Curve, GradationFigure
from gradation.charts.markers import notch, path
from gradation.charts.markup import Look, element, number, picture
from gradation.charts.palette import PALE_LICHEN, STRONG_RULE, CurveStyle, curve_style


@dataclass(frozen=True)
class _Small:
    figure: GradationFigure
    axis: ApertureAxis
    width: float
    height: float

    def at(self, aperture_um: float, passing_pct: float) -> tuple[float, float]:
        down = 1 - passing_at(passing_pct, self.figure.scale)
        across = self.axis.at(aperture_um)
        return 1 + across * (self.width - 2), 2 + down * (self.height - 4)


def thumbnail(figure: GradationFigure, width: float = 96, height: float = 36) -> str:
    """Return `figure` in `width` by `height` px, failing points as notches."""
    small = _Small(figure, aperture_axis(figure), width, height)
    corner = f"M1 1V{number(height - 1)}H{number(width - 1)}"
    frame = element("path", d=corner, fill="none", stroke=STRONG_RULE, stroke_width=0.8)
    lines = [_line(small, curve, curve_style(i)) for i, curve in enumerate(figure.curves)]
    notches = (
        notch(*small.at(it.aperture_um, it.passing_pct), it.side, 4) for it in figure.failing
    )
    drawn = (_band(small), frame, *reversed(lines), *notches)
    return picture("".join(drawn), width, height, figure.described())


def _band(small: _Small) -> str:
    limits = small.figure.band.ordered() if small.figure.band else ()
    upper = [small.at(it.aperture_um, it.upper()) for it in limits]
    lower = [small.at(it.aperture_um, it.lower()) for it in limits]
    outline = path(upper + lower[::-1], closed=True)
    look: Look = {"fill": PALE_LICHEN, "stroke": STRONG_RULE, "stroke_width": 0.5}
    return element("path", d=outline, **look) if limits else ""


def _line(small: _Small, curve: Curve, style: CurveStyle) -> str:
    places = [small.at(it.aperture_um, it.passing_pct) for it in curve.drawn()]
    return element("path", d=path(places), fill="none", stroke_width=1.3, **style.line())
