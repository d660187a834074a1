"""A gradation chart for the browser, as the plain dictionary that plotly.js draws.

Apertures are placed by our own axes and plotted on a plain linear axis, because the library has
no axis for the power 0.45 and none for probability paper; ticks and hover text carry the sizes.
"""

from html import escape
from typing import Any

from gradation.charts.axes import (
    ApertureAxis,
    Bar,
    Tick,
    ValueAxis,
    aperture_axis,
    bars_of,
    passing_at,
    spaced,
    value_axis,
)
from gradation.charts.figure import Curve, FailingPoint, GradationFigure, Quantity, Scale
from gradation.charts.palette import (
    INK,
    MADDER,
    PALE_LICHEN,
    QUIET,
    RULE,
    SANS,
    STRONG_RULE,
    TARGET_STYLE,
    CurveStyle,
    curve_style,
)

_LEAST_BETWEEN_NUMBERS = 0.04  # share of the axis
_LEAST_BETWEEN_NAMES = 0.02
_NAMES_SIDE_BY_SIDE = 8
_EDGE = 0.15  # nearer than this to an end, words beside a point would be cut off
_HIDDEN = {"hoverinfo": "skip", "showlegend": False, "opacity": 0}
# Only these buttons: none that would send a figure anywhere.
_CONFIG = {
    "displaylogo": False,
    "responsive": True,
    "modeBarButtons": [["zoom2d", "pan2d", "resetScale2d", "toImage"]],
}
_MARKERS = {
    "circle": "circle",
    "square": "square-open",
    "triangle": "triangle-up-open",
    "diamond": "diamond-open",
    "cross": "cross-thin-open",
}
_MARKER_PX = 8
_HATCHES = {"circle": "", "square": "/", "triangle": ".", "diamond": "x", "cross": "-"}


def plotly_figure(figure: GradationFigure) -> dict[str, Any]:
    """Return {'data': [...], 'layout': {...}, 'config': {...}} for Plotly.newPlot."""
    axis = aperture_axis(figure)
    traces = [*_band(figure, axis), *_target(figure, axis)]
    traces += _bars(figure, axis) if figure.quantity is Quantity.RETAINED else _curves(figure, axis)
    traces += _failing(figure, axis)
    if figure.sieves:
        traces.append({"x": [0.5], "y": [0.5], "xaxis": "x2", **_HIDDEN})
    if figure.retained_axis:
        traces.append({"x": [0.5], "y": [0.5], "yaxis": "y2", **_HIDDEN})
    return {"data": traces, "layout": _layout(figure, axis), "config": _CONFIG}


def _plain(text: str) -> str:
    """Return `text` so that the chart library shows it as it stands, tags and all."""
    return escape(text, quote=False)


def _sieve_name(figure: GradationFigure, aperture_um: float) -> str:
    names = (it.name for it in figure.sieves if it.aperture_um == aperture_um)
    return _plain(next(names, f"{aperture_um / 1000:g} mm"))


def _line(style: CurveStyle, width: float = 2.0) -> dict[str, Any]:
    dash = ",".join(f"{step:g}px" for step in style.dash) or "solid"
    return {"color": style.colour, "width": width, "dash": dash}


def _curves(figure: GradationFigure, axis: ApertureAxis) -> list[dict[str, Any]]:
    places = [i if it.look is None else it.look for i, it in enumerate(figure.curves)]
    return [
        _curve(figure, axis, it, curve_style(place))
        for it, place in zip(figure.curves, places, strict=True)
    ]


def _bars(figure: GradationFigure, axis: ApertureAxis) -> list[dict[str, Any]]:
    """Return one trace of bars for each curve, told apart by hatching as well as by colour."""
    drawn = zip(figure.curves, bars_of(figure, axis), strict=True)
    return [
        _bar_trace(figure, curve, bars, curve_style(i)) for i, (curve, bars) in enumerate(drawn)
    ]


