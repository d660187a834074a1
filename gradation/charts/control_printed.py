"""A control chart for paper: SVG written by hand, no browser and no style sheet needed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from gradation.charts.control import Bound, BoundKind, ControlFigure, Flagged, Panel
from gradation.charts.legend import CHARACTER_PX, ROW_PX, TEXT_PX
from gradation.charts.markers import markers, path
from gradation.charts.markup import cut, element, label, number, picture
from gradation.charts.palette import INK, MADDER, QUIET, RULE, SANS, SLATE, UMBER, curve_style
from gradation.charts.printed import PX_PER_MM
from gradation.charts.series import Span, even_marks

__all__ = ["control_svg"]

_LEFT_PX, _RIGHT_PX, _TOP_PX, _FOOT_PX, _BETWEEN_PX = 52.0, 84.0, 8.0, 34.0, 16.0
_FIRST_SHARE = 0.68
_LONGEST_WORDS = 60
_WORDS_BESIDE = 18
_MOST_MARKERS = 250
_KEY_CHARACTERS = 28
_RING_PX = 4.4
_LOOKS = {
    BoundKind.CENTRE: (QUIET, "4 3"),
    BoundKind.LIMIT: (MADDER, "none"),
    BoundKind.SPECIFICATION: (SLATE, "8 3 2 3"),
}


@dataclass(frozen=True)
class _Plot:
    """One panel's rectangle inside the axes, in px, and the way into it."""

    panel: Panel
    along: Span
    values: Span
    top: float
    width: float
    height: float

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


def control_svg(figure: ControlFigure, width_mm: float, height_mm: float) -> str:
    """Return `figure` as one SVG element of the given size on paper."""
    width, height = width_mm * PX_PER_MM, height_mm * PX_PER_MM
    plots = list(_plots(figure, width, height - _FOOT_PX * (1.5 if figure.events else 1.0)))
    layers: tuple[Callable[[_Plot], str], ...] = (_grid, _bounds, _frame, _tracks, _flags, _axis)
    drawn = "".join(layer(plot) for plot in plots for layer in layers)
    drawn += _events(figure, plots) + _foot(figure, plots[-1]) + _key(figure, plots[0])
    body = element("g", drawn, font_family=SANS, font_size=TEXT_PX, fill=INK)
    return picture(body, width, height, figure.described())


def _plots(figure: ControlFigure, width: float, height: float) -> Iterator[_Plot]:
    inner = width - _LEFT_PX - _RIGHT_PX
    whole = height - _TOP_PX
    shares = (1.0,) if len(figure.panels) == 1 else (_FIRST_SHARE, 1 - _FIRST_SHARE)
    room = whole - _BETWEEN_PX * (len(shares) - 1)
    top = _TOP_PX
    for panel, share in zip(figure.panels, shares, strict=True):
        yield _Plot(panel, figure.along(), panel.span(), top, inner, room * share)
        top += room * share + _BETWEEN_PX


def _grid(plot: _Plot) -> str:
    lines = "".join(
        f"M{number(_LEFT_PX)} {number(plot.y(mark.at))}h{number(plot.width)}"
        for mark in even_marks(plot.values)
    )
    return element("path", d=lines, stroke=RULE, stroke_width=0.6, fill="none")


def _frame(plot: _Plot) -> str:
    corner = f"M{number(_LEFT_PX)} {number(plot.top)}"
    box = f"{corner}H{number(plot.right)}V{number(plot.foot)}H{number(_LEFT_PX)}Z"
    return element("path", d=box, fill="none", stroke=INK, stroke_width=0.9)


def _bounds(plot: _Plot) -> str:
    return "".join(_bound(plot, bound) for bound in plot.panel.bounds)


def _bound(plot: _Plot, bound: Bound) -> str:
    colour, dash = _LOOKS[bound.kind]
    places = [(plot.x(at), plot.y(value)) for at, value in zip(bound.at, bound.value, strict=True)]
    line = element("path", d=path(places), stroke=colour, stroke_dasharray=dash, fill="none")
    is_left = bound.kind is BoundKind.SPECIFICATION
    x, lift = (_LEFT_PX + 4, -3) if is_left else (plot.right + 4, 3)
    words = cut(bound.text, _LONGEST_WORDS if is_left else _WORDS_BESIDE)
    return line + label(x, places[-1][1] + lift, words, fill=colour)


