"""Several results of a lot held together against a specification: means and share within limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

import numpy as np

from gradation.science.envelope_form import (
    WHOLE_PCT,
    AssessmentRule,
    EnvelopeLine,
    LineKind,
    Outcome,
)
from gradation.science.envelopes import check_line, compared_figure, is_within
from gradation.science.errors import NotDeterminable, OutOfRange

Values = Sequence[float | None]

LEAST_FOR_A_SHARE = 3
"""The beta estimate of a share within limits needs a variance and a tail: n = 3 at least."""


class LotRule(StrEnum):
    """Which results a limit is held against."""

    SINGLE = "single"
    """Each result on its own."""
    MEAN = "mean"
    """The mean of the n results of a lot."""
    MOVING_MEAN = "moving_mean"
    """The mean of a result and the n - 1 before it."""
    WITHIN_LIMITS = "percent_within_limits"
    """The share of the lot estimated to lie within the limits, from n results or more."""


@dataclass(frozen=True, slots=True)
class LotPlan:
    """The lot rule with the figures it needs."""

    rule: LotRule = LotRule.SINGLE
    size: int = 1
    least_share_pct: Decimal | None = None

    def __post_init__(self) -> None:
        """Refuse a plan that no lot can keep."""
        if self.size < 1:
            raise OutOfRange("A lot has at least one result. Say how many are taken together.")
        if self.rule is LotRule.SINGLE:
            return
        least = LEAST_FOR_A_SHARE if self.rule is LotRule.WITHIN_LIMITS else 2
        if self.size < least:
            raise OutOfRange(
                f"This rule takes at least {least} results together; {self.size} is too few."
            )
        if self.rule is LotRule.WITHIN_LIMITS and not self._has_share():
            raise OutOfRange("Say which percentage must lie within the limits: above 0, up to 100.")

    def _has_share(self) -> bool:
        return self.least_share_pct is not None and 0 < self.least_share_pct <= WHOLE_PCT


@dataclass(frozen=True, slots=True)
class LotLine:
    """What one line of the specification says of a lot."""

    line: EnvelopeLine
    results: int
    mean: float | None
    """Mean of the unrounded values, in the line's unit; None while results are missing."""
    sd: float | None
    reported: Decimal | None
    """The mean as it is held against the limits."""
    share_within_pct: float | None
    outcome: Outcome
    reason: str = ""


@dataclass(frozen=True, slots=True)
class LotAssessment:
    """The lot as a whole, and line by line."""

    plan: LotPlan
    outcome: Outcome
    lines: tuple[LotLine, ...]


def assess_lot(
    results: Sequence[Values],
    lines: Sequence[EnvelopeLine],
    plan: LotPlan,
    rule: AssessmentRule | None = None,
) -> LotAssessment:
    """Give what several results together say against a specification.

    Parameters
    ----------
    results : sequence of sequence of float or None
        for each result, oldest first, the unrounded value of every line in the line's unit
        (as `LineVerdict.value`); None where it was not tested
    lines : sequence of EnvelopeLine
        limits [%], or in the unit of the characteristic value
    plan : LotPlan
        mean, moving mean, or share within limits, with its n
    rule : AssessmentRule, optional
        rounding of the mean, and rounded or unrounded comparison

    Returns
    -------
    LotAssessment
        lines in their order; not determined while there are fewer than n results

    Raises
    ------
    OutOfRange
        when a line cannot be compared, or a result has another number of values than lines

    Notes
    -----
    Mean: of all results of the lot; moving mean: of the last n. Values are averaged
    unrounded and the mean is rounded once, as a single value would be. Share within
    limits: the quality-index estimate of `quality.capability`, of all results of the lot,
    line by line; a limit of 0 or 100 % cannot be broken and does not count. No uncertainty
    enters: the scatter of the results is what these rules look at.

    References
    ----------
    Means of consecutive results: common practice of aggregate specifications. Share within
    limits: AASHTO R 9 as in `share_within_limits`.

    Examples
    --------
    Four results at 600 µm, of which one alone is above 60 %:

    >>> line = EnvelopeLine(aperture_um=Decimal(600), maximum=Decimal(60))
    >>> lot = assess_lot([[55.0], [61.0], [57.0], [58.0]], [line], LotPlan(LotRule.MEAN, 4))
    >>> lot.outcome.value, lot.lines[0].mean, str(lot.lines[0].reported)
    ('conforms', 57.75, '58')
    """
    if any(len(values) != len(lines) for values in results):
        raise OutOfRange("Every result needs a value for each line of the specification.")
    taken = results[-plan.size :] if plan.rule is LotRule.MOVING_MEAN else results
    chosen = rule or AssessmentRule()
    found = tuple(
        _line(line, [values[number] for values in taken], plan, chosen)
        for number, line in enumerate(lines)
    )
    return LotAssessment(plan, _outcome(found), found)


