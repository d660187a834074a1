"""Capability of a process against its limits, with intervals, and the share within limits."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan, sqrt

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.quality.control_charts import individuals_limits
from gradation.science.quality.series import checked_series

_ALL_EQUAL = "All values are equal, so the process shows no scatter to judge by."
_EQUAL_WITHIN = (
    "The values within each subgroup are equal, so they do not show how the process scatters."
)


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with its confidence interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class WithinSigma:
    """Scatter within a short time, as a control chart finds it.

    Parameters
    ----------
    sigma : float
        standard deviation, > 0
    freedom : float
        its degrees of freedom, > 0
    """

    sigma: float
    freedom: float


@dataclass(frozen=True, slots=True)
class Capability:
    """Capability indices; nan where one needs a limit that is not there.

    Parameters
    ----------
    cp, cpk : Interval
        from the scatter within a short time
    pp, ppk : Interval
        from the scatter of all values
    cpm : float
        about a target, from all values
    mean, within_sd, overall_sd : float
        what they were made from
    count : int
        number of values
    observed_outside, expected_outside : float
        share of values outside the limits: counted, and of a normal with overall scatter
    """

    cp: Interval
    cpk: Interval
    pp: Interval
    ppk: Interval
    cpm: float
    mean: float
    within_sd: float
    overall_sd: float
    count: int
    observed_outside: float
    expected_outside: float


@dataclass(frozen=True, slots=True)
class ProcessLimits:
    """Limits and target of a process, in the unit of its values.

    Parameters
    ----------
    lower, upper : float | None
        None where there is none on that side; at least one
    target : float | None
        value aimed at
    """

    lower: float | None = None
    upper: float | None = None
    target: float | None = None


def moving_range_sigma(values: ArrayLike) -> WithinSigma:
    """Scatter within a short time from moving ranges, with its degrees of freedom.

    Parameters
    ----------
    values : array_like, (n,)
        single values in order of time, n >= 3

    Returns
    -------
    WithinSigma
        mean moving range over d2, and the degrees of freedom it is worth

    Raises
    ------
    NotDeterminable
        for fewer than three values, one that is not a number, or no scatter

    Notes
    -----
    For normal values ``|x_i - x_(i-1)|`` has variance ``2 - 4/pi`` and neighbouring ones the
    covariance ``(4/pi)(sqrt(3)/2 + pi/12) - 4/pi``; with ``d2^2 = 4/pi`` the estimate has the
    relative variance ``(0.82635 n - 1.08190) / (n - 1)^2``, and degrees of freedom are half
    its inverse (about 0.6 n), so that it is less sure than the overall deviation.

    References
    ----------
    Variance as in Cryer and Ryan (1990), Journal of Quality Technology 22, 187-192 (memory);
    derived anew from the bivariate normal absolute moment.

    Examples
    --------
    >>> round(moving_range_sigma([1.0, 2.0, 1.0, 2.0]).sigma, 4)
    0.8862
    """
    series = checked_series(values, at_least=3)
    sigma = individuals_limits(series).sigma
    if sigma == 0:
        raise NotDeterminable(_ALL_EQUAL)
    n = series.size
    own = (2 - 4 / np.pi) / (4 / np.pi)
    shared = np.sqrt(3) / 2 + np.pi / 12 - 1
    relative_variance = (own * (n - 1) + 2 * shared * (n - 2)) / (n - 1) ** 2
    return WithinSigma(sigma=sigma, freedom=float(1 / (2 * relative_variance)))


def subgroup_sigma(subgroups: ArrayLike) -> WithinSigma:
    """Scatter within subgroups, pooled, with its degrees of freedom.

    Parameters
    ----------
    subgroups : array_like, (m, n)
        one row a subgroup, n >= 2

    Returns
    -------
    WithinSigma
        root of the mean variance within subgroups, on ``m (n - 1)`` degrees of freedom

    Raises
    ------
    NotDeterminable
        when rows are missing, unequal, hold anything but numbers, or show no scatter

    Notes
    -----
    ``s = sqrt(sum of s_i^2 / m)``; exact chi-squared for normal values, other than a mean range
    or mean deviation.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 7.4.2.4 (mean square within groups).

    Examples
    --------
    Variances 2 and 8 have the mean 5:

    >>> found = subgroup_sigma([[1.0, 3.0], [2.0, 6.0]])
    >>> round(found.sigma**2, 6), found.freedom
    (5.0, 2)
    """
    table = np.asarray(subgroups, dtype=np.float64)
    if table.ndim != 2 or table.shape[0] == 0 or table.shape[1] < 2:
        raise NotDeterminable("The scatter within subgroups needs subgroups of two values or more.")
    if not np.all(np.isfinite(table)):
        raise NotDeterminable("A subgroup holds a value that is not a number; complete it.")
    sigma = sqrt(float(table.var(axis=1, ddof=1).mean()))
    if sigma == 0:
        raise NotDeterminable(_EQUAL_WITHIN)
    return WithinSigma(sigma=sigma, freedom=table.shape[0] * (table.shape[1] - 1))


def capability(
    values: ArrayLike,
    limits: ProcessLimits,
    *,
    within: WithinSigma | None = None,
    confidence: float = 0.95,
) -> Capability:
    """Capability and performance indices of a process, with intervals.

    Parameters
    ----------
    values : array_like, (n,)
        values in order of time, n >= 3
    limits : ProcessLimits
        one limit or both, and a target if there is one
    within : WithinSigma, optional
        short-time scatter; from moving ranges when left out
    confidence : float
        of the intervals, between 0 and 1

    Returns
    -------
    Capability
        the indices

    Raises
    ------
    NotDeterminable
        for fewer than three values, one that is not a number, or no scatter at all
    OutOfRange
        for limits that are missing or crossed, or a confidence outside 0 to 1

    Notes
    -----
    ``Cp = (U - L) / (6 s)``, ``Cpk = min(U - m, m - L) / (3 s)`` with the short-time scatter;
    ``Pp`` and ``Ppk`` with that of all values; ``Cpm`` with
    ``sqrt(s^2 + (m - target)^2)``. Intervals: of Cp and Pp by chi-squared, of Cpk and Ppk by
    the normal approximation ``Cpk (1 -+ z sqrt(1 / (9 n Cpk^2) + 1 / (2 f)))``. All suppose
    normal values from a process in control; look at its chart first.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6; ISO 22514-2; Bissell
    (1990), Applied Statistics 39, 331-340.

    Examples
    --------
    >>> found = capability([14.0, 16.0, 18.0], ProcessLimits(8.0, 20.0))
    >>> round(found.pp.value, 4), round(found.ppk.value, 4)
    (1.0, 0.6667)
    """
    series = checked_series(values, at_least=3)
    _check_limits(limits, confidence)
    short = within or moving_range_sigma(series)
    mean, overall_sd = float(series.mean()), float(series.std(ddof=1))
    if overall_sd == 0:
        raise NotDeterminable(_ALL_EQUAL)
    if not (short.sigma > 0 and short.freedom > 0):
        raise NotDeterminable(_EQUAL_WITHIN)
    overall = WithinSigma(overall_sd, series.size - 1)
    n = series.size
    return Capability(
        cp=_spread_index(limits, short, confidence),
        cpk=_nearer_index(limits, mean, short, n, confidence),
        pp=_spread_index(limits, overall, confidence),
        ppk=_nearer_index(limits, mean, overall, n, confidence),
        cpm=_target_index(limits, mean, overall_sd),
        mean=mean,
        within_sd=short.sigma,
        overall_sd=overall_sd,
        count=n,
        observed_outside=_observed_outside(series.tolist(), limits),
        expected_outside=expected_outside(limits, mean, overall_sd),
    )


def indices_from_summary(limits: ProcessLimits, mean: float, sd: float) -> tuple[float, float]:
    """Cp and Cpk from a mean and a standard deviation alone, without intervals.

    Parameters
    ----------
    limits : ProcessLimits
        one limit or both
    mean, sd : float
        mean and standard deviation of the process; sd > 0

    Returns
    -------
    tuple of float
        Cp (nan with one limit) and Cpk

    Raises
    ------
    OutOfRange
        for limits that are missing or crossed, or a standard deviation of zero or below

    Notes
    -----
    ``Cp = (U - L) / (6 s)``, ``Cpk = min(U - m, m - L) / (3 s)``.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6.

    Examples
    --------
    >>> cp, cpk = indices_from_summary(ProcessLimits(8, 20), 16, 2)
    >>> cp, round(cpk, 4)
    (1.0, 0.6667)
    """
    _check_limits(limits, 0.5)
    if not sd > 0:
        raise OutOfRange("The standard deviation must be above zero to judge a process by it.")
    lower, upper = limits.lower, limits.upper
    both = nan if lower is None or upper is None else (upper - lower) / (6 * sd)
    room = [upper - mean] if upper is not None else []
    room += [mean - lower] if lower is not None else []
    return both, min(room) / (3 * sd)


def expected_outside(limits: ProcessLimits, mean: float, sd: float) -> float:
    """Share of a normal process expected outside its limits.

    Parameters
    ----------
    limits : ProcessLimits
        one limit or both
    mean, sd : float
        mean and standard deviation; sd > 0

    Returns
    -------
    float
        share, 0 to 1

    Raises
    ------
    OutOfRange
        for a standard deviation of zero or below

    Notes
    -----
    ``Phi((L - m) / s) + Phi((m - U) / s)``. The tails of real processes are rarely normal:
    small shares are an order of size, not a count.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6.

    Examples
    --------
    >>> round(expected_outside(ProcessLimits(1.0, 2.0), 1.5056, 0.1398), 5)
    0.00035
    """
    from scipy.special import ndtr

    if not sd > 0:
        raise OutOfRange("The standard deviation must be above zero to judge a process by it.")
    below = 0.0 if limits.lower is None else float(ndtr((limits.lower - mean) / sd))
    above = 0.0 if limits.upper is None else float(ndtr((mean - limits.upper) / sd))
    return below + above


def share_within_limits(values: ArrayLike, limits: ProcessLimits) -> float:
    """Share of a lot estimated to lie within limits, by the quality-index method.

    Parameters
    ----------
    values : array_like, (n,)
        results of the lot, n >= 3
    limits : ProcessLimits
        one limit or both

    Returns
    -------
    float
        share within, 0 to 1 (percent within limits over 100)

    Raises
    ------
    NotDeterminable
        for fewer than three values or one that is not a number
    OutOfRange
        for limits that are missing or crossed

    Notes
    -----
    For a limit with quality index ``Q = distance of the mean from it / s`` the share outside
    is the symmetric beta integral ``I_x(n/2 - 1, n/2 - 1)`` at
    ``x = max(0, 1/2 - Q sqrt(n) / (2 (n - 1)))``: the best unbiased estimate for normal
    values. Shares outside both limits add. Without any scatter the mean alone decides.

    References
    ----------
    Lieberman and Resnikoff (1955), J. American Statistical Association 50, 457-516, as used
    in AASHTO R 9; for n = 4 it is the straight line 1/2 + Q/3.

    Examples
    --------
    Four results 1.2 standard deviations (1.2 x 2) below the upper limit:

    >>> round(share_within_limits([-3**0.5, -3**0.5, 3**0.5, 3**0.5], ProcessLimits(None, 2.4)), 3)
    0.9
    """
    from scipy.special import betainc

    series = checked_series(values, at_least=3)
    _check_limits(limits, 0.5)
    mean, sd, n = float(series.mean()), float(series.std(ddof=1)), series.size
    outside = 0.0
    for limit, side in ((limits.lower, -1.0), (limits.upper, 1.0)):
        if limit is None:
            continue
        room = side * (limit - mean)
        if sd == 0:
            outside += float(room < 0)
            continue
        x = min(1.0, max(0.0, 0.5 - room / sd * sqrt(n) / (2 * (n - 1))))
        outside += float(betainc(n / 2 - 1, n / 2 - 1, x))
    return max(0.0, 1.0 - outside)


def _check_limits(limits: ProcessLimits, confidence: float) -> None:
    if limits.lower is None and limits.upper is None:
        raise OutOfRange("A process is judged against a lower or an upper limit; give one.")
    if limits.lower is not None and limits.upper is not None and limits.lower >= limits.upper:
        raise OutOfRange(
            f"The lower limit {limits.lower:g} does not lie below the upper limit "
            f"{limits.upper:g}; look at the specification."
        )
    if not 0 < confidence < 1:
        raise OutOfRange("The confidence must lie between 0 and 1, such as 0.95.")


def _spread_index(limits: ProcessLimits, scatter: WithinSigma, confidence: float) -> Interval:
    from scipy.special import chdtri

    if limits.lower is None or limits.upper is None:
        return Interval(nan, nan, nan)
    value = (limits.upper - limits.lower) / (6 * scatter.sigma)
    tail = (1 - confidence) / 2
    low, high = (
        value * sqrt(float(chdtri(scatter.freedom, 1 - p)) / scatter.freedom)
        for p in (tail, 1 - tail)
    )
    return Interval(value, low, high)


def _nearer_index(
    limits: ProcessLimits, mean: float, scatter: WithinSigma, n: int, confidence: float
) -> Interval:
    from scipy.special import ndtri

    value = indices_from_summary(limits, mean, scatter.sigma)[1]
    half = float(ndtri((1 + confidence) / 2)) * sqrt(1 / (9 * n) + value**2 / (2 * scatter.freedom))
    return Interval(value, value - half, value + half)


def _target_index(limits: ProcessLimits, mean: float, sd: float) -> float:
    if limits.lower is None or limits.upper is None or limits.target is None:
        return nan
    return (limits.upper - limits.lower) / (6 * sqrt(sd**2 + (mean - limits.target) ** 2))


def _observed_outside(series: list[float], limits: ProcessLimits) -> float:
    lower = -np.inf if limits.lower is None else limits.lower
    upper = np.inf if limits.upper is None else limits.upper
    return sum(not lower <= value <= upper for value in series) / len(series)
