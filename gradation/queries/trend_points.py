"""The points of a judged chart one by one, for tables, files and other systems."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from gradation.models import Run
from gradation.queries.control_charts import GroupTrend
from gradation.queries.trends import Trend

__all__ = ["Point", "points_of", "run_labels"]

_AT_ONCE = 5000


@dataclass(frozen=True, slots=True)
class Point:
    """One point as it was judged."""

    number: int
    """From 1, within its group."""
    run_id: int
    at: datetime
    group: str
    value: float
    centre: float
    lower: float
    upper: float
    spread: float | None
    rules: tuple[str, ...]


def points_of(
    group: GroupTrend, zone: ZoneInfo, places: Iterable[int] | None = None
) -> Iterator[Point]:
    """Yield the points of a group in the order of time, or those at some places."""
    trend = group.trend
    if trend is None:
        return
    for place in range(len(trend.runs)) if places is None else places:
        yield _point(group, trend, int(place), zone)


def _point(group: GroupTrend, trend: Trend, place: int, zone: ZoneInfo) -> Point:
    drawn = trend.chart
    spread = None if drawn.spread is None else float(drawn.spread[place])
    return Point(
        number=place + 1,
        run_id=int(trend.runs.run_id[place]),
        at=datetime.fromtimestamp(int(trend.runs.at_s[place]), zone),
        group=group.name if group.key else "",
        value=float(drawn.point[place]),
        centre=drawn.limits.centre,
        lower=float(drawn.lower[place]),
        upper=float(drawn.upper[place]),
        spread=None if spread is None or np.isnan(spread) else spread,
        rules=tuple(trend.rules_at(place)) if trend.flagged[place] else (),
    )


def run_labels(keys: Iterable[int]) -> dict[int, str]:
    """Give the label of each run, as its page heads it; so many at once as a database takes."""
    wanted = list(keys)
    return {
        key: f"{label}/{determination}"
        for start in range(0, len(wanted), _AT_ONCE)
        for key, label, determination in Run.objects.filter(
            pk__in=wanted[start : start + _AT_ONCE]
        ).values_list("pk", "portion__label", "determination")
    }
