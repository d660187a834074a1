"""What the page of a control chart shows, from the address it was asked with."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import QuerySet

from gradation.charts.control import ControlFigure
from gradation.charts.control_interactive import plotly_control
from gradation.documents.csv_text import csv_text
from gradation.models import ChartNote, ControlChart
from gradation.queries.control_charts import (
    GroupTrend,
    ProcessLine,
    followed_by,
    group_trends,
    in_force,
    notes_of,
    process_line,
)
from gradation.queries.figure_names import figure_unit, unit_suffix, written
from gradation.queries.trend_marks import Mark, marks_of
from gradation.queries.trend_points import Point, points_of, run_labels
from gradation.queries.trend_rules import reason_of
from gradation.queries.trend_series import RunSeries, Stretch, run_series
from gradation.queries.trends import capability_of, method_of
from gradation.science.errors import GradationError
from gradation.science.quality.capability import Capability
from gradation.services import clock
from gradation.web import lists
from gradation.web.answers import PersonRequest
from gradation.web.context import laboratory_of
from gradation.web.forms.charts import StretchForm
from gradation.web.templatetags.notebook import figure as as_figure
from gradation.web.trend_figure import control_figure, gathered, level_title, spread_title

__all__ = ["ChartPage", "chart_page", "points_csv"]

FLAGGED_SHOWN, NEWEST_SHOWN, NOTES_SHOWN, MARKS_SHOWN = 60, 15, 40, 40


@dataclass(frozen=True)
class PointRow:
    """One row of a table of points."""

    point: Point
    run: str
    value: str
    spread: str
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class GroupRow:
    """One group in the table of groups."""

    group: GroupTrend
    url: str
    is_shown: bool
    centre: str
    sigma: str
    flagged: int
    is_frozen: bool


@dataclass(frozen=True)
class Able:
    """The capability in words and figures, or why there is none."""

    line: ProcessLine | None
    found: Capability | None
    why: str = ""

    @property
    def rows(self) -> list[tuple[str, str, str]]:
        """List the indices: name, value, interval."""
        if self.found is None:
            return []
        named = [(name, getattr(self.found, name.lower())) for name in ("Cp", "Cpk", "Pp", "Ppk")]
        return [
            (name, f"{each.value:.2f}", f"{each.low:.2f} to {each.high:.2f}")
            for name, each in named
            if np.isfinite(each.value)
        ]


@dataclass(frozen=True)
class ChartPage:
    """A chart judged over the days asked for, and the group asked for."""

    request: PersonRequest
    chart: ControlChart
    picks: StretchForm
    stretch: Stretch
    runs: RunSeries
    groups: list[GroupTrend]
    chosen: int | None

    @property
    def shown(self) -> list[GroupTrend]:
        """Give the group asked for, or all."""
        if self.chosen is None:
            return self.groups
        return [group for group in self.groups if group.key == self.chosen]

    @property
    def judged(self) -> list[GroupTrend]:
        """Give the groups of those that could be judged."""
        return [group for group in self.shown if group.trend is not None]

    @property
    def alone(self) -> GroupTrend | None:
        """Give the one group whose limits are drawn."""
        return self.judged[0] if len(self.judged) == 1 else None

    @cached_property
    def marks(self) -> list[Mark]:
        """List what happened beside the runs shown."""
        runs = self.runs
        if self.chosen is not None:
            runs = runs.taken(runs.group_id == self.chosen)
        held = [
            each
            for each in self.chart.frozen.all()
            if self.chosen is None or each.group_key == self.chosen
        ]
        return marks_of(followed_by(self.chart), runs, self.stretch, held)

    @cached_property
    def gathered(self) -> list[list[Mark]]:
        """Give all marks as they are drawn: neighbours together where they are very many."""
        return gathered(self.marks, self.runs.at_s)

    def numbered_marks(self) -> list[tuple[int, Mark]]:
        """List all marks with the number under which the drawing has them."""
        drawn = enumerate(self.gathered, start=1)
        return [(number, mark) for number, marks in drawn for mark in marks]

    @cached_property
    def line(self) -> ProcessLine | None:
        """Give the specification's line on what is followed."""
        return process_line(self.chart, clock.today(laboratory_of(self.request)))

    @cached_property
    def figure(self) -> ControlFigure:
        """Give the drawing."""
        return control_figure(self.chart, self.judged, self.gathered, self.line, self.stretch.zone)

    def capability(self) -> Able | None:
        """Judge the values shown against the specification, where it has a line on them."""
        if self.line is None or self.alone is None or self.alone.trend is None:
            return None
        try:
            return Able(self.line, capability_of(self.alone.trend, self.line.limits))
        except GradationError as error:
            return Able(self.line, None, str(error))

    def points(self, *, flagged: bool, most: int) -> list[Point]:
        """Give the newest points of the groups shown, all or those out of the ordinary."""
        found: list[Point] = []
        for group in self.judged:
            if group.trend is not None:
                every = np.arange(len(group.trend.runs))
                places = every[group.trend.flagged] if flagged else every
                found += points_of(group, self.stretch.zone, places[::-1][:most])
        return sorted(found, key=lambda point: (point.at, point.run_id), reverse=True)[:most]

    def flagged_count(self) -> int:
        """Count the points out of the ordinary."""
        return sum(int(group.trend.flagged.sum()) for group in self.judged if group.trend)

    def notes(self) -> QuerySet[ChartNote]:
        """List the notes of the groups shown."""
        rows = notes_of(self.chart)
        return rows if self.chosen is None else rows.filter(group_key=self.chosen)

    def context(self) -> dict[str, Any]:
        """Give the template what it shows."""
        flagged = self.points(flagged=True, most=FLAGGED_SHOWN)
        newest = self.points(flagged=False, most=NEWEST_SHOWN)
        labels = run_labels({point.run_id for point in (*flagged, *newest)})
        notes = list(self.notes()[:NOTES_SHOWN])
        alone, marks = self.alone, self.numbered_marks()
        frozen = in_force(self.chart).get(alone.key) if alone else None
        return {
            "chart": self.chart,
            "page": self,
            "picks": self.picks,
            "level_title": level_title(self.chart),
            "spread_title": spread_title(self.chart),
            "has_rules": not method_of(self.chart).has_memory,
            "unit": figure_unit(self.chart.characteristic),
            "plot": plotly_control(self.figure) if self.judged else None,
            "described": self.figure.described() if self.judged else "",
            "limits": alone.trend.chart.limits if alone and alone.trend else None,
            "limit_rows": list(self._limit_rows(alone)),
            "frozen": frozen,
            "able": self.capability(),
            "group_rows": list(self._group_rows()),
            "flagged": list(self._rows(flagged, labels)),
            "newest": list(self._rows(newest, labels)),
            "flagged_count": self.flagged_count(),
            "marks": marks[-MARKS_SHOWN:],
            "earlier_marks": marks[:-MARKS_SHOWN],
            "open_notes": [note for note in notes if note.is_open],
            "answered_notes": [note for note in notes if not note.is_open],
            "query": self.request.GET.urlencode(),
        }

    def _limit_rows(self, alone: GroupTrend | None) -> Iterator[tuple[str, str]]:
        if alone is None or alone.trend is None:
            return
        drawn = alone.trend.chart
        yield "centre", self._written(drawn.limits.centre)
        yield "lower limit", self._written(float(drawn.lower[-1]))
        yield "upper limit", self._written(float(drawn.upper[-1]))
        yield "standard deviation of one value", self._written(drawn.limits.sigma)

    def _group_rows(self) -> Iterator[GroupRow]:
        if self.chart.group_by == ControlChart.Group.NONE:
            return
        for group in self.groups:
            limits = group.trend.chart.limits if group.trend else None
            yield GroupRow(
                group=group,
                url=self._address(group.key),
                is_shown=group.key == self.chosen,
                centre=self._written(limits.centre) if limits else "",
                sigma=self._written(limits.sigma) if limits else "",
                flagged=int(group.trend.flagged.sum()) if group.trend else 0,
                is_frozen=bool(group.trend and group.trend.is_frozen),
            )

    def _address(self, group: int) -> str:
        query = self.request.GET.copy()
        query["group"] = str(group)
        return f"?{query.urlencode()}"

    def _rows(self, points: list[Point], labels: dict[int, str]) -> Iterator[PointRow]:
        for point in points:
            yield PointRow(
                point=point,
                run=labels[point.run_id],
                value=self._written(point.value),
                spread="" if point.spread is None else self._written(point.spread),
                reasons=tuple(reason_of(rule) for rule in point.rules),
            )

    def _written(self, value: float) -> str:
        return as_figure(written(self.chart.characteristic, value))


