"""Two methods, benches or operators compared on the same samples."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.quality.capability import Interval
from gradation.science.quality.series import FloatArray, checked_series


@dataclass(frozen=True, slots=True)
class DemingLine:
    """Straight line between two methods that both err.

    Parameters
    ----------
    slope, intercept : Interval
        with their confidence intervals
    slope_differs, intercept_differs : bool
        whether the interval leaves out 1, or 0: the methods differ by a factor, or by an offset
    """

    slope: Interval
    intercept: Interval

    @property
    def slope_differs(self) -> bool:
        """Whether the methods differ by a factor."""
        return not self.slope.low <= 1 <= self.slope.high

    @property
    def intercept_differs(self) -> bool:
        """Whether the methods differ by an offset."""
        return not self.intercept.low <= 0 <= self.intercept.high


@dataclass(frozen=True, slots=True)
class Agreement:
    """Differences between two methods (second less first).

    Parameters
    ----------
    bias : Interval
        mean difference
    standard_deviation : float
        of the differences
    lower_limit, upper_limit : Interval
        limits that hold 95 % of differences, each with its interval
    means, differences : ndarray, (n,)
        what the plot shows
    sentence : str
        the finding in words
    """

    bias: Interval
    standard_deviation: float
    lower_limit: Interval
    upper_limit: Interval
    means: FloatArray
    differences: FloatArray
    sentence: str


def deming(
    first: ArrayLike,
    second: ArrayLike,
    *,
    variance_ratio: float = 1.0,
    confidence: float = 0.95,
) -> DemingLine:
    """Straight line between two methods, both of them with random error.

    Parameters
    ----------
    first, second : array_like, (n,)
        results of both methods on the same n samples, n >= 3
    variance_ratio : float
        error variance of the second method over that of the first, > 0
    confidence : float
        of the intervals, between 0 and 1

    Returns
    -------
    DemingLine
        second = intercept + slope * first

    Raises
    ------
    NotDeterminable
        for fewer than three samples, unequal lengths, a value that is not a number, or results
        that do not go together at all
    OutOfRange
        for a variance ratio of zero or below, or a confidence outside 0 to 1

    Notes
    -----
    With sums of squares about the means and ``d`` the variance ratio::

        slope = (Syy - d Sxx + sqrt((Syy - d Sxx)^2 + 4 d Sxy^2)) / (2 Sxy)

    Ordinary least squares would flatten the line, since it takes the first method as exact.
    Intervals by the jackknife with Student's factor at ``n - 2``.

    References
    ----------
    Deming (1943), Statistical Adjustment of Data; Linnet (1993), Clinical Chemistry 39,
    424-432 (jackknife intervals).

    Examples
    --------
    >>> line = deming([10.0, 20.0, 30.0, 40.0], [12.0, 22.0, 32.0, 42.0])
    >>> round(line.slope.value, 6), round(line.intercept.value, 6)
    (1.0, 2.0)
    """
    from scipy.special import stdtrit

    x, y = _paired(first, second, at_least=3)
    if not variance_ratio > 0 or not 0 < confidence < 1:
        raise OutOfRange("The variance ratio must be above zero and the confidence in 0 to 1.")
    n = x.size
    whole = _deming_line(x, y, variance_ratio)
    pseudo = np.array(
        [
            n * whole - (n - 1) * _deming_line(np.delete(x, i), np.delete(y, i), variance_ratio)
            for i in range(n)
        ]
    )
    half = float(stdtrit(n - 2, (1 + confidence) / 2)) * pseudo.std(axis=0, ddof=1) / sqrt(n)
    slope, intercept = (
        Interval(float(value), float(value - width), float(value + width))
        for value, width in zip(whole, half, strict=True)
    )
    return DemingLine(slope=slope, intercept=intercept)


def agreement(first: ArrayLike, second: ArrayLike, *, confidence: float = 0.95) -> Agreement:
    """Bias between two methods and the limits their differences stay within (Bland-Altman).

    Parameters
    ----------
    first, second : array_like, (n,)
        results of both methods on the same n samples, n >= 3
    confidence : float
        of the intervals, between 0 and 1; the limits always hold 95 %

    Returns
    -------
    Agreement
        bias and limits with their intervals, and what the plot shows

    Raises
    ------
    NotDeterminable
        for fewer than three samples, unequal lengths or a value that is not a number
    OutOfRange
        for a confidence outside 0 to 1

    Notes
    -----
    Limits ``bias -+ 1.96 s``; standard errors ``s / sqrt(n)`` of the bias and
    ``s sqrt(1/n + 1.96^2 / (2 (n - 1)))`` of a limit (the paper rounds this to
    ``sqrt(3 s^2 / n)``). Whether the limits are narrow enough is for the laboratory to say,
    not for statistics.

    References
    ----------
    Bland and Altman (1986), The Lancet 327, 307-310; (1999), Stat. Methods Med. Res. 8,
    135-160 (standard error).

    Examples
    --------
    >>> agreement([10.0, 20.0, 30.0], [11.0, 22.0, 33.0]).bias.value
    2.0
    """
    from scipy.special import stdtrit

    x, y = _paired(first, second, at_least=3)
    if not 0 < confidence < 1:
        raise OutOfRange("The confidence must lie between 0 and 1, such as 0.95.")
    difference = y - x
    n, bias, sd = x.size, float(difference.mean()), float(difference.std(ddof=1))
    t = float(stdtrit(n - 1, (1 + confidence) / 2))
    reach = 1.96  # 97.5 % point of the normal, as the paper rounds it
    half_bias = t * sd / sqrt(n)
    half_limit = t * sd * hypot(1 / sqrt(n), reach / sqrt(2 * (n - 1)))
    bias_interval = Interval(bias, bias - half_bias, bias + half_bias)
    lower, upper = (
        Interval(edge, edge - half_limit, edge + half_limit)
        for edge in (bias - reach * sd, bias + reach * sd)
    )
    return Agreement(
        bias=bias_interval,
        standard_deviation=sd,
        lower_limit=lower,
        upper_limit=upper,
        means=(x + y) / 2,
        differences=difference,
        sentence=_sentence(bias_interval, lower.value, upper.value),
    )


def _deming_line(x: FloatArray, y: FloatArray, ratio: float) -> FloatArray:
    away_x, away_y = x - x.mean(), y - y.mean()
    Sxx, Syy = float(away_x @ away_x), float(away_y @ away_y)
    Sxy = float(away_x @ away_y)
    if Sxy == 0:
        raise NotDeterminable(
            "The two methods do not go together on these samples, so no line can be laid. Compare "
            "samples that differ more."
        )
    tilt = Syy - ratio * Sxx
    slope = (tilt + hypot(tilt, 2 * sqrt(ratio) * Sxy)) / (2 * Sxy)
    return np.array([slope, float(y.mean()) - slope * float(x.mean())])


def _paired(first: ArrayLike, second: ArrayLike, at_least: int) -> tuple[FloatArray, FloatArray]:
    x, y = checked_series(first, at_least), checked_series(second, at_least)
    if x.size != y.size:
        raise NotDeterminable(
            f"The first method has {x.size} results and the second {y.size}; both are needed on "
            "each sample."
        )
    return x, y


def _sentence(bias: Interval, lower: float, upper: float) -> str:
    apart = not bias.low <= 0 <= bias.high
    finding = (
        f"The second method differs from the first by {bias.value:+.3g} on average"
        if apart
        else f"No bias is shown (mean difference {bias.value:+.3g})"
    )
    return f"{finding}; 95 % of differences lie between {lower:+.3g} and {upper:+.3g}."
