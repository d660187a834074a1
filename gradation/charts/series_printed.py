"""A chart of a series for paper: SVG written by hand, no browser and no style sheet needed."""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil

from gradation.charts.legend import CHARACTER_PX, ROW_PX, TEXT_PX
from gradation.charts.markers import markers, path
from gradation.charts.markup import cut, element, label, number, picture
from gradation.charts.palette import (
    INK,
    MADDER,
    PALE_LICHEN,
    QUIET,
    RULE,
    SANS,
    STRONG_RULE,
    UMBER,
    CurveStyle,
    curve_style,
)
from gradation.charts.printed import PX_PER_MM
from gradation.charts.series import (
    LevelKind,
    Series,
    SeriesFigure,
    SeriesPoint,
    Span,
    along_marks,
    even_marks,
    spans_of,
)

_LEFT_PX, _RIGHT_PX, _TOP_PX, _FOOT_PX = 52.0, 10.0, 8.0, 34.0
#: Room at the right for the words on levels that stand beyond their end, and how many fit.
_BESIDE_PX, _WORDS_BESIDE = 62.0, 13
_LONGEST_WORDS = 70
_KEY_WIDTH_PX = 29 + 24 * CHARACTER_PX
_KEY_GAP_PX = 8.0


@dataclass(frozen=True)
class _Plot:
    """The rectangle inside the axes, in px, and the way into it."""

    figure: SeriesFigure
    along: Span
    values: Span
    width: float
    height: float
    top: float = _TOP_PX

    def x(self, at: float) -> float:
        return _LEFT_PX + self.along.share(at) * self.width

    def y(self, value: float) -> float:
        return self.top + (1 - self.values.share(value)) * self.height

    @property
    def right(self) -> float:
        return _LEFT_PX + self.width

    @property
    def foot(self) -> float:
        return self.top + self.height


def series_svg(figure: SeriesFigure, width_mm: float, height_mm: float) -> str:
    """Return `figure` as one SVG element of the given size on paper."""
    width, height = width_mm * PX_PER_MM, height_mm * PX_PER_MM
    right = _BESIDE_PX if figure.has_words_beside else _RIGHT_PX
    across = width - _LEFT_PX - right
    top = _TOP_PX + _key_rows(figure, across) * ROW_PX
    plot = _Plot(figure, *spans_of(figure), across, height - top - _FOOT_PX, top)
    layers: tuple[Callable[[_Plot], str], ...] = (_grid, _trend, _levels, _frame, _all, _axes)
    drawn = "".join(layer(plot) for layer in layers)
    body = element("g", drawn, font_family=SANS, font_size=TEXT_PX, fill=INK)
    return picture(body, width, height, figure.described())


def _grid(plot: _Plot) -> str:
    level = "".join(
        f"M{number(_LEFT_PX)} {number(plot.y(mark.at))}h{number(plot.width)}"
        for mark in even_marks(plot.values)
    )
    return element("path", d=level, stroke=RULE, stroke_width=0.6, fill="none")


def _frame(plot: _Plot) -> str:
    corner = f"M{number(_LEFT_PX)} {number(plot.top)}"
    box = f"{corner}H{number(plot.right)}V{number(plot.foot)}H{number(_LEFT_PX)}Z"
    return element("path", d=box, fill="none", stroke=INK, stroke_width=0.9)


def _trend(plot: _Plot) -> str:
    trend = plot.figure.trend
    if trend is None:
        return ""
    upper = [(plot.x(at), plot.y(high)) for at, _, high in trend.band]
    lower = [(plot.x(at), plot.y(low)) for at, low, _ in trend.band]
    shade = path(upper + lower[::-1], closed=True)
    line = path([(plot.x(at), plot.y(value)) for at, value in trend.line])
    drawn = element("path", d=shade, fill=PALE_LICHEN, stroke="none") if trend.band else ""
    drawn += element("path", d=line, fill="none", stroke=UMBER, stroke_dasharray="6 3")
    return drawn + _reach(plot)


def _reach(plot: _Plot) -> str:
    """Draw where the trend meets its limit, and say it at the foot."""
    reach = plot.figure.trend.reach if plot.figure.trend else None
    if reach is None:
        return ""
    x = plot.x(reach.at)
    upright = f"M{number(x)} {number(plot.top)}V{number(plot.foot)}"
    words = cut(reach.text, _LONGEST_WORDS)
    drawn = element("path", d=upright, stroke=UMBER, stroke_dasharray="1.5 2", fill="none")
    drawn += label(x - 4, plot.foot - 6, words, text_anchor="end", fill=UMBER)
    if reach.earliest is None or reach.latest is None:
        return drawn
    ends = [min(max(plot.x(end), _LEFT_PX), plot.right) for end in (reach.earliest, reach.latest)]
    bar = f"M{number(ends[0])} {number(plot.foot - 1.5)}H{number(ends[1])}"
    return drawn + element("path", d=bar, stroke=STRONG_RULE, stroke_width=3)


