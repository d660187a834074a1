"""A chart of a series for the browser, as the plain dictionary that plotly.js draws."""

from html import escape
from typing import Any

from gradation.charts.palette import (
    INK,
    MADDER,
    PALE_LICHEN,
    QUIET,
    RULE,
    SANS,
    STRONG_RULE,
    UMBER,
    curve_style,
)
from gradation.charts.series import (
    Level,
    LevelKind,
    Mark,
    Reach,
    Series,
    SeriesFigure,
    Span,
    Trend,
    along_marks,
    even_marks,
    spans_of,
)

_MARKERS = {"circle": "circle", "square": "square-open", "triangle": "triangle-up-open"}


def plotly_series(figure: SeriesFigure) -> dict[str, Any]:
    """Return {'data': [...], 'layout': {...}, 'config': {...}} for Plotly.newPlot."""
    along, values = spans_of(figure)
    traces = [*_trend(figure.trend), *(_level(level, along) for level in figure.levels)]
    traces += [_series(each, i) for i, each in enumerate(figure.series)]
    return {
        "data": traces,
        "layout": _layout(figure, along, values),
        "config": {"displaylogo": False, "responsive": True, "displayModeBar": False},
    }


def _plain(text: str) -> str:
    """Return `text` so that the chart library shows it as it stands, tags and all."""
    return escape(text, quote=False)


def _series(series: Series, position: int) -> dict[str, Any]:
    style = curve_style(position)
    dash = ",".join(f"{step:g}px" for step in style.dash) or "solid"
    trace: dict[str, Any] = {
        "type": "scatter",
        "name": _plain(series.label),
        "mode": "lines+markers" if series.joined else "markers",
        "x": [point.at for point in series.points],
        "y": [point.value for point in series.points],
        "line": {"color": style.colour, "width": 1.5, "dash": dash},
        "marker": {
            "symbol": [
                "x" if point.is_outside else _MARKERS.get(style.marker, "circle")
                for point in series.points
            ],
            "size": 9,
            "color": [MADDER if point.is_outside else style.colour for point in series.points],
        },
        "text": [_plain(point.said) for point in series.points],
        "hovertemplate": "%{text}<extra></extra>",
    }
    if any(point.uncertainty for point in series.points):
        halves = [point.uncertainty or 0.0 for point in series.points]
        trace["error_y"] = {"type": "data", "array": halves, "thickness": 1.2}
    return trace


def _level(level: Level, along: Span) -> dict[str, Any]:
    limit = level.kind is LevelKind.LIMIT
    line = {
        "color": MADDER if limit else QUIET,
        "width": 1.4,
        "dash": "solid" if limit else "4px,3px",
    }
    return {
        "type": "scatter",
        "mode": "lines",
        "name": _plain(level.text),
        "x": [along.low, along.high],
        "y": [level.value, level.value],
        "line": line,
        "text": [_plain(level.text)] * 2,
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
    }


def _trend(trend: Trend | None) -> list[dict[str, Any]]:
    if trend is None:
        return []
    edge: dict[str, Any] = {
        "type": "scatter",
        "mode": "lines",
        "x": [at for at, _, _ in trend.band],
        "line": {"color": PALE_LICHEN, "width": 0},
        "hoverinfo": "skip",
        "showlegend": False,
    }
    low = {**edge, "y": [low for _, low, _ in trend.band]}
    high = {**edge, "y": [high for _, _, high in trend.band]}
    shade = {"fill": "tonexty", "fillcolor": PALE_LICHEN}
    line = {
        "type": "scatter",
        "mode": "lines",
        "name": _plain(trend.label),
        "x": [at for at, _ in trend.line],
        "y": [value for _, value in trend.line],
        "line": {"color": UMBER, "width": 1.5, "dash": "6px,3px"},
        "hoverinfo": "skip",
    }
    return [low, {**high, **shade}, line] if trend.band else [line]


def _layout(figure: SeriesFigure, along: Span, values: Span) -> dict[str, Any]:
    return {
        "font": {"family": SANS, "size": 13, "color": INK},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "margin": {"l": 64, "r": 84 if figure.has_words_beside else 24, "t": 16, "b": 56},
        "legend": {"orientation": "h", "y": -0.18, "traceorder": "normal"},
        "hovermode": "closest",
        "xaxis": _axis(figure.along_title, along, along_marks(figure, along)),
        "yaxis": _axis(figure.value_title, values, even_marks(values)),
        "annotations": [_words(figure, level, along) for level in figure.levels] + _met(figure),
        "shapes": _interval(figure, values),
    }


def _axis(title: str, span: Span, marks: tuple[Mark, ...]) -> dict[str, Any]:
    return {
        "title": {"text": _plain(title)},
        "range": [span.low, span.high],
        "tickmode": "array",
        "tickvals": [mark.at for mark in marks],
        "ticktext": [mark.text for mark in marks],
        "gridcolor": RULE,
        "linecolor": INK,
        "zeroline": False,
        "showline": True,
    }


def _words(figure: SeriesFigure, level: Level, along: Span) -> dict[str, Any]:
    """Return the words on a level line: beyond it, or at its left end, the nominal's at the right.

    Where values stand beside kinds, there is always a point near either end of the line.
    """
    is_limit = level.kind is LevelKind.LIMIT
    is_beside = figure.has_words_beside
    is_left = is_limit and not is_beside
    return {
        "x": along.low if is_left else along.high,
        "y": level.value,
        "xanchor": "left" if is_left or is_beside else "right",
        "yanchor": "middle" if is_beside else "bottom",
        "text": _plain(level.text),
        "showarrow": False,
        "font": {"size": 12, "color": MADDER if is_limit else QUIET},
    }


def _reach(figure: SeriesFigure) -> Reach | None:
    return figure.trend.reach if figure.trend else None


def _met(figure: SeriesFigure) -> list[dict[str, Any]]:
    reach = _reach(figure)
    if reach is None or figure.trend is None:
        return []
    words = {"text": _plain(reach.text), "font": {"size": 12, "color": UMBER}}
    place = {"x": reach.at, "xanchor": "right", "y": 0, "yref": "paper", "yanchor": "bottom"}
    return [{**words, **place, "showarrow": False}]


def _interval(figure: SeriesFigure, values: Span) -> list[dict[str, Any]]:
    """Return the upright where the trend meets its limit, and the stretch it may be met in."""
    reach = _reach(figure)
    if reach is None:
        return []
    upright = {"type": "line", "x0": reach.at, "x1": reach.at, "y0": values.low, "y1": values.high}
    drawn: list[dict[str, Any]] = [{**upright, "line": {"color": UMBER, "width": 1, "dash": "dot"}}]
    if reach.earliest is not None and reach.latest is not None:
        stretch = {"type": "rect", "x0": reach.earliest, "x1": reach.latest, "y0": 0, "y1": 0.03}
        drawn.append({**stretch, "yref": "paper", "fillcolor": STRONG_RULE, "line": {"width": 0}})
    return drawn
