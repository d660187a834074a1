"""Which rules a chart applies, and the sentence beside each point that breaks one."""

from __future__ import annotations

from gradation.models import ControlChart
from gradation.science.quality.run_rules import RULES_OF_1956, RULES_OF_1984, RunRule

__all__ = ["OF_SPREAD", "THREE_SIGMA", "begins_alone", "own_rule", "reason_of", "rules_of"]

THREE_SIGMA = RunRule.BEYOND_THREE_SIGMA.value

_OWN = {
    ControlChart.Kind.INDIVIDUALS.value: "moving_range_beyond_limit",
    ControlChart.Kind.MEAN_RANGE.value: "range_beyond_limit",
    ControlChart.Kind.MEAN_DEVIATION.value: "deviation_beyond_limit",
    ControlChart.Kind.WEIGHTED.value: "weighted_mean_beyond_limits",
    ControlChart.Kind.MOVING.value: "moving_mean_beyond_limits",
}
_REASONS = {
    "moving_range_beyond_limit": "The moving range lies beyond its limit.",
    "range_beyond_limit": "The range of the subgroup lies beyond its limit.",
    "deviation_beyond_limit": "The deviation of the subgroup lies beyond a limit.",
    "weighted_mean_beyond_limits": "The weighted mean lies beyond its limits.",
    "moving_mean_beyond_limits": "The moving mean lies beyond its limits.",
}
#: What the chart of scatter finds; the points of the level are not concerned.
OF_SPREAD = frozenset(list(_REASONS)[:3])
_SETS: dict[str, tuple[RunRule, ...]] = {
    ControlChart.Rules.THREE_SIGMA.value: (RunRule.BEYOND_THREE_SIGMA,),
    ControlChart.Rules.SET_1956.value: RULES_OF_1956,
    ControlChart.Rules.SET_1984.value: RULES_OF_1984,
}


def rules_of(chosen: str) -> tuple[RunRule, ...]:
    """Give the run rules of a set; an unknown word gives the first alone."""
    return _SETS.get(chosen, (RunRule.BEYOND_THREE_SIGMA,))


def own_rule(kind: str) -> str:
    """Name the rule a kind of chart has besides the run rules: its scatter, or its own mean."""
    return _OWN[kind]


def reason_of(rule: str) -> str:
    """Say what a rule found, as a sentence."""
    return _REASONS[rule] if rule in _REASONS else RunRule(rule).reason


def begins_alone(rule: str) -> bool:
    """Say whether each point that breaks the rule is a finding of its own.

    Of a pattern of several points (nine on one side, then a tenth) the first that completes it is
    the finding; the next ones go on with it.
    """
    return rule == THREE_SIGMA or rule in OF_SPREAD
