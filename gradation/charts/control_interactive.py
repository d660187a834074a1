"""A control chart for the browser, as the plain dictionary that plotly.js draws."""

from __future__ import annotations

from html import escape
from typing import Any

from gradation.charts import packing
from gradation.charts.control import Bound, BoundKind, ControlFigure, Event, Flagged, Panel, Track
from gradation.charts.palette import INK, MADDER, QUIET, RULE, SANS, SLATE, UMBER, curve_style
from gradation.charts.series import Span, even_marks

__all__ = ["plotly_control"]

_MARKERS = {"circle": "circle", "square": "square-open", "triangle": "triangle-up-open"}
#: More points than this are drawn as a line alone; the flagged ones keep their mark.
_MOST_MARKERS = 400
_LINES = {
    BoundKind.CENTRE: (QUIET, "4px,3px"),
    BoundKind.LIMIT: (MADDER, "solid"),
    BoundKind.SPECIFICATION: (SLATE, "8px,3px,2px,3px"),
}
#: One under the other: where each panel stands, foot and top, as shares of the height.
_ONE, _TWO = ((0.0, 1.0),), ((0.36, 1.0), (0.0, 0.27))
#: Room at the right for the words on the limits.
_WORDS_PX = 128
_FLAGS = ("x", "diamond-open", "star-open", "hexagon-open", "cross-thin-open")


def plotly_control(figure: ControlFigure) -> dict[str, Any]:
    """Return {'data': [...], 'layout': {...}, 'config': {...}} for Plotly.newPlot."""
    traces: list[dict[str, Any]] = []
    flags = 0
    for number, panel in enumerate(figure.panels):
        on = {"xaxis": "x", "yaxis": _axis_name(number)}
        traces += [{**trace, **on} for trace in _panel(panel, flags, is_first=not number)]
        flags += len(panel.flagged)
    if figure.events:
        traces.append(_events(figure))
    return {
        "data": traces,
        "layout": _layout(figure),
        "config": {"displaylogo": False, "responsive": True, "displayModeBar": False},
    }


def _axis_name(number: int) -> str:
    return "y" if not number else f"y{number + 1}"


def _plain(text: str) -> str:
    return escape(text, quote=False)


def _panel(panel: Panel, flags: int, *, is_first: bool) -> list[dict[str, Any]]:
    """Draw a panel; `flags` shapes of flagged points are taken by the panels before."""
    traces = [_bound(bound) for bound in panel.bounds]
    traces += [_track(track, i, is_named=is_first) for i, track in enumerate(panel.tracks)]
    return traces + [_flagged(each, flags + i) for i, each in enumerate(panel.flagged)]


def _bound(bound: Bound) -> dict[str, Any]:
    colour, dash = _LINES[bound.kind]
    return {
        "type": "scatter",
        "mode": "lines",
        "x": list(bound.at),
        "y": list(bound.value),
        "line": {"color": colour, "width": 1.3, "dash": dash, "shape": "linear"},
        "name": _plain(bound.text),
        "hovertemplate": f"{_plain(bound.text)}<extra></extra>",
        "showlegend": False,
    }


def _track(track: Track, position: int, *, is_named: bool) -> dict[str, Any]:
    style = curve_style(position)
    dash = ",".join(f"{step:g}px" for step in style.dash) or "solid"
    is_long = len(track.at) > _MOST_MARKERS
    return {
        "type": "scatter",
        "name": _plain(track.label),
        "mode": "lines" if is_long else "lines+markers",
        **packing.places(track.at),
        "y": packing.values(track.value),
        "line": {"color": style.colour, "width": 0.8 if is_long else 1.3, "dash": dash},
        "marker": {
            "symbol": _MARKERS.get(style.marker, "circle"),
            "size": 6,
            "color": style.colour,
        },
        "showlegend": is_named,
        **_hover(track.said),
    }


