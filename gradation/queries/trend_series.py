"""One figure of many runs in the order of time: a single query, then arrays.

A run that is invalid does not count; of a run's results the newest alone has figures.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from operator import itemgetter
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import FilteredRelation, Q, QuerySet
from numpy.typing import NDArray

from gradation.models import ControlChart, ResultFigure, Run
from gradation.queries.figure_names import aperture_of

__all__ = ["Followed", "RunSeries", "Stretch", "run_series", "seconds_of"]

Whole = NDArray[np.int64]
_GROUP_COLUMNS: dict[str, str] = {
    ControlChart.Group.BENCH.value: "run__bench_id",
    ControlChart.Group.NEST.value: "run__nest_id",
    ControlChart.Group.TECHNICIAN.value: "run__technician_id",
}


@dataclass(frozen=True, slots=True)
class Followed:
    """What is followed: a figure of a material's runs, of a procedure's, or of both together."""

    characteristic: str
    material_id: int | None = None
    procedure_id: int | None = None
    group_by: str = ControlChart.Group.NONE.value
    needs_samples: bool = False
    """Whether runs are put together by their sample."""
    needs_sieves: bool = False
    """Whether the sieve at the aperture followed is asked for too."""

    @property
    def group_column(self) -> str:
        """Name the column the runs are told apart by; '' where they are not."""
        return _GROUP_COLUMNS.get(self.group_by, "")


@dataclass(frozen=True, slots=True)
class Stretch:
    """From which day to which, both included, in the laboratory's zone; the newest runs alone."""

    zone: ZoneInfo
    since: date | None = None
    until: date | None = None
    newest: int | None = None


@dataclass(frozen=True, slots=True)
class RunSeries:
    """Runs in the order in which the work was done; one entry of each array a run."""

    run_id: Whole
    at_s: Whole
    value: NDArray[np.float64]
    version_id: Whole
    """Procedure version."""
    sample_id: Whole
    """0 where it was not asked for."""
    group_id: Whole
    """Bench, sieve set or technician; 0 where runs are not told apart or have none."""
    sieve_id: Whole
    """The sieve at the aperture followed; 0 where it was not asked for or there is none."""
    is_accepted: NDArray[np.bool_]

    def __len__(self) -> int:
        return int(self.run_id.size)

    def taken(self, which: Whole | NDArray[np.bool_]) -> RunSeries:
        """Give the runs at some places."""
        return RunSeries(*(getattr(self, name)[which] for name in self.__slots__))

    @property
    def groups(self) -> list[int]:
        """List the groups in it."""
        return [int(key) for key in np.unique(self.group_id)]


def run_series(followed: Followed, stretch: Stretch) -> RunSeries:
    """Fetch one figure of all runs that count, with one query."""
    aperture_um = aperture_of(followed.characteristic)
    rows = _rows(followed, stretch)
    asked = {
        "sample_id": "run__portion__sample_id" if followed.needs_samples else "",
        "group_id": followed.group_column,
        "sieve_id": "",
    }
    if followed.needs_sieves and aperture_um is not None:
        at_it = Q(run__places__aperture_um=aperture_um)
        rows = rows.annotate(place=FilteredRelation("run__places", condition=at_it))
        asked["sieve_id"] = "place__sieve_id"
    more = [column for column in asked.values() if column]
    columns = ["run_id", "at_s", "value", "run__procedure_version_id", "run__state", *more]
    found = _fetched(rows.values_list(*columns), stretch.newest)
    read = _Columns(found, columns)
    series = RunSeries(
        run_id=read.keys("run_id"),
        at_s=read.keys("at_s"),
        value=np.fromiter(read.of("value"), np.float64, len(found)),
        version_id=read.keys("run__procedure_version_id"),
        is_accepted=read.equal("run__state", Run.State.ACCEPTED.value),
        **{name: read.keys(column) for name, column in asked.items()},
    )
    return series.taken(np.lexsort((series.run_id, series.at_s)))


@dataclass(frozen=True)
class _Columns:
    """Rows read column by column: no copies of very many rows in between."""

    rows: list[tuple[Any, ...]]
    names: list[str]

    def of(self, name: str) -> Iterator[Any]:
        return map(itemgetter(self.names.index(name)), self.rows)

    def keys(self, name: str) -> Whole:
        """Give a column of whole numbers; 0 where there is none, or it was not asked for."""
        count = len(self.rows)
        if not name:
            return np.zeros(count, dtype=np.int64)
        return np.fromiter((key or 0 for key in self.of(name)), np.int64, count)

    def equal(self, name: str, word: str) -> NDArray[np.bool_]:
        """Say where a column holds a word."""
        return np.fromiter((each == word for each in self.of(name)), np.bool_, len(self.rows))


def _fetched(
    rows: QuerySet[ResultFigure, tuple[Any, ...]], newest: int | None
) -> list[tuple[Any, ...]]:
    # Arrays are put in order faster than a database does that sorts on its disk.
    ordered = rows.order_by() if newest is None else rows.order_by("-at_s", "-run_id")[:newest]
    return list(ordered)


def _rows(followed: Followed, stretch: Stretch) -> QuerySet[ResultFigure]:
    rows = ResultFigure.objects.filter(name=followed.characteristic)
    if followed.material_id is not None:
        rows = rows.filter(material=followed.material_id)
    if followed.procedure_id is not None:
        rows = rows.filter(procedure=followed.procedure_id)
    if stretch.since is not None:
        rows = rows.filter(at_s__gte=seconds_of(stretch.since, stretch.zone))
    if stretch.until is not None:
        rows = rows.filter(at_s__lt=seconds_of(stretch.until + timedelta(days=1), stretch.zone))
    return rows.exclude(run__state=Run.State.INVALID)


def seconds_of(day: date, zone: ZoneInfo) -> int:
    """Give the beginning of a day in a zone, in seconds since 1970."""
    return int(datetime.combine(day, time(), zone).timestamp())