def _bar_trace(
    figure: GradationFigure, curve: Curve, bars: tuple[Bar, ...], style: CurveStyle
) -> dict[str, Any]:
    hatch = {"shape": _HATCHES.get(style.marker, ""), "fgcolor": style.colour, "solidity": 0.35}
    filled = style.colour if not hatch["shape"] else "rgba(0,0,0,0)"
    return {
        "type": "bar",
        "name": _plain(curve.label),
        "x": [(bar.left + bar.right) / 2 for bar in bars],
        "y": [bar.top for bar in bars],
        "width": [bar.right - bar.left for bar in bars],
        "marker": {
            "color": filled,
            "line": {"color": style.colour, "width": 1.2},
            "pattern": hatch | {"bgcolor": filled},
        },
        "text": _read_out(figure, curve),
        "textposition": "none",
        "hovertemplate": "%{text}<extra>%{fullData.name}</extra>",
    }


def _read_out(figure: GradationFigure, curve: Curve) -> list[str]:
    unit = value_axis(figure).unit()
    return [
        _plain(it.said)
        or _said(_sieve_name(figure, it.aperture_um), it.passing_pct, it.uncertainty_pct, unit)
        for it in curve.drawn()
    ]


def _curve(
    figure: GradationFigure, axis: ApertureAxis, curve: Curve, style: CurveStyle
) -> dict[str, Any]:
    points, upright = curve.drawn(), value_axis(figure)
    trace: dict[str, Any] = {
        "type": "scatter",
        "name": _plain(curve.label),
        "mode": "lines" if curve.fitted else "lines+markers",
        "x": [axis.at(it.aperture_um) for it in points],
        "y": [upright.at(it.passing_pct) for it in points],
        "line": _line(style, 1.2 if curve.fitted and curve.look is not None else 2.0),
        "marker": {
            "symbol": _MARKERS.get(style.marker, "circle"),
            "size": [0 if it.is_corner else _MARKER_PX for it in points],
        },
        "text": _read_out(figure, curve),
        "hovertemplate": "%{text}<extra>%{fullData.name}</extra>",
    }
    if curve.fitted and curve.look is not None:
        trace["showlegend"] = False  # it looks like its curve and stands beside it
    return trace | _whiskers(figure, curve)


def _said(name: str, value: float, uncertainty_pct: float | None, unit: str) -> str:
    spread = "" if uncertainty_pct is None else f" ± {uncertainty_pct:g}"
    return f"{name}: {value:.6g}{spread} {unit}"


def _whiskers(figure: GradationFigure, curve: Curve) -> dict[str, Any]:
    """Return the error bars in axis units; unequal up and down on probability paper."""
    points = curve.drawn()
    if all(it.uncertainty_pct is None for it in points):
        return {}
    up = [_rise(it.passing_pct, it.spread()[1], figure.scale) for it in points]
    down = [_rise(it.spread()[0], it.passing_pct, figure.scale) for it in points]
    bars = {"type": "data", "symmetric": False, "array": up, "arrayminus": down, "thickness": 1.2}
    return {"error_y": bars}


def _rise(low_pct: float, high_pct: float, scale: Scale) -> float:
    return max(0.0, passing_at(high_pct, scale) - passing_at(low_pct, scale))


def _band(figure: GradationFigure, axis: ApertureAxis) -> list[dict[str, Any]]:
    """Return the shaded band and its two edges, with the limits in the hover text."""
    if not figure.band or not figure.band.limits:
        return []
    limits = figure.band.ordered()
    xs = [axis.at(it.aperture_um) for it in limits]
    upper = [passing_at(it.upper(), figure.scale) for it in limits]
    lower = [passing_at(it.lower(), figure.scale) for it in limits]
    said = [f"{_sieve_name(figure, it.aperture_um)}: limits {it.described()}" for it in limits]
    edge = {
        "type": "scatter",
        "mode": "lines+markers",
        "x": xs,
        "line": {"color": STRONG_RULE, "width": 1},
        "marker": {"symbol": "line-ew-open", "size": 9, "color": STRONG_RULE},
        "text": said,
        "hovertemplate": "%{text}<extra></extra>",
    }
    fill = {"fill": "tonexty", "fillcolor": PALE_LICHEN, "name": _plain(figure.band.label)}
    return [{**edge, "y": lower, "showlegend": False}, {**edge, **fill, "y": upper}]


def _target(figure: GradationFigure, axis: ApertureAxis) -> list[dict[str, Any]]:
    if not figure.target:
        return []
    return [{**_curve(figure, axis, figure.target, TARGET_STYLE), "mode": "lines"}]