def _flagged(each: Flagged, position: int) -> dict[str, Any]:
    return {
        "type": "scatter",
        "name": _plain(each.reason),
        "mode": "markers",
        **packing.places(each.at),
        "y": packing.values(each.value),
        "marker": {
            "symbol": _FLAGS[position % len(_FLAGS)],
            "size": 11,
            "color": MADDER,
            "line": {"width": 1.6, "color": MADDER},
        },
        **_hover(each.said, f"<br>{_plain(each.reason)}"),
    }


def _hover(said: tuple[str, ...], more: str = "") -> dict[str, Any]:
    if not said:
        return {"hovertemplate": f"point %{{x}}: %{{y:.5~g}}{more}<extra></extra>"}
    texts = [_plain(text) for text in said]
    return {"text": texts, "hovertemplate": f"%{{text}}{more}<extra></extra>"}


def _events(figure: ControlFigure) -> dict[str, Any]:
    foot = figure.panels[0].span().low
    words = [_plain(f"{event.kind}: {event.words}") for event in figure.events]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "from the records",
        "x": [event.at for event in figure.events],
        "y": [foot] * len(words),
        "marker": {"symbol": "triangle-up", "size": 11, "color": UMBER},
        "text": words,
        "hovertemplate": "%{text}<extra></extra>",
        "cliponaxis": False,
        "xaxis": "x",
        "yaxis": "y",
    }


def _layout(figure: ControlFigure) -> dict[str, Any]:
    places = _ONE if len(figure.panels) == 1 else _TWO
    axes = {
        f"yaxis{number + 1 if number else ''}": _upright(panel, places[number])
        for number, panel in enumerate(figure.panels)
    }
    return {
        "font": {"family": SANS, "size": 13, "color": INK},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "margin": {"l": 68, "r": _WORDS_PX, "t": 16, "b": 56},
        "legend": {"orientation": "h", "y": -0.18, "traceorder": "normal"},
        "hovermode": "closest",
        "xaxis": _foot(figure, figure.along(), _axis_name(len(figure.panels) - 1)),
        **axes,
        "annotations": [
            _words(bound, _axis_name(number), figure.along())
            for number, panel in enumerate(figure.panels)
            for bound in panel.bounds
        ],
        "shapes": [_upright_line(event) for event in figure.events],
    }


def _foot(figure: ControlFigure, along: Span, anchor: str) -> dict[str, Any]:
    return {
        "title": {"text": _plain(figure.along_title)},
        "range": [along.low, along.high],
        "tickmode": "array",
        "tickvals": [mark.at for mark in figure.marks],
        "ticktext": [mark.text for mark in figure.marks],
        "anchor": anchor,
        "gridcolor": RULE,
        "linecolor": INK,
        "zeroline": False,
        "showline": True,
    }


def _upright(panel: Panel, place: tuple[float, float]) -> dict[str, Any]:
    span = panel.span()
    marks = even_marks(span)
    return {
        "title": {"text": _plain(panel.title)},
        "range": [span.low, span.high],
        "domain": list(place),
        "tickmode": "array",
        "tickvals": [mark.at for mark in marks],
        "ticktext": [mark.text for mark in marks],
        "gridcolor": RULE,
        "linecolor": INK,
        "zeroline": False,
        "showline": True,
    }


def _words(bound: Bound, axis: str, along: Span) -> dict[str, Any]:
    """Write a line's words beyond its right end, the specification's above its left."""
    is_left = bound.kind is BoundKind.SPECIFICATION
    return {
        "x": along.low if is_left else along.high,
        "y": bound.value[-1],
        "xref": "x",
        "yref": axis,
        "xanchor": "left",
        "yanchor": "bottom" if is_left else "middle",
        "text": _plain(bound.text),
        "showarrow": False,
        "font": {"size": 12, "color": _LINES[bound.kind][0]},
    }


def _upright_line(event: Event) -> dict[str, Any]:
    line = {"color": UMBER, "width": 1, "dash": "dot"}
    place = {"x0": event.at, "x1": event.at, "y0": 0, "y1": 1, "yref": "paper"}
    return {"type": "line", "layer": "below", "line": line, **place}