def _levels(plot: _Plot) -> str:
    drawn = ""
    for level in plot.figure.levels:
        limit = level.kind is LevelKind.LIMIT
        colour, y = (MADDER if limit else QUIET), plot.y(level.value)
        line = f"M{number(_LEFT_PX)} {number(y)}H{number(plot.right)}"
        dash = "none" if limit else "4 3"
        drawn += element("path", d=line, stroke=colour, stroke_dasharray=dash, fill="none")
        if plot.figure.has_words_beside:
            words = cut(level.text, _WORDS_BESIDE)
            drawn += label(plot.right + 4, y + 3, words, text_anchor="start", fill=colour)
            continue
        x, anchor = (_LEFT_PX + 4, "start") if limit else (plot.right - 4, "end")
        words = cut(level.text, _LONGEST_WORDS)
        drawn += label(x, y - 3, words, text_anchor=anchor, fill=colour)
    return drawn


def _all(plot: _Plot) -> str:
    drawn = [_series(plot, each, curve_style(i)) for i, each in enumerate(plot.figure.series)]
    return "".join(reversed(drawn)) + _key(plot)


def _key_rows(figure: SeriesFigure, across: float) -> int:
    """Count the rows of the key; it stands above the frame, where no point can lie."""
    count = len(figure.series)
    return 0 if count < 2 else ceil(count / _key_columns(across))


def _key_columns(across: float) -> int:
    return max(1, int(across // (_KEY_WIDTH_PX + _KEY_GAP_PX)))


def _key(plot: _Plot) -> str:
    """Name the series, each with its line and marker, where there are several."""
    if len(plot.figure.series) < 2:
        return ""
    drawn, columns = "", _key_columns(plot.width)
    for i, each in enumerate(plot.figure.series):
        row, column = divmod(i, columns)
        style, y = curve_style(i), _TOP_PX + 4 + row * ROW_PX
        x = _LEFT_PX + column * (_KEY_WIDTH_PX + _KEY_GAP_PX)
        stroke = f"M{number(x)} {number(y - 3)}h24"
        if each.joined:
            drawn += element("path", d=stroke, fill="none", stroke_width=1.2, **style.line())
        drawn += markers(style, [(x + 12, y - 3)])
        drawn += label(x + 29, y, cut(each.label, 24))
    return drawn


def _series(plot: _Plot, series: Series, style: CurveStyle) -> str:
    places = [(plot.x(point.at), plot.y(point.value)) for point in series.points]
    line = ""
    if series.joined and len(places) > 1:
        line = element("path", d=path(places), fill="none", stroke_width=1.2, **style.line())
    rings = "".join(_ring(plot, point) for point in series.points if point.is_outside)
    return line + _whiskers(plot, series, style) + markers(style, places) + rings


def _ring(plot: _Plot, point: SeriesPoint) -> str:
    look: dict[str, str | float] = {"fill": "none", "stroke": MADDER, "stroke_width": 1.2}
    return element("circle", cx=plot.x(point.at), cy=plot.y(point.value), r=4.8, **look)


def _whiskers(plot: _Plot, series: Series, style: CurveStyle) -> str:
    bars = "".join(
        f"M{number(plot.x(point.at))} {number(plot.y(point.spread()[0]))}"
        f"V{number(plot.y(point.spread()[1]))}"
        for point in series.points
        if point.uncertainty
    )
    return element("path", d=bars, stroke=style.colour, stroke_width=1) if bars else ""


def _axes(plot: _Plot) -> str:
    foot = [(plot.x(mark.at), mark.text) for mark in along_marks(plot.figure, plot.along)]
    strokes = "".join(f"M{number(x)} {number(plot.foot)}v3.5" for x, _ in foot)
    drawn = element("path", d=strokes, stroke=INK, stroke_width=0.8)
    drawn += "".join(label(x, plot.foot + 13, text, text_anchor="middle") for x, text in foot)
    drawn += "".join(
        label(_LEFT_PX - 5, plot.y(mark.at) + 3, mark.text, text_anchor="end")
        for mark in even_marks(plot.values)
    )
    middle = _LEFT_PX + plot.width / 2
    drawn += label(middle, plot.foot + 27, plot.figure.along_title, text_anchor="middle")
    turned = f"translate(10 {number(plot.top + plot.height / 2)}) rotate(-90)"
    words = plot.figure.value_title
    return drawn + label(0, 0, words, text_anchor="middle", transform=turned)
