"""A series of runs as a control chart: points, limits, what is out of the ordinary, capability.

Every figure comes from `gradation.science.quality`; here runs become points and subgroups.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gradation.models import ControlChart, FrozenLimits
from gradation.queries.trend_rules import begins_alone, own_rule, rules_of
from gradation.queries.trend_series import RunSeries, Whole
from gradation.science.quality import control_charts as pairs
from gradation.science.quality import weighted_charts as memory
from gradation.science.quality.capability import (
    Capability,
    ProcessLimits,
    WithinSigma,
    capability,
    subgroup_sigma,
)
from gradation.science.quality.run_rules import rule_hits

__all__ = ["Chart", "Method", "Trend", "capability_of", "limits_of", "method_of", "trend_of"]

Kind = ControlChart.Kind
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Method:
    """How a series is charted and judged."""

    kind: str = Kind.INDIVIDUALS.value
    subgroup: str = ControlChart.Subgroup.DETERMINATIONS.value
    subgroup_size: int = 2
    rules: str = ControlChart.Rules.SET_1984.value
    weight: float = 0.2
    span: int = 5

    @property
    def is_of_subgroups(self) -> bool:
        """Say whether a point stands for several runs."""
        return self.kind in {Kind.MEAN_RANGE, Kind.MEAN_DEVIATION}

    @property
    def is_by_sample(self) -> bool:
        """Say whether the determinations of a sample make a point."""
        return self.is_of_subgroups and self.subgroup == ControlChart.Subgroup.DETERMINATIONS

    @property
    def has_memory(self) -> bool:
        """Say whether a point holds earlier values too."""
        return self.kind in {Kind.WEIGHTED, Kind.MOVING}

    @property
    def spread(self) -> pairs.Spread:
        """What measures the scatter of subgroups."""
        is_range = self.kind != Kind.MEAN_DEVIATION
        return pairs.Spread.RANGE if is_range else pairs.Spread.STANDARD_DEVIATION


def method_of(chart: ControlChart) -> Method:
    """Give the method a stored chart names."""
    return Method(
        kind=chart.kind,
        subgroup=chart.subgroup,
        subgroup_size=chart.subgroup_size,
        rules=chart.rules,
        weight=float(chart.weight),
        span=chart.span,
    )


@dataclass(frozen=True)
class Chart:
    """Points as drawn, with the limits of each."""

    point: Floats
    lower: Floats
    upper: Floats
    spread: Floats | None
    """Moving ranges (the first nan), ranges or deviations; None on charts with memory."""
    limits: pairs.ChartLimits
    flags: dict[str, Flags]
    """For each rule that was broken, at which points."""


@dataclass(frozen=True)
class Trend:
    """A judged series."""

    method: Method
    runs: RunSeries
    """The last run of each point."""
    subgroups: Floats
    """(m, n) values behind the points; n = 1 for single values."""
    chart: Chart
    is_frozen: bool
    left_out: int = 0
    """Runs in subgroups that are not complete."""
    flagged: Flags = field(init=False)

    def __post_init__(self) -> None:
        """Gather what any rule found."""
        none = np.zeros(len(self.runs), dtype=np.bool_)
        anything = np.logical_or.reduce([none, *self.chart.flags.values()])
        object.__setattr__(self, "flagged", anything)

    def rules_at(self, place: int) -> list[str]:
        """Name the rules broken at a point."""
        return [rule for rule, hits in self.chart.flags.items() if hits[place]]

    def findings(self) -> dict[int, list[str]]:
        """Give the points where something begins to be out of the ordinary, with the rules."""
        found: dict[int, list[str]] = {}
        for rule, hits in self.chart.flags.items():
            begins = hits if begins_alone(rule) else hits & ~np.roll(hits, 1)
            if hits.size and not begins_alone(rule):
                begins[0] = hits[0]
            for place in np.flatnonzero(begins):
                found.setdefault(int(place), []).append(rule)
        return found


def trend_of(runs: RunSeries, method: Method, frozen: FrozenLimits | None = None) -> Trend:
    """Judge a series against frozen limits, or against those of the series itself.

    Raises the calculation's own refusal where there are too few points, or limits were made for
    another size of subgroup.
    """
    places, left_out = _subgroups(runs, method)
    values = runs.value[places]
    limits = None if frozen is None else limits_of(frozen)
    chart = _charted(values, method, limits)
    return Trend(method, runs.taken(places[:, -1]), values, chart, frozen is not None, left_out)


def limits_of(frozen: FrozenLimits) -> pairs.ChartLimits:
    """Give stored limits as the calculation takes them."""
    return pairs.ChartLimits(
        centre=frozen.centre,
        lower=frozen.lower,
        upper=frozen.upper,
        sigma=frozen.sigma,
        spread_centre=frozen.spread_centre,
        spread_lower=frozen.spread_lower,
        spread_upper=frozen.spread_upper,
        subgroup_size=frozen.subgroup_size,
        base_points=frozen.base_points,
    )


def _subgroups(runs: RunSeries, method: Method) -> tuple[Whole, int]:
    """Give the places of the runs behind each point, (m, n), and how many runs are left out."""
    count = len(runs)
    if not method.is_of_subgroups:
        return np.arange(count).reshape(count, 1), 0
    size = method.subgroup_size
    if method.subgroup == ControlChart.Subgroup.CONSECUTIVE:
        whole = count - count % size
        return np.arange(whole).reshape(-1, size), count - whole
    places = _determinations(runs.sample_id, size)
    return places, count - places.size


def _determinations(sample_id: Whole, size: int) -> Whole:
    """Take the first `size` runs of each sample that has so many, in the order of their last."""
    order = np.argsort(sample_id, kind="stable")
    _, first, counts = np.unique(sample_id[order], return_index=True, return_counts=True)
    starts = first[counts >= size]
    places = order[starts[:, None] + np.arange(size)] if starts.size else np.empty((0, size), int)
    return np.asarray(places[np.argsort(places[:, -1], kind="stable")])


def _charted(values: Floats, method: Method, limits: pairs.ChartLimits | None) -> Chart:
    if method.has_memory:
        return _with_memory(values[:, 0], method, limits)
    if method.is_of_subgroups:
        pair = pairs.subgroup_chart(values, limits, method.spread)
    else:
        pair = pairs.individuals_chart(values[:, 0], limits)
    z = pair.standardised
    flags = {rule.value: rule_hits(z, rule) for rule in rules_of(method.rules)}
    flags[own_rule(method.kind)] = _at(pair.spread_outside, z.size)
    even = np.ones_like(pair.points)
    return Chart(
        point=pair.points,
        lower=even * pair.limits.lower,
        upper=even * pair.limits.upper,
        spread=pair.spread,
        limits=pair.limits,
        flags=_broken(flags),
    )


def _with_memory(values: Floats, method: Method, limits: pairs.ChartLimits | None) -> Chart:
    against = pairs.individuals_limits(values) if limits is None else limits
    level = (against.centre, against.sigma)
    if method.kind == Kind.WEIGHTED:
        found = memory.weighted_mean_chart(values, *level, weight=method.weight)
    else:
        found = memory.moving_mean_chart(values, *level, span=method.span)
    flags = {own_rule(method.kind): _at(found.outside, values.size)}
    return Chart(found.points, found.lower, found.upper, None, against, _broken(flags))


def _at(places: tuple[int, ...], count: int) -> Flags:
    hits = np.zeros(count, dtype=np.bool_)
    hits[list(places)] = True
    return hits


def _broken(flags: dict[str, Flags]) -> dict[str, Flags]:
    return {rule: hits for rule, hits in flags.items() if hits.any()}


def capability_of(trend: Trend, limits: ProcessLimits) -> Capability:
    """Give the capability of the values shown against a specification's limits.

    The short-time scatter is that within subgroups, else that of moving ranges. Raises the
    calculation's own refusal for too few values or none that differ.
    """
    within: WithinSigma | None = None
    if trend.subgroups.shape[1] > 1:
        within = subgroup_sigma(trend.subgroups)
    return capability(trend.subgroups.ravel(), limits, within=within)
