"""Stored control charts: the list, one with its limits and notes, its judged series."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, F, Prefetch, Q, QuerySet

from gradation.errors import NotFound
from gradation.models import Bench, ChartNote, ControlChart, FrozenLimits, Nest, Run, User
from gradation.queries.figure_names import aperture_of
from gradation.queries.methods import specification_on
from gradation.queries.trend_series import Followed, RunSeries
from gradation.queries.trends import Trend, method_of, trend_of
from gradation.queries.worksheets import envelope_of
from gradation.science.envelopes import EnvelopeLine, LineKind
from gradation.science.errors import GradationError
from gradation.science.quality.capability import ProcessLimits

__all__ = [
    "GroupTrend",
    "ProcessLine",
    "chart_list",
    "find_chart",
    "find_note",
    "followed_by",
    "group_names",
    "group_trends",
    "in_force",
    "notes_of",
    "open_notes",
    "process_line",
    "runs_named",
]


def chart_list() -> QuerySet[ControlChart]:
    """List the charts kept, those given up last, with how many points wait for an answer."""
    waiting = Count("notes", filter=Q(notes__answered_at__isnull=True), distinct=True)
    frozen = FrozenLimits.objects.filter(ended_at__isnull=True).order_by("group_name")
    return (
        ControlChart.objects.select_related("material", "procedure")
        .prefetch_related(Prefetch("frozen", frozen, to_attr="limits_in_force"))
        .annotate(waiting=waiting)
        .order_by(F("closed_at").asc(nulls_first=True), "name")
    )


def find_chart(pk: int) -> ControlChart:
    """Give one chart, or `NotFound`."""
    chart = (
        ControlChart.objects.select_related(
            "material__default_specification", "procedure", "opened_by", "closed_by"
        )
        .prefetch_related(
            Prefetch("frozen", FrozenLimits.objects.select_related("frozen_by", "ended_by"))
        )
        .filter(pk=pk)
        .first()
    )
    if chart is None:
        msg = "There is no such control chart. Choose one from the list of charts."
        raise NotFound(msg)
    return chart


def in_force(chart: ControlChart) -> dict[int, FrozenLimits]:
    """Give the frozen limits a chart is held against, by group; one not kept has none."""
    if chart._state.adding:
        return {}
    return {each.group_key: each for each in chart.frozen.all() if each.ended_at is None}


def followed_by(chart: ControlChart) -> Followed:
    """Say what a chart follows."""
    return Followed(
        characteristic=chart.characteristic,
        material_id=chart.material_id,
        procedure_id=chart.procedure_id,
        group_by=chart.group_by,
        needs_samples=method_of(chart).is_by_sample,
    )


_NAMED: dict[str, Callable[[], QuerySet[Any, Any]]] = {
    ControlChart.Group.BENCH.value: lambda: Bench.objects.values_list("pk", "name"),
    ControlChart.Group.NEST.value: lambda: Nest.objects.values_list("pk", "name"),
    ControlChart.Group.TECHNICIAN.value: lambda: User.objects.values_list("pk", "full_name"),
}


def group_names(group_by: str, keys: Iterable[int]) -> dict[int, str]:
    """Name benches, sieve sets or technicians; runs without one have a name too."""
    if group_by not in _NAMED:
        return {0: "all runs"}
    wanted = list(keys)
    known: dict[int, str] = dict(_NAMED[group_by]().filter(pk__in=wanted))
    return {key: known.get(key, f"no {group_by} named") for key in wanted}


@dataclass(frozen=True)
class GroupTrend:
    """One group of a chart, judged against its own limits; `why` where it cannot be."""

    key: int
    name: str
    runs: int
    trend: Trend | None
    why: str = ""


def group_trends(chart: ControlChart, runs: RunSeries) -> list[GroupTrend]:
    """Judge each group of a series on its own, the first name first."""
    if not len(runs):
        return []
    held = in_force(chart)
    names = group_names(chart.group_by, runs.groups)
    found = [
        _judged(chart, key, name, runs.taken(runs.group_id == key), held.get(key))
        for key, name in names.items()
    ]
    return sorted(found, key=lambda group: (group.key == 0, group.name))


def _judged(
    chart: ControlChart, key: int, name: str, runs: RunSeries, frozen: FrozenLimits | None
) -> GroupTrend:
    try:
        return GroupTrend(key, name, len(runs), trend_of(runs, method_of(chart), frozen))
    except GradationError as error:
        return GroupTrend(key, name, len(runs), None, str(error))


@dataclass(frozen=True)
class ProcessLine:
    """The limits a specification sets to what a chart follows."""

    specification: str
    limits: ProcessLimits


def process_line(chart: ControlChart, day: date) -> ProcessLine | None:
    """Find the line on the charted figure in the material's specification valid on a day."""
    version = specification_on(chart.material, day) if chart.material else None
    for line in envelope_of(version):
        low, high = line.limits()
        if _is_of(line, chart.characteristic) and (low is not None or high is not None):
            ends = [None if end is None else float(end) for end in (low, high, line.target)]
            return ProcessLine(str(version), ProcessLimits(*ends))
    return None


def _is_of(line: EnvelopeLine, key: str) -> bool:
    aperture = aperture_of(key)
    if aperture is None:
        return line.kind is LineKind.CHARACTERISTIC and line.characteristic == key
    return line.kind is LineKind.PASSING and line.aperture_um == aperture


def _notes() -> QuerySet[ChartNote]:
    return ChartNote.objects.select_related(
        "chart__material", "chart__procedure", "run__portion__sample", "answered_by"
    )


def open_notes() -> QuerySet[ChartNote]:
    """List the points that wait for an answer, the newest first."""
    return _notes().filter(answered_at__isnull=True)


def notes_of(chart: ControlChart) -> QuerySet[ChartNote]:
    """List the notes of a chart, the newest run first."""
    return _notes().filter(chart=chart).order_by("-run_opened_at", "-id")


def find_note(pk: int) -> ChartNote:
    """Give one note, or `NotFound`."""
    note = _notes().filter(pk=pk).first()
    if note is None:
        msg = "There is no such point to answer. Choose one from the list of control charts."
        raise NotFound(msg)
    return note


def runs_named(keys: Iterable[int]) -> dict[int, Run]:
    """Give runs by their keys, with what names them."""
    runs = Run.objects.filter(pk__in=list(keys)).select_related(
        "portion__sample", "bench", "nest", "technician"
    )
    return {run.pk: run for run in runs}
