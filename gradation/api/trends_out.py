"""What the interface shows of trends: figures as text, the unit in the field's name."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from gradation.charts.thinning import kept_points
from gradation.models import ControlChart
from gradation.queries.control_charts import GroupTrend
from gradation.queries.figure_names import figure_unit, unit_suffix
from gradation.queries.trend_points import Point, points_of, run_labels
from gradation.queries.trends import Trend

__all__ = ["chart_out", "trend_out"]


def trend_out(
    chart: ControlChart, groups: list[GroupTrend], zone: ZoneInfo, *, is_thinned: bool
) -> dict[str, Any]:
    """Give a judged chart, group by group."""
    end = unit_suffix(chart.characteristic)
    shown = [(group, _shown(group, zone, is_thinned=is_thinned)) for group in groups]
    labels = run_labels(point.run_id for _, points in shown for point in points)
    return {
        "material": chart.material.name if chart.material else None,
        "procedure": chart.procedure.code if chart.procedure else None,
        "characteristic": chart.characteristic,
        "unit": figure_unit(chart.characteristic),
        "kind": chart.kind,
        "rules": chart.rules,
        "time_zone": str(zone),
        "groups": [
            {**_group(group, end), "points": [_point(each, labels, end) for each in points]}
            for group, points in shown
        ],
    }


def _shown(group: GroupTrend, zone: ZoneInfo, *, is_thinned: bool) -> list[Point]:
    trend = group.trend
    if trend is None:
        return []
    places = np.arange(len(trend.runs))
    if is_thinned:
        places = kept_points(trend.chart.point, trend.flagged)
    return list(points_of(group, zone, places))


def _group(group: GroupTrend, end: str) -> dict[str, Any]:
    trend = group.trend
    return {
        "group": group.name,
        "runs": group.runs,
        "not_judged": group.why or None,
        "point_count": 0 if trend is None else len(trend.runs),
        "flagged_count": 0 if trend is None else int(trend.flagged.sum()),
        "runs_left_out": 0 if trend is None else trend.left_out,
        "limits": None if trend is None else _limits(trend, end),
    }


def _limits(trend: Trend, end: str) -> dict[str, Any]:
    drawn, limits = trend.chart, trend.chart.limits
    figures = {
        "centre": limits.centre,
        "lower": float(drawn.lower[-1]),
        "upper": float(drawn.upper[-1]),
        "sigma": limits.sigma,
    }
    return {
        "are_frozen": trend.is_frozen,
        "base_points": limits.base_points,
        "subgroup_size": limits.subgroup_size,
        **{f"{name}{end}": _text(value) for name, value in figures.items()},
    }


def _point(point: Point, labels: dict[int, str], end: str) -> dict[str, Any]:
    found: dict[str, Any] = {
        "number": point.number,
        "run_id": point.run_id,
        "run": labels[point.run_id],
        "at": point.at.isoformat(timespec="seconds"),
        f"value{end}": _text(point.value),
    }
    if point.spread is not None:
        found[f"spread{end}"] = _text(point.spread)
    if point.rules:
        found["out_of_the_ordinary"] = list(point.rules)
    return found


def _text(value: float) -> str:
    return f"{value:.4f}"


def chart_out(chart: ControlChart) -> dict[str, Any]:
    """Give a stored chart."""
    return {
        "id": chart.pk,
        "name": chart.name,
        "material": chart.material.name if chart.material else None,
        "procedure": chart.procedure.code if chart.procedure else None,
        "characteristic": chart.characteristic,
        "unit": figure_unit(chart.characteristic),
        "kind": chart.kind,
        "rules": chart.rules,
        "group_by": chart.group_by,
        "is_given_up": chart.closed_at is not None,
        "points_to_answer": getattr(chart, "waiting", 0),
        "frozen_limits": _frozen(chart),
    }


def _frozen(chart: ControlChart) -> list[dict[str, Any]]:
    end = unit_suffix(chart.characteristic)
    held: Iterable[Any] = getattr(chart, "limits_in_force", ())
    return [
        {
            "group": limits.group_name or None,
            "base_from": limits.base_from.isoformat(),
            "base_to": limits.base_to.isoformat(),
            "base_points": limits.base_points,
            f"centre{end}": _text(limits.centre),
            f"sigma{end}": _text(limits.sigma),
        }
        for limits in held
    ]