def chart_page(request: PersonRequest, chart: ControlChart) -> ChartPage:
    """Judge a chart over the days and for the group in the address."""
    picks = StretchForm(request.GET if {"since", "until"} & set(request.GET) else None)
    given = picks.cleaned_data if picks.is_bound and picks.is_valid() else {}
    zone = ZoneInfo(laboratory_of(request).time_zone)
    stretch = Stretch(zone, given.get("since"), given.get("until"))
    runs = run_series(replace(followed_by(chart), needs_sieves=True), stretch)
    groups = group_trends(chart, runs)
    key = lists.key_in(request, "group")
    known = {group.key for group in groups}
    only = groups[0].key if len(groups) == 1 else None
    chosen = key if key in known else only
    return ChartPage(request, chart, picks, stretch, runs, groups, chosen)


def points_csv(shown: ChartPage) -> str:
    """Give every point of the groups shown as a table."""
    end = unit_suffix(shown.chart.characteristic)
    measured = [f"{name}{end}" for name in ("value", "centre", "lower", "upper", "spread")]
    header = ["point", "tested", "run", "group", *measured, "out of the ordinary"]
    points = [point for group in shown.judged for point in points_of(group, shown.stretch.zone)]
    labels = run_labels(point.run_id for point in points)
    rows = (
        [
            point.number,
            point.at.isoformat(timespec="minutes"),
            labels[point.run_id],
            point.group,
            point.value,
            point.centre,
            point.lower,
            point.upper,
            point.spread,
            " ".join(reason_of(rule) for rule in point.rules),
        ]
        for point in points
    )
    return csv_text(header, rows)
