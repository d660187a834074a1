"""Run rules: what on a chart is out of the ordinary, each with its reason in words.

Points come in units of sigma from the centre line (`ControlChart.standardised`). The two
published sets share most rules; a laboratory chooses the set, and it is kept with the chart.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike, NDArray

from gradation.science.errors import NotDeterminable
from gradation.science.quality.series import FloatArray, checked_series

BoolArray = NDArray[np.bool_]


class RunRule(StrEnum):
    """A pattern that chance alone rarely makes."""

    BEYOND_THREE_SIGMA = "beyond_three_sigma"
    TWO_OF_THREE_BEYOND_TWO_SIGMA = "two_of_three_beyond_two_sigma"
    FOUR_OF_FIVE_BEYOND_ONE_SIGMA = "four_of_five_beyond_one_sigma"
    EIGHT_ON_ONE_SIDE = "eight_on_one_side"
    NINE_ON_ONE_SIDE = "nine_on_one_side"
    SIX_RISING_OR_FALLING = "six_rising_or_falling"
    FOURTEEN_ALTERNATING = "fourteen_alternating"
    FIFTEEN_WITHIN_ONE_SIGMA = "fifteen_within_one_sigma"
    EIGHT_OUTSIDE_ONE_SIGMA = "eight_outside_one_sigma"

    @property
    def reason(self) -> str:
        """The pattern as a sentence."""
        return _RULES[self][2]


@dataclass(frozen=True, slots=True)
class Signal:
    """One rule broken.

    Parameters
    ----------
    rule : RunRule
        the rule
    position : int
        point (from 0) at which it is complete
    first : int
        first point of the pattern (from 0)
    reason : str
        the pattern as a sentence
    """

    rule: RunRule
    position: int
    first: int
    reason: str


class _Test(Protocol):
    def __call__(self, windows: FloatArray) -> BoolArray:
        """Whether each window, last axis, shows the pattern."""


def _beyond(needed: int, sigmas: float) -> _Test:
    def test(windows: FloatArray) -> BoolArray:
        last = windows[..., -1]
        above = (windows > sigmas).sum(axis=-1) >= needed
        below = (windows < -sigmas).sum(axis=-1) >= needed
        return np.asarray((above & (last > sigmas)) | (below & (last < -sigmas)))

    return test


def _one_side(windows: FloatArray) -> BoolArray:
    return np.asarray((windows > 0).all(axis=-1) | (windows < 0).all(axis=-1))


def _steady(windows: FloatArray) -> BoolArray:
    steps = np.diff(windows, axis=-1)
    return np.asarray((steps > 0).all(axis=-1) | (steps < 0).all(axis=-1))


def _alternating(windows: FloatArray) -> BoolArray:
    steps = np.sign(np.diff(windows, axis=-1))
    return np.asarray((steps[..., 1:] * steps[..., :-1] < 0).all(axis=-1))


def _within_one(windows: FloatArray) -> BoolArray:
    return np.asarray((np.abs(windows) < 1).all(axis=-1))


def _outside_one(windows: FloatArray) -> BoolArray:
    return np.asarray((np.abs(windows) > 1).all(axis=-1))


# length of the pattern, its test, its reason
_RULES: dict[RunRule, tuple[int, _Test, str]] = {
    RunRule.BEYOND_THREE_SIGMA: (
        1,
        _beyond(1, 3.0),
        "One point lies beyond three sigma from the centre.",
    ),
    RunRule.TWO_OF_THREE_BEYOND_TWO_SIGMA: (
        3,
        _beyond(2, 2.0),
        "Two of three points in a row lie beyond two sigma on the same side.",
    ),
    RunRule.FOUR_OF_FIVE_BEYOND_ONE_SIGMA: (
        5,
        _beyond(4, 1.0),
        "Four of five points in a row lie beyond one sigma on the same side.",
    ),
    RunRule.EIGHT_ON_ONE_SIDE: (
        8,
        _one_side,
        "Eight points in a row lie on the same side of the centre.",
    ),
    RunRule.NINE_ON_ONE_SIDE: (
        9,
        _one_side,
        "Nine points in a row lie on the same side of the centre.",
    ),
    RunRule.SIX_RISING_OR_FALLING: (
        6,
        _steady,
        "Six points in a row rise steadily or fall steadily.",
    ),
    RunRule.FOURTEEN_ALTERNATING: (
        14,
        _alternating,
        "Fourteen points in a row go up and down by turns.",
    ),
    RunRule.FIFTEEN_WITHIN_ONE_SIGMA: (
        15,
        _within_one,
        "Fifteen points in a row lie within one sigma of the centre.",
    ),
    RunRule.EIGHT_OUTSIDE_ONE_SIGMA: (
        8,
        _outside_one,
        "Eight points in a row lie beyond one sigma, on either side.",
    ),
}

RULES_OF_1956 = (
    RunRule.BEYOND_THREE_SIGMA,
    RunRule.TWO_OF_THREE_BEYOND_TWO_SIGMA,
    RunRule.FOUR_OF_FIVE_BEYOND_ONE_SIGMA,
    RunRule.EIGHT_ON_ONE_SIDE,
)
RULES_OF_1984 = (
    RunRule.BEYOND_THREE_SIGMA,
    RunRule.NINE_ON_ONE_SIDE,
    RunRule.SIX_RISING_OR_FALLING,
    RunRule.FOURTEEN_ALTERNATING,
    RunRule.TWO_OF_THREE_BEYOND_TWO_SIGMA,
    RunRule.FOUR_OF_FIVE_BEYOND_ONE_SIGMA,
    RunRule.FIFTEEN_WITHIN_ONE_SIGMA,
    RunRule.EIGHT_OUTSIDE_ONE_SIGMA,
)


def rule_hits(standardised: ArrayLike, rule: RunRule) -> BoolArray:
    """Where a rule is complete, for one chart or for many at once.

    Parameters
    ----------
    standardised : array_like, (..., n)
        points in units of sigma from the centre, in order of time; batch axes allowed
    rule : RunRule
        the rule

    Returns
    -------
    ndarray of bool, (..., n)
        True at the point that completes the pattern

    Raises
    ------
    NotDeterminable
        when there is no point, or one is nan

    Notes
    -----
    A point on a boundary lies inside it; a point on the centre is on neither side; equal
    neighbours neither rise nor fall. The k-of-n rules need the newest point beyond.

    References
    ----------
    Statistical Quality Control Handbook, 1956, pages 25-28 (set of 1956); Nelson (1984),
    Journal of Quality Technology 16, 237-239 (set of 1984).

    Examples
    --------
    >>> rule_hits([0.0, 2.5, 0.0, 2.1], RunRule.TWO_OF_THREE_BEYOND_TWO_SIGMA).tolist()
    [False, False, False, True]
    """
    z = np.asarray(standardised, dtype=np.float64)
    if z.ndim == 0 or z.shape[-1] == 0 or np.any(np.isnan(z)):
        raise NotDeterminable("A chart needs points, each with a value, before rules apply.")
    length, test, _ = _RULES[rule]
    hits = np.zeros(z.shape, dtype=np.bool_)
    if z.shape[-1] >= length:
        hits[..., length - 1 :] = test(sliding_window_view(z, length, axis=-1))
    return hits


def signals(
    standardised: ArrayLike, rules: tuple[RunRule, ...] = RULES_OF_1984
) -> tuple[Signal, ...]:
    """Every rule broken on one chart, in order of time.

    Parameters
    ----------
    standardised : array_like, (n,)
        points in units of sigma from the centre, in order of time
    rules : tuple of RunRule
        the set of rules; `RULES_OF_1956` or `RULES_OF_1984`

    Returns
    -------
    tuple of Signal
        one for each point that completes a pattern

    Raises
    ------
    NotDeterminable
        when there is no point or one has no value

    Notes
    -----
    All eight rules of 1984 together raise about one false alarm in 90 points of a process in
    control (memory; the first alone, one in 370), so few laboratories use all.

    References
    ----------
    As for `rule_hits`.

    Examples
    --------
    >>> signals([0.5, -3.4])[0].reason
    'One point lies beyond three sigma from the centre.'
    """
    z = np.asarray(standardised, dtype=np.float64)
    if z.ndim != 1:
        checked_series(z, at_least=1)
    found = [
        Signal(rule, int(i), int(i) - _RULES[rule][0] + 1, rule.reason)
        for rule in rules
        for i in np.flatnonzero(rule_hits(z, rule))
    ]
    return tuple(sorted(found, key=lambda signal: signal.position))
