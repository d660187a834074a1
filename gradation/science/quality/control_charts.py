"""Control charts of single values and of subgroups, with limits frozen from a base period.

Limits are a value of their own: `individuals_limits`, `subgroup_limits` make them from a base
period once, and the charts then hold later points against them. Run rules work on the points
in units of the chart's own sigma (`run_rules.signals`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.quality.series import FloatArray, checked_series
from gradation.science.tables import read_table


class Spread(StrEnum):
    """What measures the scatter within a subgroup."""

    RANGE = "range"
    STANDARD_DEVIATION = "standard_deviation"


@dataclass(frozen=True, slots=True)
class Constants:
    """Factors of control charts for subgroups of n values (symbols as in ISO 7870-2)."""

    n: int
    A2: float
    A3: float
    d2: float
    d3: float
    c4: float
    B3: float
    B4: float
    D3: float
    D4: float


@dataclass(frozen=True, slots=True)
class ChartLimits:
    """Limits of a pair of charts: level and scatter.

    Parameters
    ----------
    centre, lower, upper : float
        centre line and three-sigma limits of the level chart
    sigma : float
        standard deviation of one value, from the scatter within the base period
    spread_centre, spread_lower, spread_upper : float
        the same lines of the chart of ranges or standard deviations
    subgroup_size : int
        values a plotted point stands for; 1 for single values
    base_points : int
        number of points of the base period
    """

    centre: float
    lower: float
    upper: float
    sigma: float
    spread_centre: float
    spread_lower: float
    spread_upper: float
    subgroup_size: int
    base_points: int

    @property
    def point_sigma(self) -> float:
        """Standard deviation of one plotted point."""
        return self.sigma / sqrt(self.subgroup_size)


@dataclass(frozen=True, slots=True)
class ControlChart:
    """Points of a pair of charts beside their limits.

    Parameters
    ----------
    points : ndarray, (n,)
        level: single values or subgroup means
    spread : ndarray, (n,)
        scatter: moving ranges (the first nan), ranges or standard deviations
    limits : ChartLimits
        limits they are held against
    """

    points: FloatArray
    spread: FloatArray
    limits: ChartLimits

    @property
    def standardised(self) -> FloatArray:
        """Points as distance from the centre in units of their sigma; infinite without scatter."""
        return _standardised(self.points, self.limits.centre, self.limits.point_sigma)

    @property
    def outside(self) -> tuple[int, ...]:
        """Positions (from 0) of points beyond a level limit; on the limit is inside."""
        beyond = (self.points > self.limits.upper) | (self.points < self.limits.lower)
        return tuple(int(i) for i in np.flatnonzero(beyond))

    @property
    def spread_outside(self) -> tuple[int, ...]:
        """Positions (from 0) of points beyond a limit of the scatter chart."""
        beyond = (self.spread > self.limits.spread_upper) | (self.spread < self.limits.spread_lower)
        return tuple(int(i) for i in np.flatnonzero(beyond))


def constants(n: int) -> Constants:
    """Factors of control charts for subgroups of a size.

    Parameters
    ----------
    n : int
        values in a subgroup, 2 to 25

    Returns
    -------
    Constants
        the factors, to six decimals

    Raises
    ------
    OutOfRange
        for a size the table does not hold

    Notes
    -----
    ``c4`` in closed form, ``d2`` and ``d3`` by integration over the range of n normals, the
    others derived with three sigma. Printed tables round: D4(5) is 2.114 or 2.115 there.

    References
    ----------
    `data/control_chart_constants.csv`; factors as in ISO 7870-2:2013, table 2.

    Examples
    --------
    >>> constants(5).d2
    2.325929
    """
    for row in read_table("control_chart_constants"):
        if int(row["n"]) == n:
            return Constants(n, *(float(row[name]) for name in Constants.__slots__[1:]))
    raise OutOfRange(f"Subgroups of {n} cannot be charted so; use 2 to 25 values in each.")


def individuals_limits(base: ArrayLike) -> ChartLimits:
    """Limits for single values, from a base period.

    Parameters
    ----------
    base : array_like, (n,)
        values of the base period in order of time, n >= 2

    Returns
    -------
    ChartLimits
        limits of the values and of their moving ranges

    Raises
    ------
    NotDeterminable
        for fewer than two values or one that is not a number

    Notes
    -----
    ``sigma = mean moving range / d2(2)``, limits ``mean -+ 3 sigma``; moving ranges up to
    ``D4(2)`` times their mean. Twenty values or more are common practice.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2.

    Examples
    --------
    >>> flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    >>> limits = individuals_limits(flow)
    >>> round(limits.centre, 2), round(limits.upper, 1)
    (50.81, 55.8)
    """
    values = checked_series(base, at_least=2)
    mean_range = float(np.abs(np.diff(values)).mean())
    k = constants(2)
    sigma = mean_range / k.d2
    centre = float(values.mean())
    return ChartLimits(
        centre=centre,
        lower=centre - 3 * sigma,
        upper=centre + 3 * sigma,
        sigma=sigma,
        spread_centre=mean_range,
        spread_lower=k.D3 * mean_range,
        spread_upper=k.D4 * mean_range,
        subgroup_size=1,
        base_points=int(values.size),
    )


def individuals_chart(values: ArrayLike, limits: ChartLimits | None = None) -> ControlChart:
    """Chart of single values and of their moving ranges.

    Parameters
    ----------
    values : array_like, (n,)
        values in order of time, n >= 2
    limits : ChartLimits, optional
        frozen limits; from the values themselves when left out

    Returns
    -------
    ControlChart
        values and moving ranges beside the limits; the first moving range is nan

    Raises
    ------
    NotDeterminable
        for fewer than two values or one that is not a number
    OutOfRange
        for limits that were made for subgroups

    Notes
    -----
    Moving range: distance of a value from the one before it.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2.

    Examples
    --------
    >>> frozen = individuals_limits([50.0, 52.0, 50.0, 52.0])
    >>> individuals_chart([51.0, 60.0], frozen).outside
    (1,)
    """
    series = checked_series(values, at_least=2)
    against = individuals_limits(series) if limits is None else limits
    if against.subgroup_size != 1:
        raise OutOfRange(
            f"These limits were made for means of {against.subgroup_size}; single values need "
            "limits from a base period of single values."
        )
    ranges = np.concatenate([[np.nan], np.abs(np.diff(series))])
    return ControlChart(points=series, spread=ranges, limits=against)


def limits_from_summary(
    grand_mean: float, mean_spread: float, subgroup_size: int, spread: Spread, base_points: int
) -> ChartLimits:
    """Limits for subgroup means from the summary of a base period.

    Parameters
    ----------
    grand_mean, mean_spread : float
        mean of the subgroup means, and of their ranges or standard deviations
    subgroup_size : int
        values in a subgroup, 2 to 25
    spread : Spread
        whether `mean_spread` is of ranges or of standard deviations
    base_points : int
        number of subgroups, kept with the limits

    Returns
    -------
    ChartLimits
        limits of means and of scatter

    Raises
    ------
    OutOfRange
        for a subgroup size outside the table or a negative scatter

    Notes
    -----
    Ranges: ``mean -+ A2 R``, ``D3 R`` to ``D4 R``, ``sigma = R / d2``. Standard deviations:
    ``mean -+ A3 s``, ``B3 s`` to ``B4 s``, ``sigma = s / c4``.

    References
    ----------
    ISO 7870-2:2013, clause 6; NIST/SEMATECH e-Handbook, section 6.3.2.1.

    Examples
    --------
    >>> limits = limits_from_summary(1.5056, 0.32521, 5, Spread.RANGE, 25)
    >>> round(limits.sigma, 4), round(limits.spread_upper, 4)
    (0.1398, 0.6877)
    """
    k = constants(subgroup_size)
    if not mean_spread >= 0:
        raise OutOfRange("The mean range or standard deviation cannot be negative.")
    by_range = spread is Spread.RANGE
    width = (k.A2 if by_range else k.A3) * mean_spread
    return ChartLimits(
        centre=grand_mean,
        lower=grand_mean - width,
        upper=grand_mean + width,
        sigma=mean_spread / (k.d2 if by_range else k.c4),
        spread_centre=mean_spread,
        spread_lower=(k.D3 if by_range else k.B3) * mean_spread,
        spread_upper=(k.D4 if by_range else k.B4) * mean_spread,
        subgroup_size=subgroup_size,
        base_points=base_points,
    )


def subgroup_limits(base: ArrayLike, spread: Spread = Spread.RANGE) -> ChartLimits:
    """Limits for subgroup means, from a base period.

    Parameters
    ----------
    base : array_like, (m, n)
        one row a subgroup, in order of time, n from 2 to 25
    spread : Spread
        scatter by ranges (up to ten values a subgroup) or by standard deviations

    Returns
    -------
    ChartLimits
        limits of means and of scatter

    Raises
    ------
    NotDeterminable
        when rows are missing, unequal or hold anything but numbers
    OutOfRange
        for a subgroup size outside the table

    Notes
    -----
    See `limits_from_summary`.

    References
    ----------
    ISO 7870-2:2013, clause 6.

    Examples
    --------
    >>> subgroup_limits([[56, 48, 53, 58, 52], [50, 59, 57, 56, 54]]).centre
    54.3
    """
    table = _checked_table(base)
    scatter = _row_spread(table, spread)
    return limits_from_summary(
        float(table.mean(axis=1).mean()),
        float(scatter.mean()),
        table.shape[1],
        spread,
        table.shape[0],
    )


def subgroup_chart(
    values: ArrayLike, limits: ChartLimits | None = None, spread: Spread = Spread.RANGE
) -> ControlChart:
    """Chart of subgroup means and of their ranges or standard deviations.

    Parameters
    ----------
    values : array_like, (m, n)
        one row a subgroup, in order of time
    limits : ChartLimits, optional
        frozen limits; from the values themselves when left out
    spread : Spread
        scatter by ranges or by standard deviations; as the limits were made

    Returns
    -------
    ControlChart
        means and scatter beside the limits

    Raises
    ------
    NotDeterminable
        when rows are missing, unequal or hold anything but numbers
    OutOfRange
        for limits made for another subgroup size

    Notes
    -----
    Means of rows; scatter is the range or the standard deviation dividing by n - 1.

    References
    ----------
    ISO 7870-2:2013, clause 6.

    Examples
    --------
    >>> [float(mean) for mean in subgroup_chart([[1.0, 3.0], [2.0, 4.0]]).points]
    [2.0, 3.0]
    """
    table = _checked_table(values)
    against = subgroup_limits(table, spread) if limits is None else limits
    if against.subgroup_size != table.shape[1]:
        raise OutOfRange(
            f"These limits were made for subgroups of {against.subgroup_size}, the points are "
            f"means of {table.shape[1]}."
        )
    return ControlChart(table.mean(axis=1), _row_spread(table, spread), against)


def counts_limits(counts: ArrayLike) -> ChartLimits:
    """Limits for counts of faults, such as openings rejected in a week.

    Parameters
    ----------
    counts : array_like, (n,)
        counts of the base period, each over the same amount of work, >= 0

    Returns
    -------
    ChartLimits
        limits of the counts; the lines of scatter are nan, for there is no such chart

    Raises
    ------
    NotDeterminable
        for no count or one that is not a number
    OutOfRange
        for a negative count

    Notes
    -----
    ``mean -+ 3 sqrt(mean)`` (Poisson), the lower not below 0. Below a mean of about 9 the
    upper limit is crossed more often than three sigma promise.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.1.

    Examples
    --------
    >>> limits = counts_limits([14, 16, 18])
    >>> limits.lower, limits.upper
    (4.0, 28.0)
    """
    values = checked_series(counts, at_least=1)
    if np.any(values < 0):
        raise OutOfRange("A count of faults cannot be negative.")
    centre = float(values.mean())
    sigma = sqrt(centre)
    nothing = float("nan")
    return ChartLimits(
        centre=centre,
        lower=max(0.0, centre - 3 * sigma),
        upper=centre + 3 * sigma,
        sigma=sigma,
        spread_centre=nothing,
        spread_lower=nothing,
        spread_upper=nothing,
        subgroup_size=1,
        base_points=int(values.size),
    )


def _checked_table(values: ArrayLike) -> FloatArray:
    try:
        table = np.asarray(values, dtype=np.float64)
    except ValueError as error:
        raise NotDeterminable("The subgroups differ in size; a chart needs equal ones.") from error
    if table.ndim != 2 or table.shape[0] == 0 or table.shape[1] < 2:
        raise NotDeterminable("A chart of means needs subgroups of two values or more.")
    if not np.all(np.isfinite(table)):
        raise NotDeterminable("A subgroup holds a value that is not a number; complete it.")
    return table


def _row_spread(table: FloatArray, spread: Spread) -> FloatArray:
    if spread is Spread.RANGE:
        return np.asarray(np.ptp(table, axis=1))
    return np.asarray(table.std(axis=1, ddof=1))


def _standardised(points: FloatArray, centre: float, sigma: float) -> FloatArray:
    away = points - centre
    if sigma > 0:
        return np.asarray(away / sigma)
    return np.asarray(np.where(away == 0, 0.0, np.copysign(np.inf, away)))