def _tracks(plot: _Plot) -> str:
    drawn = ""
    for i, track in enumerate(plot.panel.tracks):
        style = curve_style(i)
        pairs = zip(track.at, track.value, strict=True)
        places = [(plot.x(at), plot.y(value)) for at, value in pairs]
        few = len(places) <= _MOST_MARKERS
        width = 1.1 if few else 0.5
        drawn += element("path", d=path(places), fill="none", stroke_width=width, **style.line())
        drawn += markers(style, places, 2.0) if few else ""
    return drawn


def _flags(plot: _Plot) -> str:
    return "".join(_rings(plot, each) for each in plot.panel.flagged)


def _rings(plot: _Plot, each: Flagged) -> str:
    turn = f"a{_RING_PX} {_RING_PX} 0 1 0 "
    rings = "".join(
        f"M{number(plot.x(at) - _RING_PX)} {number(plot.y(value))}"
        f"{turn}{2 * _RING_PX} 0{turn}{-2 * _RING_PX} 0Z"
        for at, value in zip(each.at, each.value, strict=True)
    )
    return element("path", d=rings, fill="none", stroke=MADDER, stroke_width=1.2)


def _axis(plot: _Plot) -> str:
    drawn = "".join(
        label(_LEFT_PX - 5, plot.y(mark.at) + 3, mark.text, text_anchor="end")
        for mark in even_marks(plot.values)
    )
    turned = f"translate(10 {number(plot.top + plot.height / 2)}) rotate(-90)"
    return drawn + label(0, 0, plot.panel.title, text_anchor="middle", transform=turned)


def _events(figure: ControlFigure, plots: list[_Plot]) -> str:
    """Draw an upright at each event, with its number at the foot; the page lists the words."""
    drawn = ""
    for count, event in enumerate(figure.events, start=1):
        x = plots[0].x(event.at)
        line = f"M{number(x)} {number(plots[0].top)}V{number(plots[-1].foot + 4)}"
        drawn += element("path", d=line, stroke=UMBER, stroke_dasharray="1.5 2", fill="none")
        low = plots[-1].foot + 14
        drawn += label(x, low, str(count), text_anchor="middle", fill=UMBER)
    return drawn


def _foot(figure: ControlFigure, plot: _Plot) -> str:
    down = plot.foot + (_FOOT_PX * 0.5 if figure.events else 0.0)
    places = [(plot.x(mark.at), mark.text) for mark in figure.marks]
    strokes = "".join(f"M{number(x)} {number(plot.foot)}v3.5" for x, _ in places)
    drawn = element("path", d=strokes, stroke=INK, stroke_width=0.8)
    drawn += "".join(label(x, down + 13, text, text_anchor="middle") for x, text in places)
    middle = _LEFT_PX + plot.width / 2
    return drawn + label(middle, down + 27, figure.along_title, text_anchor="middle")


def _key(figure: ControlFigure, plot: _Plot) -> str:
    """Name the groups, each with its line and marker, where there are several."""
    tracks = figure.panels[0].tracks
    if len(tracks) < 2:
        return ""
    drawn, x = "", _LEFT_PX + 8
    for i, track in enumerate(tracks):
        style, y = curve_style(i), plot.top + 12 + i * ROW_PX
        stroke = f"M{number(x)} {number(y - 3)}h24"
        drawn += element("path", d=stroke, fill="none", stroke_width=1.2, **style.line())
        drawn += markers(style, [(x + 12, y - 3)])
        words = cut(track.label, _KEY_CHARACTERS)
        drawn += element(
            "rect", x=x + 27, y=y - 9, width=len(words) * CHARACTER_PX, height=11, fill="#FFFFFF"
        )
        drawn += label(x + 29, y, words)
    return drawn
