"""Control charts and capability."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from gradation.science.calculations.reading import (
    ZERO,
    Answer,
    Reader,
    maybe,
    number,
    numbers,
    table,
)
from gradation.science.calculations.writing import counted, plain, record
from gradation.science.quality.capability import (
    ProcessLimits,
    WithinSigma,
    capability,
    expected_outside,
    indices_from_summary,
    share_within_limits,
)
from gradation.science.quality.control_charts import (
    ChartLimits,
    ControlChart,
    Spread,
    counts_limits,
    individuals_chart,
    individuals_limits,
    limits_from_summary,
    subgroup_chart,
    subgroup_limits,
)
from gradation.science.quality.run_rules import RULES_OF_1956, RULES_OF_1984, RunRule, signals
from gradation.science.quality.weighted_charts import (
    WeightedChart,
    cumulative_sum_chart,
    moving_mean_chart,
    weighted_mean_chart,
)
from gradation.science.worksheet_reading import Fields


class Kind(StrEnum):
    """Which chart."""

    INDIVIDUALS = "individuals"
    XBAR_R = "xbar_r"
    XBAR_S = "xbar_s"
    COUNTS = "counts"
    EWMA = "ewma"
    MOVING_AVERAGE = "moving_average"
    CUSUM = "cusum"


class RuleSet(StrEnum):
    """Which run rules."""

    NONE = "none"
    SET_OF_1956 = "set_of_1956"
    SET_OF_1984 = "set_of_1984"


@dataclass(frozen=True, slots=True)
class _Asked:
    """Everything a chart may be asked with."""

    kind: Kind
    values: tuple[float, ...]
    base: tuple[float, ...]
    subgroups: tuple[tuple[float, ...], ...]
    base_subgroups: tuple[tuple[float, ...], ...]
    summary: tuple[float, float, int, int] | None
    centre: float | None
    sigma: float | None
    rules: tuple[RunRule, ...]
    weight: float
    width: float
    span: int
    allowance: float
    decision: float


_RULES = {
    RuleSet.NONE: (),
    RuleSet.SET_OF_1956: RULES_OF_1956,
    RuleSet.SET_OF_1984: RULES_OF_1984,
}
_SUBGROUPED = (Kind.XBAR_R, Kind.XBAR_S)
_COMMON = ("chart", "rules")
_KEYS = {
    Kind.INDIVIDUALS: ("values", "base"),
    Kind.XBAR_R: ("subgroups", "base_subgroups", "summary"),
    Kind.XBAR_S: ("subgroups", "base_subgroups", "summary"),
    Kind.COUNTS: ("values", "base"),
    Kind.EWMA: ("values", "base", "centre", "sigma", "weight", "width"),
    Kind.MOVING_AVERAGE: ("values", "base", "centre", "sigma", "span", "width"),
    Kind.CUSUM: ("values", "centre", "allowance", "decision"),
}


def _control_chart(fields: Fields) -> Answer:
    """Points beside their limits, and the run rules they break."""
    fields.require("chart")
    kind = fields.choice("chart", Kind.INDIVIDUALS)
    fields.only((*_COMMON, *_KEYS[kind]))
    asked = _Asked(
        kind=kind,
        values=numbers(fields, "values"),
        base=numbers(fields, "base"),
        subgroups=table(fields, "subgroups"),
        base_subgroups=table(fields, "base_subgroups"),
        summary=_summary(fields.object("summary")),
        centre=maybe(fields, "centre"),
        sigma=maybe(fields, "sigma", least=ZERO),
        rules=_RULES[fields.choice("rules", RuleSet.SET_OF_1984)],
        weight=number(fields, "weight", 0.2, above=ZERO),
        width=number(fields, "width", 3.0, above=ZERO),
        span=fields.whole("span", 5, 1000),
        allowance=number(fields, "allowance", least=ZERO),
        decision=number(fields, "decision", least=ZERO),
    )
    _check_chart(fields, asked)
    draw = _CHARTS[kind]
    return lambda: {"chart": kind.value, **draw(asked)}


def _summary(fields: Fields | None) -> tuple[float, float, int, int] | None:
    """The summary of a base period of subgroups."""
    if fields is None:
        return None
    fields.only(("grand_mean", "mean_spread", "subgroup_size", "subgroups"))
    fields.require("grand_mean", "mean_spread", "subgroup_size")
    return (
        number(fields, "grand_mean"),
        number(fields, "mean_spread", least=ZERO),
        fields.whole("subgroup_size", 0, 1000),
        fields.whole("subgroups", 0, 1_000_000),
    )


def _check_chart(fields: Fields, asked: _Asked) -> None:
    """What a chart of this kind cannot do without."""
    if asked.kind in _SUBGROUPED:
        if not fields.has("subgroups") and asked.summary is None:
            fields.fault("subgroups", "is missing; give subgroups, or the summary of a base.")
        return
    fields.require("values")
    if asked.kind is Kind.CUSUM:
        fields.require("centre", "allowance", "decision")
    has_centre = fields.has("centre") and fields.has("sigma")
    if asked.kind in (Kind.EWMA, Kind.MOVING_AVERAGE) and not (has_centre or fields.has("base")):
        fields.fault("base", "is missing; give a base period, or centre and sigma.")


def _individuals(asked: _Asked) -> dict[str, Any]:
    """Single values and moving ranges."""
    limits = individuals_limits(asked.base) if asked.base else None
    return _chart_json(individuals_chart(asked.values, limits), asked.rules)


def _counts(asked: _Asked) -> dict[str, Any]:
    """Counts of faults."""
    chart = individuals_chart(asked.values, counts_limits(asked.base or asked.values))
    return _chart_json(chart, asked.rules) | {"spread": None, "spread_outside": []}


def _subgroups(asked: _Asked) -> dict[str, Any]:
    """Means of subgroups and their ranges or standard deviations."""
    spread = Spread.RANGE if asked.kind is Kind.XBAR_R else Spread.STANDARD_DEVIATION
    limits: ChartLimits | None = None
    if asked.summary is not None:
        mean, scatter, size, count = asked.summary
        limits = limits_from_summary(mean, scatter, size, spread, count)
    elif asked.base_subgroups:
        limits = subgroup_limits(asked.base_subgroups, spread)
    if limits is not None and not asked.subgroups:
        return {"limits": plain(limits), "points": [], "outside": [], "signals": []}
    return _chart_json(subgroup_chart(asked.subgroups, limits, spread), asked.rules)


def _chart_json(chart: ControlChart, rules: tuple[RunRule, ...]) -> dict[str, Any]:
    """A pair of charts as data."""
    return {
        "points": plain(chart.points),
        "spread": plain(chart.spread),
        "limits": plain(chart.limits),
        "outside": counted(chart.outside),
        "spread_outside": counted(chart.spread_outside),
        "signals": [
            {
                "rule": each.rule.value,
                "point": each.position + 1,
                "first": each.first + 1,
                "reason": each.reason,
            }
            for each in (signals(chart.standardised, rules) if rules else ())
        ],
    }


def _centre_and_sigma(asked: _Asked) -> tuple[float, float]:
    """What a chart with memory is held against: stated, or from a base of single values."""
    if asked.centre is not None and asked.sigma is not None:
        return asked.centre, asked.sigma
    limits = individuals_limits(asked.base)
    centre = limits.centre if asked.centre is None else asked.centre
    return centre, limits.sigma if asked.sigma is None else asked.sigma


def _ewma(asked: _Asked) -> dict[str, Any]:
    """Exponentially weighted means."""
    base = _centre_and_sigma(asked)
    chart = weighted_mean_chart(asked.values, *base, weight=asked.weight, width=asked.width)
    return _weighted_json(chart, base[1])


def _moving_average(asked: _Asked) -> dict[str, Any]:
    """Moving means."""
    base = _centre_and_sigma(asked)
    chart = moving_mean_chart(asked.values, *base, span=asked.span, width=asked.width)
    return _weighted_json(chart, base[1])


def _weighted_json(chart: WeightedChart, sigma: float) -> dict[str, Any]:
    """A chart with memory as data."""
    return record(chart) | {"sigma": sigma, "outside": counted(chart.outside)}


def _cusum(asked: _Asked) -> dict[str, Any]:
    """Cumulative sums."""
    chart = cumulative_sum_chart(
        asked.values, asked.centre or 0.0, allowance=asked.allowance, decision=asked.decision
    )
    return record(chart) | {"outside": counted(chart.outside)}


_CHARTS: dict[Kind, Callable[[_Asked], dict[str, Any]]] = {
    Kind.INDIVIDUALS: _individuals,
    Kind.XBAR_R: _subgroups,
    Kind.XBAR_S: _subgroups,
    Kind.COUNTS: _counts,
    Kind.EWMA: _ewma,
    Kind.MOVING_AVERAGE: _moving_average,
    Kind.CUSUM: _cusum,
}


def _capability(fields: Fields) -> Answer:
    """Capability of a process, from its values or from mean and standard deviation."""
    fields.only(("values", "summary", "lower", "upper", "target", "within", "confidence"))
    limits = ProcessLimits(maybe(fields, "lower"), maybe(fields, "upper"), maybe(fields, "target"))
    if not fields.has("lower") and not fields.has("upper"):
        fields.fault("upper", "is missing; give a lower or an upper limit.")
    if fields.has("values") == fields.has("summary"):
        fields.fault("values", "give either values or a summary of mean and sd.")
    values, within = numbers(fields, "values"), _within(fields.object("within"))
    confidence = number(fields, "confidence", 0.95, above=ZERO)
    summary = fields.object("summary")
    if summary is not None:
        summary.only(("mean", "sd"))
        summary.require("mean", "sd")
        mean, sd = number(summary, "mean"), number(summary, "sd", 1.0, above=ZERO)
        return lambda: _of_summary(limits, mean, sd)
    return lambda: _of_values(values, limits, within, confidence)


def _within(fields: Fields | None) -> WithinSigma | None:
    """The scatter within a short time, as a control chart found it."""
    if fields is None:
        return None
    fields.only(("sigma", "freedom"))
    fields.require("sigma", "freedom")
    return WithinSigma(
        number(fields, "sigma", 1.0, above=ZERO), number(fields, "freedom", 1.0, above=ZERO)
    )


def _of_summary(limits: ProcessLimits, mean: float, sd: float) -> dict[str, Any]:
    """Indices without intervals."""
    cp, cpk = indices_from_summary(limits, mean, sd)
    return {
        "cp": plain(cp),
        "cpk": cpk,
        "expected_outside_pct": 100.0 * expected_outside(limits, mean, sd),
        "not_determinable": _missing(limits, ("cp",)),
    }


def _of_values(
    values: tuple[float, ...],
    limits: ProcessLimits,
    within: WithinSigma | None,
    confidence: float,
) -> dict[str, Any]:
    """Indices with intervals."""
    found = record(capability(values, limits, within=within, confidence=confidence))
    shares = {
        f"{name}_pct": 100.0 * found.pop(name) for name in ("observed_outside", "expected_outside")
    }
    return {
        **found,
        **shares,
        "within_limits_pct": 100.0 * share_within_limits(values, limits),
        "confidence": confidence,
        "not_determinable": _missing(limits, ("cp", "pp", "cpm")),
    }


def _missing(limits: ProcessLimits, names: tuple[str, ...]) -> dict[str, str]:
    """Why some indices are null."""
    if limits.lower is None or limits.upper is None:
        return dict.fromkeys(names, "This index needs both limits.")
    needs_target = "cpm" in names and limits.target is None
    return {"cpm": "This index needs a target."} if needs_target else {}


CALCULATIONS: Mapping[str, Reader] = {
    "control_chart": _control_chart,
    "capability": _capability,
}
