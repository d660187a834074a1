"""A gradation chart for paper: SVG written by hand, no browser and no style sheet needed."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from django.utils.translation import gettext

from gradation.charts.axes import (
    ApertureAxis,
    Bar,
    Tick,
    ValueAxis,
    aperture_axis,
    bars_of,
    spaced,
    value_axis,
)
from gradation.charts.figure import (
    BandLimit,
    Curve,
    FailingPoint,
    GradationFigure,
    Quantity,
    Side,
    SieveName,
)
from gradation.charts.legend import CHARACTER_PX, ROW_PX, TEXT_PX, legend, legend_rows
from gradation.charts.markers import markers, notch, path
from gradation.charts.markup import Look, cut, element, label, number, picture
from gradation.charts.palette import (
    INK,
    MADDER,
    PALE_LICHEN,
    PAPER,
    RULE,
    SANS,
    STRONG_RULE,
    TARGET_STYLE,
    CurveStyle,
    curve_style,
)

PX_PER_MM = 96 / 25.4  # CSS: 96 px to the inch
_LEFT_PX = 34.0
_LEAST_BETWEEN_NAMES_PX = 8.0
_CROWDED = 20  # sieves; with more, their uprights are drawn paler than the curve
_LONGEST_NAME = 20  # characters
_LONGEST_WORDS = 60


@dataclass(frozen=True)
class _Plot:
    """The rectangle inside the axes, in px, and the way into it from sizes and passing."""

    figure: GradationFigure
    axis: ApertureAxis
    upright: ValueAxis
    top: float
    width: float
    height: float
    left: float = _LEFT_PX

    def x(self, aperture_um: float) -> float:
        return self.left + self.axis.at(aperture_um) * self.width

    def y(self, passing_pct: float) -> float:
        return self.top + (1 - self.upright.at(passing_pct)) * self.height

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def foot(self) -> float:
        return self.top + self.height


def svg(figure: GradationFigure, width_mm: float, height_mm: float) -> str:
    """Return `figure` as one SVG element of the given size on paper."""
    width, height = width_mm * PX_PER_MM, height_mm * PX_PER_MM
    axis = aperture_axis(figure)
    inner = width - _LEFT_PX - (34 if figure.retained_axis else 10)
    rows = legend_rows(figure, inner)
    top = _names_height(figure, axis, inner) + 6
    tall = height - top - 31 - ROW_PX * len(rows)
    plot = _Plot(figure, axis, value_axis(figure), top, inner, tall)
    shown = _bars if figure.quantity is Quantity.RETAINED else _curves
    layers = (_band_fill, _grid, _band_lines, _frame, shown, _failing, _names, _foot, _sides)
    drawn = "".join(layer(plot) for layer in layers) + legend(rows, _LEFT_PX, plot.foot + 40)
    body = element("g", drawn, font_family=SANS, font_size=TEXT_PX, fill=INK)
    return picture(body, width, height, figure.described())


def _uprights(plot: _Plot, xs: Iterable[float], colour: str, width: float) -> str:
    strokes = "".join(f"M{number(x)} {number(plot.top)}V{number(plot.foot)}" for x in xs)
    return element("path", d=strokes, stroke=colour, stroke_width=width, fill="none")


def _grid(plot: _Plot) -> str:
    minor = (plot.left + at * plot.width for at in plot.axis.minor())
    named = (plot.x(sieve.aperture_um) for sieve in plot.figure.sieves)
    level = "".join(
        f"M{number(plot.left)} {number(plot.y(passing))}h{number(plot.width)}"
        for passing, _ in plot.upright.ticks()
    )
    across = element("path", d=level, stroke=RULE, stroke_width=0.6, fill="none")
    if plot.figure.quantity is Quantity.DIFFERENCE:
        nought = f"M{number(plot.left)} {number(plot.y(0))}h{number(plot.width)}"
        across += element("path", d=nought, stroke=INK, stroke_width=0.9, fill="none")
    fine = _uprights(plot, minor, RULE, 0.3)
    crowded = len(plot.figure.sieves) > _CROWDED
    return fine + across + _uprights(plot, named, RULE if crowded else STRONG_RULE, 0.35)


def _frame(plot: _Plot) -> str:
    corner = f"M{number(plot.left)} {number(plot.top)}"
    box = f"{corner}H{number(plot.right)}V{number(plot.foot)}H{number(plot.left)}Z"
    return element("path", d=box, fill="none", stroke=INK, stroke_width=0.9)


def _limits(plot: _Plot) -> tuple[BandLimit, ...]:
    return plot.figure.band.ordered() if plot.figure.band else ()


def _band_fill(plot: _Plot) -> str:
    upper = [(plot.x(it.aperture_um), plot.y(it.upper())) for it in _limits(plot)]
    lower = [(plot.x(it.aperture_um), plot.y(it.lower())) for it in _limits(plot)]
    outline = path(upper + lower[::-1], closed=True)
    return element("path", d=outline, fill=PALE_LICHEN, stroke="none") if upper else ""


def _band_lines(plot: _Plot) -> str:
    """Draw the given limits, and a short bar at each specified sieve: only there do they hold."""
    upper = [
        (plot.x(it.aperture_um), plot.y(it.maximum_pct))
        for it in _limits(plot)
        if it.maximum_pct is not None
    ]
    lower = [
        (plot.x(it.aperture_um), plot.y(it.minimum_pct))
        for it in _limits(plot)
        if it.minimum_pct is not None
    ]
    bars = "".join(f"M{number(x - 3)} {number(y)}h6" for x, y in upper + lower)
    edges = path(upper) + path(lower)
    look: Look = {"stroke": STRONG_RULE, "fill": "none"}
    thin = element("path", d=edges, stroke_width=0.9, **look)
    return thin + element("path", d=bars, stroke_width=2, **look)


def _curves(plot: _Plot) -> str:
    """Draw the target lowest and the first curve on top."""
    target = plot.figure.target
    below = _line(plot, target, TARGET_STYLE) if target else ""
    drawn = [_curve(plot, it, _style(it, i)) for i, it in enumerate(plot.figure.curves)]
    return below + "".join(reversed(drawn))


def _style(curve: Curve, place: int) -> CurveStyle:
    return curve_style(place if curve.look is None else curve.look)


def _bars(plot: _Plot) -> str:
    drawn = bars_of(plot.figure, plot.axis)
    return "".join(_bars_of_one(plot, bars, curve_style(i)) for i, bars in enumerate(drawn))


def _bars_of_one(plot: _Plot, bars: tuple[Bar, ...], style: CurveStyle) -> str:
    """Draw bars whose fill, edge and marker on top tell the curves apart without colour."""
    boxes = ""
    for bar in bars:
        left, right = (plot.left + end * plot.width for end in (bar.left, bar.right))
        top = plot.foot - bar.top * plot.height
        boxes += path([(left, plot.foot), (left, top), (right, top), (right, plot.foot)])
    middles = [
        (plot.left + (bar.left + bar.right) / 2 * plot.width, plot.foot - bar.top * plot.height)
        for bar in bars
    ]
    fill = PAPER if style.dash else style.colour
    boxed = element("path", d=boxes, fill=fill, stroke_width=1, **style.line())
    return boxed + markers(style, middles, radius=2.0)


def _line(plot: _Plot, curve: Curve, style: CurveStyle) -> str:
    places = [(plot.x(it.aperture_um), plot.y(it.passing_pct)) for it in curve.drawn()]
    width = 0.9 if curve.fitted and curve.look is not None else 1.5
    return element("path", d=path(places), fill="none", stroke_width=width, **style.line())


def _curve(plot: _Plot, curve: Curve, style: CurveStyle) -> str:
    line = _line(plot, curve, style)
    if curve.fitted:
        return line
    places = (
        (plot.x(it.aperture_um), plot.y(it.passing_pct)) for it in curve.drawn() if not it.is_corner
    )
    return line + _whiskers(plot, curve, style) + markers(style, places)


def _whiskers(plot: _Plot, curve: Curve, style: CurveStyle) -> str:
    spreads = ((it.aperture_um, it.spread()) for it in curve.drawn() if it.uncertainty_pct)
    bars = "".join(
        f"M{number(plot.x(aperture_um))} {number(plot.y(low))}V{number(plot.y(high))}"
        for aperture_um, (low, high) in spreads
    )
    return element("path", d=bars, stroke=style.colour, stroke_width=1) if bars else ""


def _failing(plot: _Plot) -> str:
    return "".join(_failing_mark(plot, point) for point in plot.figure.failing)


def _failing_mark(plot: _Plot, point: FailingPoint) -> str:
    """Draw ring, notch and words, the words on the side that is exceeded."""
    x, y = plot.x(point.aperture_um), plot.y(point.passing_pct)
    away = -1 if point.side is Side.ABOVE else 1
    ring = element("circle", cx=x, cy=y, r=4.6, fill="none", stroke=MADDER, stroke_width=1.2)
    wedge = notch(x, y + 5 * away, point.side)
    return (
        ring
        + wedge
        + _failing_words(plot, cut(point.text, _LONGEST_WORDS), x, y + (-14 if away < 0 else 20))
    )


def _failing_words(plot: _Plot, text: str, x: float, y: float) -> str:
    width = len(text) * CHARACTER_PX + 4
    x = min(max(x, plot.left + width / 2 + 2), plot.right - width / 2 - 2)
    y = min(max(y, plot.top + 10), plot.foot - 4)
    halo = element("rect", x=x - width / 2, y=y - 8, width=width, height=10.5, fill=PAPER)
    return halo + label(x, y, text, text_anchor="middle", fill=MADDER, font_weight="600")


def _name(sieve: SieveName) -> str:
    return cut(sieve.name, _LONGEST_NAME)


def _names_upright(figure: GradationFigure, axis: ApertureAxis, width: float) -> bool:
    """Return whether the sieve names are too close to stand side by side."""
    ends = sorted((axis.at(it.aperture_um) * width, len(_name(it))) for it in figure.sieves)
    return any(
        right - left < (before + after) / 2 * CHARACTER_PX + 4
        for (left, before), (right, after) in pairwise(ends)
    )


def _names_height(figure: GradationFigure, axis: ApertureAxis, width: float) -> float:
    longest = max((len(_name(sieve)) for sieve in figure.sieves), default=0)
    return longest * CHARACTER_PX + 6 if _names_upright(figure, axis, width) else 14


def _names(plot: _Plot) -> str:
    named = [Tick(plot.axis.at(it.aperture_um), _name(it)) for it in plot.figure.sieves]
    places = [
        (plot.left + it.at * plot.width, it.text)
        for it in spaced(named, _LEAST_BETWEEN_NAMES_PX / plot.width)
    ]
    y = plot.top - 6
    if not _names_upright(plot.figure, plot.axis, plot.width):
        return "".join(label(x, y, name, text_anchor="middle") for x, name in places)
    return "".join(
        label(0, 0, name, transform=f"translate({number(x + 3)} {number(y)}) rotate(-90)")
        for x, name in places
    )


def _foot(plot: _Plot) -> str:
    ticks = plot.axis.ticks()
    room = (max(len(it.text) for it in ticks) + 1) * CHARACTER_PX / plot.width
    marks = [(plot.left + it.at * plot.width, it.text) for it in spaced(ticks, room)]
    strokes = "".join(f"M{number(x)} {number(plot.foot)}v3.5" for x, _ in marks)
    texts = (label(x, plot.foot + 13, text, text_anchor="middle") for x, text in marks)
    middle = plot.left + plot.width / 2
    title = label(middle, plot.foot + 25, plot.axis.title(), text_anchor="middle")
    return element("path", d=strokes, stroke=INK, stroke_width=0.8) + "".join(texts) + title


def _sides(plot: _Plot) -> str:
    ticks = plot.upright.ticks()
    middle = plot.top + plot.height / 2
    left = "".join(
        label(plot.left - 5, plot.y(at) + 3, tick.text, text_anchor="end") for at, tick in ticks
    )
    left += _sideways(10, middle, plot.upright.title())
    if not plot.figure.retained_axis:
        return left
    right = (label(plot.right + 5, plot.y(at) + 3, f"{100 - at:g}") for at, _ in ticks)
    return (
        left
        + "".join(right)
        + _sideways(plot.right + 31, middle, gettext("Cumulative retained, %"))
    )


def _sideways(x: float, y: float, text: str) -> str:
    turned = f"translate({number(x)} {number(y)}) rotate(-90)"
    return label(0, 0, text, text_anchor="middle", transform=turned)