def _outcome(lines: Sequence[LotLine]) -> Outcome:
    """The outcome over all lines."""
    found = {each.outcome for each in lines} or {Outcome.NOT_DETERMINED}
    worst_first = (Outcome.DOES_NOT_CONFORM, Outcome.NOT_DETERMINED)
    return next((each for each in worst_first if each in found), Outcome.CONFORMS)


def _line(line: EnvelopeLine, values: Values, plan: LotPlan, rule: AssessmentRule) -> LotLine:
    """One line over the results of the lot."""
    check_line(line)
    known = [each for each in values if each is not None]
    mean = float(np.mean(known)) if known else None
    sd = float(np.std(known, ddof=1)) if len(known) > 1 else None
    reason = _what_is_missing(len(known), len(values), plan)
    if reason or mean is None:
        return LotLine(
            line, len(known), mean, sd, None, None, Outcome.NOT_DETERMINED,
            reason or "No result of the lot has this value.",
        )  # fmt: skip
    reported = compared_figure(line, _as_looked_at(line, mean), rule)
    if plan.rule is LotRule.WITHIN_LIMITS:
        share = _share_within(line, known)
        is_enough = share >= float(plan.least_share_pct or WHOLE_PCT) - _NOISE_PCT
        return LotLine(line, len(known), mean, sd, reported, share, _said(is_inside=is_enough))
    is_inside = is_within(reported, line)
    return LotLine(line, len(known), mean, sd, reported, None, _said(is_inside=is_inside))


_NOISE_PCT = 1e-9  # double precision of a share in per cent


def _said(*, is_inside: bool) -> Outcome:
    return Outcome.CONFORMS if is_inside else Outcome.DOES_NOT_CONFORM


def _what_is_missing(known: int, given: int, plan: LotPlan) -> str:
    """Why the lot cannot be judged yet; empty when it can."""
    if known < given:
        return f"{given - known} of {given} results have no value here."
    if known < plan.size:
        return f"{known} of {plan.size} results so far."
    return ""


def _as_looked_at(line: EnvelopeLine, value: float) -> float:
    """The number `compared_figure` takes: passing, also for a line on what is retained."""
    return 100.0 - value if line.kind is LineKind.RETAINED else value


def _share_within(line: EnvelopeLine, values: Sequence[float]) -> float:
    """The share of the lot within the line's limits [%]."""
    from gradation.science.quality.capability import ProcessLimits, share_within_limits

    low, high = line.limits()
    if line.kind is not LineKind.CHARACTERISTIC:
        low = None if low is not None and low <= 0 else low
        high = None if high is not None and high >= WHOLE_PCT else high
    if low is None and high is None:
        return 100.0
    if low == high:
        raise NotDeterminable("Limits that only meet leave no room for a share within them.")
    ends = (None if low is None else float(low), None if high is None else float(high))
    return 100.0 * share_within_limits(values, ProcessLimits(*ends))
