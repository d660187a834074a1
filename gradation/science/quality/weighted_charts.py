"""Charts with memory, which see small lasting shifts: weighted and moving means, sums.

The limits of the level come from `control_charts` (centre and sigma of a base period).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.quality.series import FloatArray, checked_series


@dataclass(frozen=True, slots=True)
class WeightedChart:
    """Points of a chart with memory beside their own limits.

    Parameters
    ----------
    points : ndarray, (n,)
        weighted or moving means
    lower, upper : ndarray, (n,)
        limits of each point; they widen to their final distance over the first points
    centre : float
        centre line
    """

    points: FloatArray
    lower: FloatArray
    upper: FloatArray
    centre: float

    @property
    def outside(self) -> tuple[int, ...]:
        """Positions (from 0) of points beyond a limit; on the limit is inside."""
        beyond = (self.points > self.upper) | (self.points < self.lower)
        return tuple(int(i) for i in np.flatnonzero(beyond))


@dataclass(frozen=True, slots=True)
class SumChart:
    """Two-sided cumulative sums.

    Parameters
    ----------
    high, low : ndarray, (n,)
        sums of excess above and below the target
    decision : float
        sum beyond which there is a signal
    """

    high: FloatArray
    low: FloatArray
    decision: float

    @property
    def outside(self) -> tuple[int, ...]:
        """Positions (from 0) where either sum exceeds the decision value."""
        beyond = (self.high > self.decision) | (self.low > self.decision)
        return tuple(int(i) for i in np.flatnonzero(beyond))


def weighted_mean_chart(
    values: ArrayLike,
    centre: float,
    sigma: float,
    *,
    weight: float = 0.2,
    width: float = 3.0,
) -> WeightedChart:
    """Chart of exponentially weighted moving means (EWMA).

    Parameters
    ----------
    values : array_like, (n,)
        plotted values in order of time (single values or subgroup means), n >= 1
    centre, sigma : float
        centre and standard deviation of one plotted value, from a base period; sigma >= 0
    weight : float
        weight of the newest value, above 0 up to 1; 0.2 to 0.3 is common practice
    width : float
        limits in standard deviations of the weighted mean, > 0

    Returns
    -------
    WeightedChart
        weighted means beside their limits

    Raises
    ------
    NotDeterminable
        for no value or one that is not a number
    OutOfRange
        for a weight outside its range, or a sigma or width that cannot be

    Notes
    -----
    ``z_i = w x_i + (1 - w) z_(i-1)`` from ``z_0 = centre``; limits
    ``centre -+ L sigma sqrt(w / (2 - w) (1 - (1 - w)^(2i)))``. The handbook's example draws
    the final limits, without the last bracket, from the first point on.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4; Roberts (1959),
    Technometrics 1, 239-250.

    Examples
    --------
    >>> chart = weighted_mean_chart([52.0, 47.0], 50.0, 2.0539, weight=0.3)
    >>> chart.points.round(2).tolist()
    [50.6, 49.52]
    """
    series = checked_series(values, at_least=1)
    _check_base(centre, sigma)
    if not 0 < weight <= 1:
        raise OutOfRange("The weight of the newest value must lie above 0 and up to 1.")
    if not width > 0:
        raise OutOfRange("The width of the limits must be above zero; 3 is common practice.")
    points = np.empty_like(series)
    level = centre
    for i, value in enumerate(series):
        level = weight * value + (1 - weight) * level
        points[i] = level
    settled = 1 - (1 - weight) ** (2 * np.arange(1, series.size + 1))
    half = width * sigma * np.sqrt(weight / (2 - weight) * settled)
    return WeightedChart(points=points, lower=centre - half, upper=centre + half, centre=centre)


def moving_mean_chart(
    values: ArrayLike, centre: float, sigma: float, *, span: int = 5, width: float = 3.0
) -> WeightedChart:
    """Chart of moving means over the last few values.

    Parameters
    ----------
    values : array_like, (n,)
        plotted values in order of time, n >= 1
    centre, sigma : float
        centre and standard deviation of one plotted value, from a base period; sigma >= 0
    span : int
        values in a mean, >= 1
    width : float
        limits in standard deviations of the mean, > 0

    Returns
    -------
    WeightedChart
        means of the last `span` values (of fewer at the start) beside their limits

    Raises
    ------
    NotDeterminable
        for no value or one that is not a number
    OutOfRange
        for a span below 1, or a sigma or width that cannot be

    Notes
    -----
    Limits ``centre -+ L sigma / sqrt(m)`` with ``m`` the values in the mean so far.

    References
    ----------
    Montgomery, Introduction to Statistical Quality Control, chapter on moving-average charts.

    Examples
    --------
    >>> moving_mean_chart([1.0, 3.0, 5.0], 3.0, 1.0, span=2).points.tolist()
    [1.0, 2.0, 4.0]
    """
    series = checked_series(values, at_least=1)
    _check_base(centre, sigma)
    if span < 1 or not width > 0:
        raise OutOfRange("A moving mean needs a span of one value or more and limits above zero.")
    sums = np.concatenate([[0.0], np.cumsum(series - centre)])
    ends = np.arange(1, series.size + 1)
    count = np.minimum(ends, span)
    points = centre + (sums[ends] - sums[ends - count]) / count
    half = width * sigma / np.sqrt(count)
    return WeightedChart(points=points, lower=centre - half, upper=centre + half, centre=centre)


def cumulative_sum_chart(
    values: ArrayLike, target: float, *, allowance: float, decision: float
) -> SumChart:
    """Two-sided cumulative sums of the excess over a target (CUSUM).

    Parameters
    ----------
    values : array_like, (n,)
        plotted values in order of time, n >= 1
    target : float
        value aimed at
    allowance, decision : float
        slack that is not summed, and the sum that signals, in the unit of the values; >= 0

    Returns
    -------
    SumChart
        both sums at each value

    Raises
    ------
    NotDeterminable
        for no value or one that is not a number
    OutOfRange
        for a negative allowance or decision value

    Notes
    -----
    ``S_hi(i) = max(0, S_hi(i-1) + x_i - target - k)`` and
    ``S_lo(i) = max(0, S_lo(i-1) + target - k - x_i)``, both from 0. Half the shift to be seen
    for ``k`` and four to five sigma for the decision value are common practice.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.3.

    Examples
    --------
    >>> chart = cumulative_sum_chart([1.0, 2.0], 0.0, allowance=0.5, decision=1.8)
    >>> chart.high.tolist(), chart.outside
    ([0.5, 2.0], (1,))
    """
    series = checked_series(values, at_least=1)
    if not (allowance >= 0 and decision >= 0):
        raise OutOfRange("The allowance and the decision value cannot be negative.")
    high, low = np.empty_like(series), np.empty_like(series)
    above = below = 0.0
    for i, value in enumerate(series):
        above = max(0.0, above + value - target - allowance)
        below = max(0.0, below + target - allowance - value)
        high[i], low[i] = above, below
    return SumChart(high=high, low=low, decision=decision)


def _check_base(centre: float, sigma: float) -> None:
    if not isfinite(centre):
        raise NotDeterminable("The chart has no centre; make its limits from a base period first.")
    if not (isfinite(sigma) and sigma >= 0):
        raise OutOfRange("The standard deviation of the chart cannot be negative.")
