"""The charts of a sieve's card: its aperture over its uses, its tare over time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import timezone

from gradation.charts.series import (
    Along,
    Level,
    LevelKind,
    Reach,
    Series,
    SeriesFigure,
    SeriesPoint,
    Trend,
)
from gradation.charts.series_interactive import plotly_series
from gradation.queries.tares import TareReading
from gradation.queries.wear import Point, Wear
from gradation.queries.wear import Trend as Found
from gradation.web.templatetags.notebook import figure, on_day, plain

_COVERAGE = 2  # expanded uncertainty, k = 2 (JCGM 100:2008, 6.3.3)
_BAND_STEPS = 24


@dataclass(frozen=True)
class Shown:
    """A chart for the browser, its sentence, and its words for those who cannot see it."""

    sentence: str
    chart: dict[str, Any] | None = None
    described: str = ""


def wear_shown(wear: Wear) -> Shown:
    """Show the apertures found against uses, with the limits, the trend and where it ends."""
    measured, effective, _ = wear.trends
    known = [trend for trend in (measured, effective) if trend.points]
    if not known:
        return Shown("No aperture was measured yet, so no wear can be seen.")
    leading = max(known, key=lambda trend: len(trend.points))
    drawn = SeriesFigure(
        title=f"Aperture of {wear.sieve}",
        along_title="Uses",
        value_title="Mean aperture, µm",
        series=tuple(_series(trend) for trend in known),
        levels=tuple(_levels(leading, float(wear.sieve.aperture_um))),
        trend=_trend(leading, wear),
    )
    return Shown(_said(leading), plotly_series(drawn), drawn.described())


def _said(trend: Found) -> str:
    """Say what the trend foretells, and on which days."""
    said = [trend.forecast.sentence] if trend.forecast else []
    if trend.dates and trend.dates.expected:
        ends = trend.dates.earliest, trend.dates.latest
        between = f", between {on_day(ends[0])} and {on_day(ends[1])}" if all(ends) else ""
        said.append(f"At the present rate that is {on_day(trend.dates.expected)}{between}.")
    return " ".join([*said, *([trend.why] if trend.why else [])])


def _series(trend: Found) -> Series:
    return Series(trend.what, tuple(_point(trend, point) for point in trend.points))


def _point(trend: Found, point: Point) -> SeriesPoint:
    half = None if point.standard is None else _COVERAGE * point.standard
    spread = "" if half is None else f" ± {half:.2f}"
    low, high = trend.limits.lower, trend.limits.upper
    outside = (low is not None and point.value < low) or (high is not None and point.value > high)
    said = f"{on_day(point.on)}, use {figure(point.uses)}: {point.value:.2f}{spread} {trend.unit}"
    return SeriesPoint(point.uses, point.value, said, half, outside)


def _levels(trend: Found, nominal_um: float) -> Iterator[Level]:
    limits = trend.limits
    if limits.lower is not None:
        yield Level(limits.lower, f"mean at least {limits.lower:.2f} µm")
    if limits.upper is not None:
        yield Level(limits.upper, f"mean at most {limits.upper:.2f} µm")
    yield Level(nominal_um, "nominal", LevelKind.NOMINAL)


def _trend(trend: Found, wear: Wear) -> Trend | None:
    """Draw the line from the first check to now, or to where it meets its limit."""
    line, forecast = trend.line, trend.forecast
    if line is None or len(trend.points) < 2:
        return None
    first = float(trend.points[0].uses)
    meets = forecast.uses if forecast else None
    last = max(float(wear.uses_now), meets or 0.0)
    reach = None
    if meets is not None and forecast is not None:
        reach = Reach(meets, forecast.earliest_uses, forecast.latest_uses, _reach_words(trend))
    ends = [first, last]
    return Trend(
        "trend",
        tuple((at, line.value_at(at)) for at in ends),
        tuple(_band(trend, first, last)),
        reach,
    )


def _reach_words(trend: Found) -> str:
    uses = trend.forecast.uses if trend.forecast else None
    day = trend.dates.expected if trend.dates else None
    when = f", about {on_day(day)}" if day else ""
    return f"reaches its limit at {uses:.0f} uses{when}" if uses is not None else ""


def _band(trend: Found, first: float, last: float) -> Iterator[tuple[float, float, float]]:
    """Yield the confidence band of the line: where the mean would lie."""
    line = trend.line
    if line is None or line.residual_sd is None or line.t_value is None or last <= first:
        return
    for step in range(_BAND_STEPS + 1):
        at = first + (last - first) * step / _BAND_STEPS
        half = line.half_width_at(at)
        yield at, line.value_at(at) - half, line.value_at(at) + half


def tares_shown(readings: Sequence[TareReading]) -> Shown:
    """Show the tares over time and say how far the last is from the first."""
    if not readings:
        return Shown("No tare is kept yet. Weigh it clean and dry, again after each cleaning.")
    last = readings[-1]
    sentence = f"{plain(last.tare_g)} g on {on_day(last.at)}"
    if last.drift_g is not None:
        sign = "+" if last.drift_g > 0 else ""
        sentence += f"; {sign}{plain(last.drift_g)} g since {on_day(readings[0].at)}"
    if len(readings) < 2:
        return Shown(f"{sentence}.")
    drawn = SeriesFigure(
        title="Tare",
        along_title="Date",
        value_title="Tare, g",
        series=(Series("tare", tuple(_tare(reading) for reading in readings)),),
        along=Along.TIME,
    )
    return Shown(f"{sentence}.", plotly_series(drawn), drawn.described())


def _tare(reading: TareReading) -> SeriesPoint:
    said = f"{on_day(reading.at)}: {plain(reading.tare_g)} g, {reading.where}"
    return SeriesPoint(_day(timezone.localdate(reading.at)), float(reading.tare_g), said)


def _day(day: date) -> float:
    return float(day.toordinal())
