"""Decision rules: from a value, its uncertainty and its limits to a statement of conformity.

Public: `Rule`, `Outcome`, `DecisionRule`, `Limits`, `decide`, `conformance_probability`,
`acceptance_zone`, `overall`. A rule is agreed before the test and named beside every verdict.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.errors import OutOfRange

FloatArray = NDArray[np.float64]
OutcomeArray = NDArray[np.object_]

# A value that is arithmetically on its limit must not fall off it through binary noise: shares and
# micrometres computed in double precision agree to about 1e-15 of their size; 1e-12 is far above
# that and far below any balance.
_NOISE = 1e-12


class Rule(StrEnum):
    """How the measurement uncertainty enters the verdict."""

    PLAIN = "plain"
    GUARD_BAND = "guard_band"
    PROBABILITY = "conformance_probability"


class Outcome(StrEnum):
    """What may be said of a value against its limits."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does not conform"
    NOT_DECIDABLE = "not decidable at this confidence"


@dataclass(frozen=True)
class DecisionRule:
    """A rule with the numbers it needs."""

    rule: Rule = Rule.PLAIN
    confidence: float = 0.95
    guard_factor: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a confidence or guard factor that cannot be applied."""
        if not 0.5 <= self.confidence < 1.0:
            raise OutOfRange("The confidence of a decision rule must be 0.5 or more, and below 1.")
        if not self.guard_factor >= 0.0:
            raise OutOfRange("The guard band cannot be negative.")

    @property
    def coverage_factor(self) -> float:
        """Give the normal two-sided coverage factor of the confidence."""
        from scipy.special import ndtri  # here, so that plain acceptance loads no scipy

        return float(ndtri(0.5 + self.confidence / 2.0))


@dataclass(frozen=True)
class Limits:
    """Lower and upper limits of the values they are laid beside; NaN or None is no limit."""

    lower: ArrayLike | None = None
    upper: ArrayLike | None = None
    lower_inclusive: bool = True
    upper_inclusive: bool = True

    def __post_init__(self) -> None:
        """Refuse a lower limit above its upper one."""
        if np.any(self.lower_array > self.upper_array):
            raise OutOfRange("A lower limit lies above its upper limit. Check the specification.")

    @property
    def lower_array(self) -> FloatArray:
        """Give the lower limits, minus infinity where there is none."""
        return _open_ended(self.lower, -np.inf)

    @property
    def upper_array(self) -> FloatArray:
        """Give the upper limits, plus infinity where there is none."""
        return _open_ended(self.upper, np.inf)


@dataclass(frozen=True)
class Decisions:
    """Outcome, conformance probability and guard band of each value."""

    outcomes: OutcomeArray
    probability: FloatArray
    guard_band: FloatArray
    margin: FloatArray


def _open_ended(limit: ArrayLike | None, absent: float) -> FloatArray:
    given = np.asarray(np.nan if limit is None else limit, dtype=np.float64)
    return np.where(np.isnan(given), absent, given)


def conformance_probability(values: ArrayLike, standard: ArrayLike, limits: Limits) -> FloatArray:
    """Give the probability that each true value lies within its limits.

    Parameters
    ----------
    values : array_like, (...)
        measured values [any unit]
    standard : array_like, broadcastable to (...)
        standard uncertainties [the same unit], >= 0
    limits : Limits
        limits [the same unit], one- or two-sided

    Returns
    -------
    ndarray, (...)
        probability, 0 to 1 [pure number]; NaN where a value or its uncertainty is NaN

    Raises
    ------
    OutOfRange
        when an uncertainty is negative

    Notes
    -----
    p_c = Phi((T_U - y) / u) - Phi((T_L - y) / u): a normal distribution about the measured value,
    no prior knowledge. Without uncertainty the probability is 1 inside the limits and 0 outside.

    References
    ----------
    JCGM 106:2012, 7.2 to 7.4 (normal distributions, one- and two-sided limits).

    Examples
    --------
    The breakdown voltage of a diode, -5.47 V with u = 0.05 V, at most -5.40 V:

    >>> conformance_probability(-5.47, 0.05, Limits(upper=-5.40)).round(3).item()
    0.919
    """
    from scipy.special import ndtr  # here, so that plain acceptance loads no scipy

    y = np.asarray(values, dtype=np.float64)
    u = np.asarray(standard, dtype=np.float64)
    if np.any(u < 0):
        raise OutOfRange("A standard uncertainty cannot be negative. Check the budget.")
    certain = u == 0
    safe = np.where(certain, 1.0, u)
    lower, upper = limits.lower_array, limits.upper_array
    # Both tails from the near side, so that a value far inside does not lose its digits. With a
    # vanishing uncertainty a distance may become infinite: its tail is 0 or 1, as it should be.
    with np.errstate(over="ignore"):
        outside = ndtr((lower - y) / safe) + ndtr((y - upper) / safe)
    step = np.where(_within(y, limits), 1.0, 0.0)
    known = np.where(certain, step, 1.0 - outside)
    return np.where(np.isnan(y) | np.isnan(u), np.nan, known)


def _slack(values: FloatArray, limit: FloatArray) -> FloatArray:
    finite = np.where(np.isfinite(limit), np.abs(limit), 0.0)
    return _NOISE * np.maximum(1.0, np.maximum(np.abs(values), finite))


def _within(
    values: FloatArray, limits: Limits, guard: FloatArray | float = 0.0
) -> NDArray[np.bool_]:
    """Say where values lie within the limits drawn in by a guard band (drawn out if negative)."""
    lower, upper = limits.lower_array + guard, limits.upper_array - guard
    low, high = _slack(values, lower), _slack(values, upper)
    above = np.where(limits.lower_inclusive, values >= lower - low, values > lower + low)
    below = np.where(limits.upper_inclusive, values <= upper + high, values < upper - high)
    return np.asarray(above & below, dtype=np.bool_)


def acceptance_zone(
    standard: ArrayLike, limits: Limits, rule: DecisionRule
) -> tuple[FloatArray, FloatArray]:
    """Give the limits a measured value must keep for the verdict 'conforms'.

    Parameters
    ----------
    standard : array_like, (...)
        standard uncertainties [unit of the limits], >= 0
    limits : Limits
        tolerance limits [unit of the value]
    rule : DecisionRule
        plain, or guard band w = guard_factor x U

    Returns
    -------
    tuple of ndarray, (...)
        lower and upper acceptance limit [unit of the value]; infinite where there is no limit. When
        the lower lies above the upper, no value can be said to conform.

    Raises
    ------
    OutOfRange
        for a rule by probability, which has no closed zone with two limits

    Notes
    -----
    A_L = T_L + w, A_U = T_U - w with w = r U, U = k u; w = 0 under plain acceptance.

    References
    ----------
    JCGM 106:2012, 8.3.2; ILAC-G8:09/2019, 4.2.2 and table 1 (w = U).

    Examples
    --------
    >>> low, high = acceptance_zone(0.01, Limits(0.45, 0.70), DecisionRule(Rule.GUARD_BAND))
    >>> round(low.item(), 4), round(high.item(), 4)
    (0.4696, 0.6804)
    """
    if rule.rule is Rule.PROBABILITY:
        raise OutOfRange("A rule by conformance probability has no fixed acceptance zone.")
    width = guard_band(standard, rule)
    return limits.lower_array + width, limits.upper_array - width


def guard_band(standard: ArrayLike, rule: DecisionRule) -> FloatArray:
    """Give the width of the guard band a rule lays inside each limit.

    Parameters
    ----------
    standard : array_like, (...)
        standard uncertainties [unit of the value], >= 0
    rule : DecisionRule
        the rule; only `Rule.GUARD_BAND` has a band

    Returns
    -------
    ndarray, (...)
        width w [unit of the value]; 0 under the other rules

    Raises
    ------
    Nothing.

    Notes
    -----
    w = r U with U = k u, k the normal factor of the rule's confidence, r = 1 unless agreed
    otherwise.

    References
    ----------
    JCGM 106:2012, 8.3.2 (w = r U); ILAC-G8:09/2019, 4.2.2.

    Examples
    --------
    >>> guard_band([0.01, 0.02], DecisionRule(Rule.GUARD_BAND)).round(4).tolist()
    [0.0196, 0.0392]
    """
    u = np.asarray(standard, dtype=np.float64)
    if rule.rule is not Rule.GUARD_BAND:
        return np.zeros_like(u)
    return np.asarray(rule.guard_factor * rule.coverage_factor * u, dtype=np.float64)


def decide(values: ArrayLike, standard: ArrayLike, limits: Limits, rule: DecisionRule) -> Decisions:
    """Give the statement of conformity of each value under an agreed rule.

    Parameters
    ----------
    values : array_like, (...)
        measured values, unrounded or as reported, whichever the rule says [any unit]
    standard : array_like, broadcastable to (...)
        standard uncertainties [the same unit], >= 0
    limits : Limits
        limits [the same unit], one- or two-sided
    rule : DecisionRule
        plain, guard band or conformance probability, with its confidence

    Returns
    -------
    Decisions
        outcomes (...), conformance probability (...), guard band (...) and margin to the nearer
        limit (...) [unit of the value], negative outside

    Raises
    ------
    OutOfRange
        when an uncertainty is negative

    Notes
    -----
    Plain: conforms exactly when the value is within its limits; up to 50 % risk at the limit.
    Guard band: conforms inside the limits drawn in by w, does not conform outside the limits drawn
    out by w, otherwise not decidable. Probability: conforms when p_c reaches the confidence, does
    not conform when 1 - p_c does, otherwise not decidable. A value that is NaN (not determined) is
    never decidable. A value arithmetically on an inclusive limit is within it.

    References
    ----------
    JCGM 106:2012, 8.2 and 8.3; ILAC-G8:09/2019, 4.2.1 to 4.2.3.

    Examples
    --------
    Passing 0.071 with u = 0.004 against at most 0.07, by two rules:

    >>> limits = Limits(upper=0.07)
    >>> [
    ...     str(decide(0.071, 0.004, limits, DecisionRule(rule)).outcomes)
    ...     for rule in (Rule.PLAIN, Rule.GUARD_BAND)
    ... ]
    ['does not conform', 'not decidable at this confidence']
    """
    y, u = np.broadcast_arrays(
        np.asarray(values, dtype=np.float64), np.asarray(standard, dtype=np.float64)
    )
    probability = conformance_probability(y, u, limits)
    width = guard_band(u, rule)
    accepted, refused = _sides(y, width, probability, limits, rule)
    unknown = np.isnan(y) | (np.isnan(u) & (rule.rule is not Rule.PLAIN))
    outcomes = _outcomes(accepted & ~unknown, refused & ~unknown)
    margin = np.minimum(y - limits.lower_array, limits.upper_array - y)
    return Decisions(outcomes, probability, width, np.asarray(margin, dtype=np.float64))


def _sides(
    values: FloatArray,
    width: FloatArray,
    probability: FloatArray,
    limits: Limits,
    rule: DecisionRule,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    if rule.rule is Rule.PROBABILITY:
        return probability >= rule.confidence, 1.0 - probability >= rule.confidence
    return _within(values, limits, width), ~_within(values, limits, -width)


def _outcomes(accepted: NDArray[np.bool_], refused: NDArray[np.bool_]) -> OutcomeArray:
    words = np.array(list(Outcome), dtype=object)
    index = np.where(accepted, 0, np.where(refused, 1, 2))
    return np.asarray(words[index], dtype=object)


def wrong_acceptance_risk(rule: DecisionRule) -> float:
    """Give the largest risk that a value said to conform lies beyond its limit.

    Parameters
    ----------
    rule : DecisionRule
        plain, guard band or conformance probability, with its figures

    Returns
    -------
    float
        probability, 0 to 0.5 [pure number]

    Raises
    ------
    Nothing.

    Notes
    -----
    For a true value near one limit, normal distribution about the measured value: 1/2 under
    plain acceptance; Phi(-r k) when the value must keep w = r k u off the limit; one minus the
    confidence under a rule by probability.

    References
    ----------
    ILAC-G8:09/2019, 4.2.2 and table 1 (w = U: below 2.5 %; w = 0: below 50 %).

    Examples
    --------
    >>> round(wrong_acceptance_risk(DecisionRule(Rule.GUARD_BAND)), 4)
    0.025
    """
    from scipy.special import ndtr

    if rule.rule is Rule.PROBABILITY:
        return 1.0 - rule.confidence
    if rule.rule is Rule.PLAIN:
        return 0.5
    return float(ndtr(-rule.guard_factor * rule.coverage_factor))


def overall(outcomes: ArrayLike) -> Outcome:
    """Give the one statement for a set of lines that must all be kept.

    Parameters
    ----------
    outcomes : array_like of Outcome, (k,)
        the verdicts of the lines, at least one

    Returns
    -------
    Outcome
        does not conform if any line does not; else not decidable if any is not; else conforms

    Raises
    ------
    OutOfRange
        when there is no line to judge

    Notes
    -----
    Each line is judged at its own confidence; the confidence of all lines together is lower and is
    not stated here. `uncertainty` keeps the covariance for those who need it.

    References
    ----------
    ILAC-G8:09/2019, 4.1 (the rule is applied to each stated requirement). The order is common
    practice.

    Examples
    --------
    >>> str(overall([Outcome.CONFORMS, Outcome.NOT_DECIDABLE]))
    'not decidable at this confidence'
    """
    found = set(np.ravel(np.asarray(outcomes, dtype=object)).tolist())
    if not found:
        raise OutOfRange("There is no line to judge. Add a limit to the specification.")
    for worst in (Outcome.DOES_NOT_CONFORM, Outcome.NOT_DECIDABLE):
        if worst in found:
            return worst
    return Outcome.CONFORMS
