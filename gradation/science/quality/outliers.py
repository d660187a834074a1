"""Outlier tests for replicate results and between laboratories: Grubbs and Cochran.

By ISO 5725-2 a value beyond the 5 % critical value is a straggler, to be looked into; beyond
the 1 % value an outlier, to be left out if no other cause is found. No test deletes anything.
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

STRAGGLER_LEVEL, OUTLIER_LEVEL = 0.05, 0.01  # ISO 5725-2:1994, clause 7.3.2.1


class OutlierVerdict(StrEnum):
    """What a test says of the suspected values."""

    CORRECT = "correct"
    STRAGGLER = "straggler"
    OUTLIER = "outlier"


class End(StrEnum):
    """Which end of the values is tested."""

    LARGEST = "largest"
    SMALLEST = "smallest"


@dataclass(frozen=True, slots=True)
class OutlierTest:
    """Result of one test.

    Parameters
    ----------
    positions : tuple of int
        the suspected values, positions from 0
    statistic : float
        test statistic
    critical_5_pct, critical_1_pct : float
        its critical values
    verdict : OutlierVerdict
        correct, straggler or outlier
    sentence : str
        the verdict in words
    """

    positions: tuple[int, ...]
    statistic: float
    critical_5_pct: float
    critical_1_pct: float
    verdict: OutlierVerdict
    sentence: str


def grubbs_critical(n: int, level: float) -> float:
    """Critical value of the test for one outlier at either end.

    Parameters
    ----------
    n : int
        number of values, >= 3
    level : float
        significance, between 0 and 1, of the two ends together

    Returns
    -------
    float
        statistic above which the value is beyond chance

    Raises
    ------
    OutOfRange
        for fewer than three values or a level outside 0 to 1

    Notes
    -----
    ``G = (n - 1) / sqrt(n) sqrt(t^2 / (n - 2 + t^2))`` with ``t`` the upper
    ``level / (2 n)`` point of Student's distribution with ``n - 2`` degrees of freedom. The
    printed table of ISO 5725-2 is this one.

    References
    ----------
    ISO 5725-2:1994, table 5; NIST/SEMATECH e-Handbook, section 1.3.5.17.1.

    Examples
    --------
    >>> round(grubbs_critical(8, 0.05), 3), round(grubbs_critical(8, 0.01), 3)
    (2.127, 2.274)
    """
    from scipy.special import stdtrit

    if n < 3:
        raise OutOfRange("Fewer than three values cannot show an outlier; repeat the test.")
    _check_level(level)
    t2 = float(stdtrit(n - 2, level / (2 * n))) ** 2
    return (n - 1) / sqrt(n) * sqrt(t2 / (n - 2 + t2))


def grubbs_single(values: ArrayLike, end: End | None = None) -> OutlierTest:
    """Test of the value farthest from the mean.

    Parameters
    ----------
    values : array_like, (n,)
        values in any order, n >= 3
    end : End, optional
        test the largest or the smallest; whichever is farther when left out

    Returns
    -------
    OutlierTest
        statistic, critical values and verdict

    Raises
    ------
    NotDeterminable
        for fewer than three values or one that is not a number

    Notes
    -----
    ``G = |x - mean| / s``. Without any scatter the statistic is 0 and the value correct.
    Of several values equally far the first counts.

    References
    ----------
    ISO 5725-2:1994, clause 7.3.4; Grubbs (1969), Technometrics 11, 1-21.

    Examples
    --------
    >>> grubbs_single([25.1, 25.3, 24.9, 25.2, 31.0]).verdict.value
    'outlier'
    """
    series = checked_series(values, at_least=3)
    away = series - series.mean()
    directed = np.abs(away) if end is None else away * (1 if end is End.LARGEST else -1)
    position = int(np.argmax(directed))
    sd = float(series.std(ddof=1))
    statistic = float(directed[position]) / sd if sd > 0 else 0.0
    critical = [grubbs_critical(series.size, level) for level in (STRAGGLER_LEVEL, OUTLIER_LEVEL)]
    verdict = _verdict(statistic > critical[0], statistic > critical[1])
    name = f"Value {position + 1} ({series[position]:g})"
    return OutlierTest(
        (position,), statistic, critical[0], critical[1], verdict, _sentence(name, verdict)
    )


def grubbs_double(values: ArrayLike, end: End) -> OutlierTest:
    """Test of the two largest or the two smallest values together.

    Parameters
    ----------
    values : array_like, (n,)
        values in any order, 4 to 40 of them
    end : End
        which end to test

    Returns
    -------
    OutlierTest
        statistic, critical values and verdict

    Raises
    ------
    NotDeterminable
        for fewer than four values or one that is not a number
    OutOfRange
        for more than 40 values, where the table ends

    Notes
    -----
    ``G = SS(without the two) / SS(all)``: small when the two stand apart, so a value below the
    critical one counts. The test finds two outliers that hide each other from
    `grubbs_single`. Without any scatter the statistic is 1.

    References
    ----------
    ISO 5725-2:1994, clause 7.3.4 and table 5 (`data/grubbs_double.csv`).

    Examples
    --------
    >>> grubbs_double([25.1, 25.3, 24.9, 25.2, 25.0, 31.0, 31.2], End.LARGEST).verdict.value
    'outlier'
    """
    series = checked_series(values, at_least=4)
    row = next((r for r in read_table("grubbs_double") if int(r["n"]) == series.size), None)
    if row is None:
        raise OutOfRange("The test for two outliers is tabulated for 4 to 40 values.")
    order = np.argsort(series, kind="stable")
    suspects = order[-2:] if end is End.LARGEST else order[:2]
    kept = np.delete(series, suspects)
    whole = float(np.sum((series - series.mean()) ** 2))
    statistic = float(np.sum((kept - kept.mean()) ** 2)) / whole if whole > 0 else 1.0
    five, one = float(row["critical_5_pct"]), float(row["critical_1_pct"])
    verdict = _verdict(statistic < five, statistic < one)
    positions = tuple(sorted(int(i) for i in suspects))
    name = " and ".join(f"value {i + 1} ({series[i]:g})" for i in positions)
    name = name[0].upper() + name[1:]
    return OutlierTest(
        positions, statistic, five, one, verdict, _sentence(name, verdict, many=True)
    )


def cochran_critical(groups: int, replicates: int, level: float) -> float:
    """Critical value of the test for one group that scatters more than the others.

    Parameters
    ----------
    groups : int
        number of groups, >= 2
    replicates : int
        values in a group, >= 2
    level : float
        significance, between 0 and 1

    Returns
    -------
    float
        share of the largest variance above which it is beyond chance

    Raises
    ------
    OutOfRange
        for fewer than two groups or replicates, or a level outside 0 to 1

    Notes
    -----
    ``C = 1 / (1 + (p - 1) / F)`` with ``F`` the upper ``level / p`` point of F with ``n - 1``
    and ``(p - 1)(n - 1)`` degrees of freedom: exact while C exceeds 1/2, an upper bound
    otherwise, and equal to the printed tables to their three digits.

    References
    ----------
    ISO 5725-2:1994, table 4; 't Lam (2010), Technometrics 52, 74-85 (formula).

    Examples
    --------
    >>> round(cochran_critical(8, 3, 0.05), 3), round(cochran_critical(8, 3, 0.01), 3)
    (0.516, 0.615)
    """
    from scipy.special import fdtri

    if groups < 2 or replicates < 2:
        raise OutOfRange("Scatter is compared between two groups or more of two values or more.")
    _check_level(level)
    freedom = replicates - 1
    F = float(fdtri(freedom, (groups - 1) * freedom, 1 - level / groups))
    return 1 / (1 + (groups - 1) / F)


def cochran(variances: ArrayLike, replicates: int) -> OutlierTest:
    """Test of the group with the largest variance.

    Parameters
    ----------
    variances : array_like, (p,)
        variance within each group, >= 0, p >= 2
    replicates : int
        values in each group; where they differ, the number most groups have

    Returns
    -------
    OutlierTest
        statistic, critical values and verdict

    Raises
    ------
    NotDeterminable
        for fewer than two variances or one that is not a number
    OutOfRange
        for a negative variance or fewer than two replicates

    Notes
    -----
    ``C = largest variance / sum of variances``. Without any scatter the statistic is 0. A
    group that scatters less than the others is not found by this test.

    References
    ----------
    ISO 5725-2:1994, clause 7.3.3.

    Examples
    --------
    >>> cochran([0.01, 0.02, 0.01, 0.90], replicates=3).verdict.value
    'outlier'
    """
    series = checked_series(variances, at_least=2)
    if np.any(series < 0):
        raise OutOfRange("A variance cannot be negative.")
    position = int(np.argmax(series))
    total = float(series.sum())
    statistic = float(series[position]) / total if total > 0 else 0.0
    five, one = (
        cochran_critical(series.size, replicates, level)
        for level in (STRAGGLER_LEVEL, OUTLIER_LEVEL)
    )
    verdict = _verdict(statistic > five, statistic > one)
    name = f"The scatter of group {position + 1}"
    return OutlierTest((position,), statistic, five, one, verdict, _sentence(name, verdict))


def examine(values: ArrayLike) -> tuple[OutlierTest, ...]:
    """The whole procedure for one set of values: single test, then the double tests.

    Parameters
    ----------
    values : array_like, (n,)
        values in any order, n >= 3

    Returns
    -------
    tuple of OutlierTest
        the single test, and from four to forty values both double tests when it finds nothing

    Raises
    ------
    NotDeterminable
        for fewer than three values or one that is not a number

    Notes
    -----
    When the single test finds nothing two outliers may hide each other, so both pairs are
    tested.

    References
    ----------
    ISO 5725-2:1994, clause 7.3.4.

    Examples
    --------
    >>> [test.verdict.value for test in examine([25.1, 25.3, 24.9, 25.2])]
    ['correct', 'correct', 'correct']
    """
    series = checked_series(values, at_least=3)
    single = grubbs_single(series)
    if single.verdict is not OutlierVerdict.CORRECT or not 4 <= series.size <= 40:
        return (single,)
    return (single, grubbs_double(series, End.LARGEST), grubbs_double(series, End.SMALLEST))


def group_variances(groups: tuple[FloatArray, ...]) -> FloatArray:
    """Variance within each group of two values or more.

    Parameters
    ----------
    groups : tuple of ndarray
        values of each group, two or more in each

    Returns
    -------
    ndarray, (p,)
        variances, dividing by n - 1

    Raises
    ------
    NotDeterminable
        when a group holds fewer than two values

    Notes
    -----
    What `cochran` asks for.

    References
    ----------
    ISO 5725-2:1994, clause 7.4.3.

    Examples
    --------
    >>> group_variances((np.array([1.0, 3.0]), np.array([2.0, 2.0]))).tolist()
    [2.0, 0.0]
    """
    if any(group.size < 2 for group in groups):
        raise NotDeterminable("A group with a single value shows no scatter; leave it out.")
    return np.array([float(group.var(ddof=1)) for group in groups])


def _verdict(beyond_five: bool, beyond_one: bool) -> OutlierVerdict:
    if beyond_one:
        return OutlierVerdict.OUTLIER
    return OutlierVerdict.STRAGGLER if beyond_five else OutlierVerdict.CORRECT


def _sentence(name: str, verdict: OutlierVerdict, *, many: bool = False) -> str:
    stand = "stand" if many else "stands"
    them = "them" if many else "it"
    if verdict is OutlierVerdict.OUTLIER:
        return (
            f"{name} {stand} apart beyond chance at 1 % (outlier): look for the cause before "
            f"leaving {them} out."
        )
    if verdict is OutlierVerdict.STRAGGLER:
        return f"{name} {stand} apart at 5 % but not at 1 % (straggler): look for the cause."
    return f"{name} {'are' if many else 'is'} not out of the ordinary."


def _check_level(level: float) -> None:
    if not 0 < level < 1:
        raise OutOfRange("The significance must lie between 0 and 1, such as 0.05.")
