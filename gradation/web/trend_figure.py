"""The drawing of a control chart: what was judged, thinned to what a page needs, with its words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from gradation.charts.control import (
    Bound,
    BoundKind,
    ControlFigure,
    Event,
    Flagged,
    Panel,
    Track,
)
from gradation.charts.series import Mark as AxisMark
from gradation.charts.series import Span, even_marks
from gradation.charts.thinning import corners, kept_points
from gradation.models import ControlChart
from gradation.queries.control_charts import GroupTrend, ProcessLine
from gradation.queries.figure_names import figure_heading, figure_unit, written
from gradation.queries.trend_marks import Mark
from gradation.queries.trend_rules import OF_SPREAD, reason_of
from gradation.queries.trends import Trend
from gradation.web.templatetags.notebook import figure as as_figure
from gradation.web.templatetags.notebook import on_day

__all__ = ["control_figure", "gathered", "level_title", "spread_title"]

#: With more flagged points than this their days are left to the table and the file.
_MOST_SAID = 2000
_DIGITS = 5
#: So many marks can be told apart along a chart; of more, neighbours share one.
_MOST_APART = 40

Kind = ControlChart.Kind
Places = NDArray[np.int64]


@dataclass(frozen=True)
class _Placed:
    """A judged group and where its points stand among all that are shown."""

    label: str
    trend: Trend
    at: Places


def control_figure(
    chart: ControlChart,
    groups: Sequence[GroupTrend],
    marks: Sequence[Sequence[Mark]],
    line: ProcessLine | None,
    zone: ZoneInfo,
) -> ControlFigure:
    """Give the drawing of one group with its limits, or of several on one sheet without."""
    placed = _placed(groups)
    drawing = _Drawing(chart, placed, zone)
    alone = placed[0] if len(placed) == 1 else None
    level = drawing.level(alone, line)
    panels = (level,) if alone is None else (level, *drawing.spread(alone))
    return ControlFigure(
        title=chart.name,
        along_title="Points in the order of time, with the day of the run",
        count=sum(len(each.at) for each in placed),
        panels=panels,
        marks=tuple(drawing.days()),
        events=tuple(drawing.events(marks)),
    )


def gathered(marks: Sequence[Mark], at_s: NDArray[np.int64]) -> list[list[Mark]]:
    """Put marks together that a drawing could not show apart; few marks stand each alone.

    `at_s` are the moments of all runs, in order: the drawing counts runs, not days.
    """
    if len(marks) <= _MOST_APART:
        return [[mark] for mark in marks]
    found: dict[int, list[Mark]] = {}
    for mark in marks:
        place = int(np.searchsorted(at_s, mark.at_s))
        found.setdefault(place * _MOST_APART // (at_s.size + 1), []).append(mark)
    return list(found.values())


def level_title(chart: ControlChart) -> str:
    """Name what a point is."""
    title, unit = figure_heading(chart.characteristic), figure_unit(chart.characteristic)
    words = {
        Kind.INDIVIDUALS.value: title,
        Kind.WEIGHTED.value: f"{title}, weighted mean",
        Kind.MOVING.value: f"{title}, mean of {chart.span}",
    }.get(chart.kind, f"{title}, mean of {chart.subgroup_size}")
    return _with_unit(words, unit)


def spread_title(chart: ControlChart) -> str:
    """Name what the scatter of a point is; '' on charts with memory."""
    words = {
        Kind.INDIVIDUALS.value: "Moving range",
        Kind.MEAN_RANGE.value: "Range",
        Kind.MEAN_DEVIATION.value: "Deviation",
    }.get(chart.kind, "")
    return _with_unit(words, figure_unit(chart.characteristic)) if words else ""


def _with_unit(words: str, unit: str) -> str:
    return f"{words}, {unit}" if unit else words


def _placed(groups: Sequence[GroupTrend]) -> list[_Placed]:
    """Put the points of all groups into one order of time."""
    judged = [(group.name, group.trend) for group in groups if group.trend is not None]
    if not judged:
        return []
    at_s = np.concatenate([trend.runs.at_s for _, trend in judged])
    run_id = np.concatenate([trend.runs.run_id for _, trend in judged])
    rank = np.empty(at_s.size, dtype=np.int64)
    rank[np.lexsort((run_id, at_s))] = np.arange(at_s.size)
    ends = np.cumsum([len(trend.runs) for _, trend in judged])[:-1]
    parts = np.split(rank, ends)
    return [_Placed(name, trend, at) for (name, trend), at in zip(judged, parts, strict=True)]


@dataclass(frozen=True)
class _Drawing:
    chart: ControlChart
    placed: list[_Placed]
    zone: ZoneInfo

    def level(self, alone: _Placed | None, line: ProcessLine | None) -> Panel:
        """Draw the level of every group, with the limits where there is one group."""
        values = [(each, each.trend.chart.point) for each in self.placed]
        bounds = () if alone is None else tuple(self._limits(alone))
        return Panel(
            title=level_title(self.chart),
            tracks=tuple(self._track(each, points) for each, points in values),
            flagged=tuple(self._flags(values, of_spread=False)),
            bounds=(*self._specified(line), *bounds),
        )

    def spread(self, alone: _Placed) -> Iterator[Panel]:
        """Draw the scatter, where the chart has one."""
        spread = alone.trend.chart.spread
        if spread is None:
            return
        limits, last = alone.trend.chart.limits, float(alone.at[-1])
        lines = (
            (BoundKind.CENTRE, "mean", limits.spread_centre),
            (BoundKind.LIMIT, "upper limit", limits.spread_upper),
        )
        yield Panel(
            title=spread_title(self.chart),
            tracks=(self._track(alone, spread),),
            flagged=tuple(self._flags([(alone, spread)], of_spread=True)),
            bounds=tuple(
                Bound(kind, f"{words} {self._written(at)}", (0.0, last), (at, at))
                for kind, words, at in lines
            ),
        )

    def days(self) -> Iterator[AxisMark]:
        """Mark some points with the day of their run."""
        count = sum(each.at.size for each in self.placed)
        at_s = np.empty(count, dtype=np.int64)
        for each in self.placed:
            at_s[each.at] = each.trend.runs.at_s
        for mark in even_marks(Span(0.0, max(count - 1.0, 1.0))) if count else ():
            if mark.at == int(mark.at) and mark.at < count:
                yield AxisMark(mark.at, on_day(self._moment(int(at_s[int(mark.at)]))))

    def events(self, gathered: Sequence[Sequence[Mark]]) -> Iterator[Event]:
        """Put what happened just before the first point after it, together what stands together."""
        every = [each.trend.runs.at_s for each in self.placed]
        at_s = np.sort(np.concatenate(every)) if every else np.empty(0)
        for marks in gathered:
            place = max(float(np.searchsorted(at_s, marks[0].at_s)) - 0.5, 0.0)
            said = [f"{mark.words}, {on_day(self._moment(mark.at_s))}" for mark in marks]
            if len(marks) == 1:
                yield Event(place, marks[0].kind.value, said[0])
                continue
            words = "; ".join(
                f"{mark.kind.value} {text}" for mark, text in zip(marks, said, strict=True)
            )
            yield Event(place, f"{len(marks)} together", words)

    def _track(self, each: _Placed, values: NDArray[np.float64]) -> Track:
        known = np.flatnonzero(np.isfinite(values))
        # Flagged points have marks of their own; the line needs the shape of the series alone.
        kept = known[kept_points(values[known], np.zeros(known.size, dtype=np.bool_))]
        said = self._said(each, values, kept) if kept.size <= 2 * _MOST_SAID else ()
        return Track(each.label, _whole(each.at[kept]), _short(values[kept]), said)

    def _flags(
        self, values: Sequence[tuple[_Placed, NDArray[np.float64]]], *, of_spread: bool
    ) -> Iterator[Flagged]:
        """Gather the flagged points by rule; a point stands under the first of its rules."""
        rules = dict.fromkeys(rule for each, _ in values for rule in each.trend.chart.flags)
        taken = {id(each): np.zeros(each.at.size, dtype=np.bool_) for each, _ in values}
        for rule in rules:
            if (rule in OF_SPREAD) != of_spread:
                continue
            found = [
                self._flagged(each, points, rule, taken[id(each)])
                for each, points in values
                if rule in each.trend.chart.flags
            ]
            parts = [sum(part, ()) for part in zip(*found, strict=True)]
            if parts[0]:
                yield Flagged(reason_of(rule), *parts)

    def _flagged(
        self, each: _Placed, values: NDArray[np.float64], rule: str, taken: NDArray[np.bool_]
    ) -> tuple[tuple[int, ...], tuple[float, ...], tuple[str, ...]]:
        places = np.flatnonzero(each.trend.chart.flags[rule] & ~taken & np.isfinite(values))
        taken[places] = True
        is_few = int(each.trend.flagged.sum()) <= _MOST_SAID
        said = self._said(each, values, places) if is_few else ()
        return _whole(each.at[places]), _short(values[places]), said

    def _limits(self, alone: _Placed) -> Iterator[Bound]:
        drawn = alone.trend.chart
        limits, last = drawn.limits, float(alone.at[-1])
        level = (limits.centre, limits.centre)
        words = f"centre {self._written(limits.centre)}"
        yield Bound(BoundKind.CENTRE, words, (0.0, last), level)
        for name, values in (("upper", drawn.upper), ("lower", drawn.lower)):
            kept = corners(values)
            words = f"{name} limit {self._written(float(values[-1]))}"
            at = tuple(float(place) for place in alone.at[kept])
            yield Bound(BoundKind.LIMIT, words, at, tuple(values[kept].tolist()))

    def _specified(self, line: ProcessLine | None) -> Iterator[Bound]:
        count = sum(each.at.size for each in self.placed)
        ends = () if line is None else (("max", line.limits.upper), ("min", line.limits.lower))
        for name, value in ends:
            if value is not None and line is not None:
                words = f"{line.specification} {name} {as_figure(f'{value:g}')}"
                at, level = (0.0, max(count - 1.0, 1.0)), (value, value)
                yield Bound(BoundKind.SPECIFICATION, words, at, level)

    def _said(self, each: _Placed, values: NDArray[np.float64], places: Places) -> tuple[str, ...]:
        unit = figure_unit(self.chart.characteristic)
        moments = map(self._moment, each.trend.runs.at_s[places].tolist())
        days = [on_day(moment.date()) for moment in moments]
        figures = [self._written(value) for value in values[places].tolist()]
        return tuple(
            f"{day}: {found} {unit}".rstrip() for day, found in zip(days, figures, strict=True)
        )

    def _written(self, value: float) -> str:
        return as_figure(written(self.chart.characteristic, value))

    def _moment(self, at_s: int) -> datetime:
        return datetime.fromtimestamp(at_s, self.zone)


def _whole(places: Places) -> tuple[int, ...]:
    return tuple(places.tolist())


def _short(values: NDArray[np.float64]) -> tuple[float, ...]:
    """Give as many digits as a drawing can show."""
    return tuple(float(f"{value:.{_DIGITS}g}") for value in values.tolist())