def _failing(figure: GradationFigure, axis: ApertureAxis) -> list[dict[str, Any]]:
    if not figure.failing:
        return []
    symbols = {"above": "triangle-down", "below": "triangle-up"}
    mark = {"symbol": [symbols[it.side] for it in figure.failing], "size": 11, "color": MADDER}
    return [
        {
            "type": "scatter",
            "mode": "markers+text",
            "name": "Outside",
            "x": [axis.at(it.aperture_um) for it in figure.failing],
            "y": [passing_at(it.passing_pct, figure.scale) for it in figure.failing],
            "text": [_plain(it.text) for it in figure.failing],
            "textposition": [_beside(it, axis) for it in figure.failing],
            "textfont": {"color": MADDER},
            "marker": mark,
            "hoverinfo": "text",
        }
    ]


def _beside(point: FailingPoint, axis: ApertureAxis) -> str:
    """Return where the words stand: on the exceeded side, and inside the chart."""
    at = axis.at(point.aperture_um)
    across = "right" if at < _EDGE else "left" if at > 1 - _EDGE else "center"
    return f"{'top' if point.side == 'above' else 'bottom'} {across}"


def _layout(figure: GradationFigure, axis: ApertureAxis) -> dict[str, Any]:
    layout: dict[str, Any] = {
        "font": {"family": SANS, "size": 13, "color": INK},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "margin": {"l": 56, "r": 96 if figure.retained_axis else 40, "t": 64, "b": 56},
        "legend": {"orientation": "h", "y": -0.18, "traceorder": "normal"},
        "hovermode": "closest",
        "modebar": {"orientation": "v", "bgcolor": "rgba(0,0,0,0)", "color": QUIET},
        "xaxis": _bottom_axis(axis),
        "yaxis": _upright_axis(value_axis(figure)),
    }
    if figure.quantity is Quantity.DIFFERENCE:
        layout["shapes"] = [_nought(value_axis(figure))]
    if figure.sieves:
        layout["xaxis2"] = _top_axis(figure, axis)
    if figure.retained_axis:
        right = _retained_axis(value_axis(figure))
        layout["yaxis2"] = right | {"overlaying": "y", "side": "right", "showgrid": False}
    return layout


def _ruled(title: str, places: list[float], texts: list[str]) -> dict[str, Any]:
    return {
        "title": {"text": title},
        "range": [0, 1],
        "tickmode": "array",
        "tickvals": places,
        "ticktext": texts,
        "gridcolor": RULE,
        "linecolor": INK,
        "zeroline": False,
        "showline": True,
    }


def _bottom_axis(axis: ApertureAxis) -> dict[str, Any]:
    ticks = spaced(axis.ticks(), _LEAST_BETWEEN_NUMBERS)
    ruled = _ruled(axis.title(), [it.at for it in ticks], [it.text for it in ticks])
    return ruled | {"ticks": "outside", "minor": {"tickvals": list(axis.minor())}}


def _top_axis(figure: GradationFigure, axis: ApertureAxis) -> dict[str, Any]:
    named = [Tick(axis.at(it.aperture_um), _plain(it.name)) for it in figure.sieves]
    kept = spaced(named, _LEAST_BETWEEN_NAMES)
    ruled = _ruled("", [it.at for it in kept], [it.text for it in kept])
    crowded = len(kept) > _NAMES_SIDE_BY_SIDE
    ruled |= {"tickangle": -90 if crowded else 0, "gridcolor": STRONG_RULE, "griddash": "dot"}
    return ruled | {"overlaying": "x", "side": "top", "matches": "x"}


def _upright_axis(axis: ValueAxis) -> dict[str, Any]:
    ticks = [tick for _, tick in axis.ticks()]
    return _ruled(_plain(axis.title()), [it.at for it in ticks], [it.text for it in ticks])


def _retained_axis(axis: ValueAxis) -> dict[str, Any]:
    texts = [f"{100 - passing:g}" for passing, _ in axis.ticks()]
    return _ruled("Cumulative retained, %", [tick.at for _, tick in axis.ticks()], texts)


def _nought(axis: ValueAxis) -> dict[str, Any]:
    """Return the line of no difference."""
    line = {"color": INK, "width": 1.2}
    return {"type": "line", "x0": 0, "x1": 1, "y0": axis.at(0), "y1": axis.at(0), "line": line}
