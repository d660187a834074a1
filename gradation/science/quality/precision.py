"""Repeatability and reproducibility of a method between laboratories or operators.

One `Level` is one material; its cells hold the replicate results of each laboratory, in the
same order of laboratories for all levels.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, nan, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.quality.outliers import (
    OutlierTest,
    cochran,
    examine,
    group_variances,
)
from gradation.science.quality.series import FloatArray

LIMIT_FACTOR = 2.8  # ISO 5725-6:1994, clause 4.1.4: 1.96 sqrt(2), as the standard rounds it


@dataclass(frozen=True, slots=True)
class Precision:
    """Precision of a method at one level.

    Parameters
    ----------
    mean : float
        general mean, each laboratory weighted by its results
    repeatability_sd, between_sd, reproducibility_sd : float
        standard deviations within and between laboratories, and of both together
        (``s_r``, ``s_L``, ``s_R`` of the standard)
    repeatability_limit, reproducibility_limit : float
        2.8 times the deviations (``r`` and ``R``)
    laboratories, results : int
        numbers of laboratories and of results used
    mean_replicates : float
        the n-bar of the standard for unequal cells
    """

    mean: float
    repeatability_sd: float
    between_sd: float
    reproducibility_sd: float
    repeatability_limit: float
    reproducibility_limit: float
    laboratories: int
    results: int
    mean_replicates: float


@dataclass(frozen=True, slots=True)
class Consistency:
    """Mandel's statistics and the outlier tests at one level.

    Parameters
    ----------
    h, k : ndarray, (p,)
        consistency between and within laboratories; k is nan for a single result
    h_critical, k_critical : tuple of float
        5 % and 1 % indicator values
    cochran : OutlierTest | None
        test of the largest scatter; None with fewer than two cells of two results
    grubbs : tuple of OutlierTest
        tests of the cell means; empty with fewer than three laboratories
    """

    h: FloatArray
    k: FloatArray
    h_critical: tuple[float, float]
    k_critical: tuple[float, float]
    cochran: OutlierTest | None
    grubbs: tuple[OutlierTest, ...]


def precision(cells: tuple[ArrayLike, ...]) -> Precision:
    """Repeatability and reproducibility of a method at one level.

    Parameters
    ----------
    cells : tuple of array_like
        results of each laboratory, one or more each, two laboratories or more

    Returns
    -------
    Precision
        mean, standard deviations and limits

    Raises
    ------
    NotDeterminable
        for fewer than two laboratories, an empty cell, a value that is not a number, or no
        replicate at all

    Notes
    -----
    With ``n_i`` results, mean ``m_i`` and deviation ``s_i`` of laboratory ``i`` of ``p``::

        s_r^2 = sum((n_i - 1) s_i^2) / sum(n_i - 1)
        s_d^2 = sum(n_i (m_i - m)^2) / (p - 1),  m = sum(n_i m_i) / sum(n_i)
        n-bar = (sum(n_i) - sum(n_i^2) / sum(n_i)) / (p - 1)
        s_L^2 = max(0, (s_d^2 - s_r^2) / n-bar),  s_R^2 = s_L^2 + s_r^2

    Outliers must be looked for first (`consistency`); nothing is left out here.

    References
    ----------
    ISO 5725-2:1994, clause 7.4; limits ISO 5725-6:1994, clause 4.1.4.

    Examples
    --------
    >>> found = precision(([10.0, 12.0], [14.0, 16.0]))
    >>> round(found.repeatability_sd, 4), round(found.reproducibility_sd, 4)
    (1.4142, 3.0)
    """
    table = _checked_cells(cells)
    counts = np.array([cell.size for cell in table], dtype=np.float64)
    means = np.array([float(cell.mean()) for cell in table])
    freedom = float(np.sum(counts - 1))
    if freedom == 0:
        raise NotDeterminable(
            "No laboratory repeated its test, so repeatability cannot be found. Two results or "
            "more are needed from each."
        )
    total = float(counts.sum())
    mean = float(np.sum(counts * means)) / total
    within = sum(float(np.sum((cell - cell.mean()) ** 2)) for cell in table) / freedom
    p = len(table)
    between = float(np.sum(counts * (means - mean) ** 2)) / (p - 1)
    replicates = (total - float(np.sum(counts**2)) / total) / (p - 1)
    laboratory = max(0.0, (between - within) / replicates)
    s_r, s_R = sqrt(within), sqrt(within + laboratory)
    return Precision(
        mean=mean,
        repeatability_sd=s_r,
        between_sd=sqrt(laboratory),
        reproducibility_sd=s_R,
        repeatability_limit=LIMIT_FACTOR * s_r,
        reproducibility_limit=LIMIT_FACTOR * s_R,
        laboratories=p,
        results=int(total),
        mean_replicates=replicates,
    )


def consistency(cells: tuple[ArrayLike, ...]) -> Consistency:
    """Mandel's h and k of each laboratory, with Cochran and Grubbs tests, at one level.

    Parameters
    ----------
    cells : tuple of array_like
        results of each laboratory, one or more each, three laboratories or more

    Returns
    -------
    Consistency
        statistics with their indicator values, and the tests

    Raises
    ------
    NotDeterminable
        for fewer than three laboratories, an empty cell, or a value that is not a number

    Notes
    -----
    ``h_i = (m_i - mean of m) / s(m)`` and ``k_i = s_i / sqrt(mean of s^2)``, the means over
    laboratories (cells of two or more for k). Cochran's critical value and the indicator of k
    suppose equal cells; where they differ the commonest number of replicates is used. When
    all laboratories agree exactly h is 0, without any scatter within them k is 0.

    References
    ----------
    ISO 5725-2:1994, clauses 7.3.1, 7.3.3 and 7.3.4.

    Examples
    --------
    >>> found = consistency(([10.0, 12.0], [11.0, 12.0], [10.5, 11.5]))
    >>> [round(float(h), 3) for h in found.h]
    [-0.577, 1.155, -0.577]
    """
    table = _checked_cells(cells)
    if len(table) < 3:
        raise NotDeterminable("Consistency is judged among three laboratories or more.")
    means = np.array([float(cell.mean()) for cell in table])
    spread = float(means.std(ddof=1))
    h = (means - means.mean()) / spread if spread > 0 else np.zeros_like(means)
    repeated = np.array([cell.size > 1 for cell in table])
    sizes = [cell.size for cell in table if cell.size > 1]
    replicates = max(set(sizes), key=sizes.count) if sizes else 1
    tested = len(sizes) >= 2
    variances = group_variances(tuple(cell for cell in table if cell.size > 1))
    return Consistency(
        h=h,
        k=_mandel_k(repeated, variances),
        h_critical=(mandel_h_critical(len(table), 0.05), mandel_h_critical(len(table), 0.01)),
        k_critical=_k_criticals(len(sizes), replicates),
        cochran=cochran(variances, replicates) if tested else None,
        grubbs=examine(means),
    )


def mandel_h_critical(laboratories: int, level: float) -> float:
    """Indicator value of Mandel's h.

    Parameters
    ----------
    laboratories : int
        number of laboratories, >= 3
    level : float
        significance, between 0 and 1, both sides together

    Returns
    -------
    float
        absolute h beyond which a laboratory differs from the others

    Raises
    ------
    OutOfRange
        for fewer than three laboratories or a level outside 0 to 1

    Notes
    -----
    ``h = (p - 1) t / sqrt(p (t^2 + p - 2))``, ``t`` the two-sided Student factor with
    ``p - 2`` degrees of freedom.

    References
    ----------
    ISO 5725-2:1994, tables 6 and 7; Wilrich (2013), AStA Adv. Stat. Anal. 97, 1-10 (formula).

    Examples
    --------
    >>> round(mandel_h_critical(8, 0.01), 2)
    2.06
    """
    from scipy.special import stdtrit

    if laboratories < 3 or not 0 < level < 1:
        raise OutOfRange("Indicator values need three laboratories or more and a level in 0 to 1.")
    p = laboratories
    t = float(stdtrit(p - 2, 1 - level / 2))
    return (p - 1) * t / sqrt(p * (t * t + p - 2))


def mandel_k_critical(laboratories: int, replicates: int, level: float) -> float:
    """Indicator value of Mandel's k.

    Parameters
    ----------
    laboratories : int
        number of laboratories, >= 2
    replicates : int
        results in a cell, >= 2
    level : float
        significance, between 0 and 1

    Returns
    -------
    float
        k beyond which a laboratory scatters more than the others

    Raises
    ------
    OutOfRange
        for too few laboratories or replicates, or a level outside 0 to 1

    Notes
    -----
    ``k = sqrt(p / (1 + (p - 1) / F))`` with ``F`` the upper point of F with ``n - 1`` and
    ``(p - 1)(n - 1)`` degrees of freedom.

    References
    ----------
    ISO 5725-2:1994, tables 6 and 7; Wilrich (2013), AStA Adv. Stat. Anal. 97, 1-10 (formula).

    Examples
    --------
    >>> round(mandel_k_critical(8, 3, 0.01), 2)
    1.96
    """
    from scipy.special import fdtri

    if laboratories < 2 or replicates < 2 or not 0 < level < 1:
        raise OutOfRange("Indicator values of scatter need two laboratories and two replicates.")
    p, n = laboratories, replicates
    F = float(fdtri(n - 1, (p - 1) * (n - 1), 1 - level))
    return sqrt(p / (1 + (p - 1) / F))


def limit_from_deviation(standard_deviation: ArrayLike, factor: float = LIMIT_FACTOR) -> FloatArray:
    """Repeatability or reproducibility limit that belongs to a standard deviation.

    Parameters
    ----------
    standard_deviation : array_like, (...)
        standard deviation of repeatability or reproducibility, >= 0
    factor : float
        2.8 by ISO 5725-6, 2.83 by ASTM C670 (2 sqrt 2)

    Returns
    -------
    ndarray, (...)
        difference two results exceed in one case of twenty

    Raises
    ------
    OutOfRange
        for a negative standard deviation

    Notes
    -----
    ``r = 2.8 s_r``, ``R = 2.8 s_R``.

    References
    ----------
    ISO 5725-6:1994, clause 4.1.4.

    Examples
    --------
    >>> round(float(limit_from_deviation(0.057)), 2)
    0.16
    """
    deviation = np.asarray(standard_deviation, dtype=np.float64)
    if np.any(deviation < 0):
        raise OutOfRange("A standard deviation cannot be negative.")
    return np.asarray(factor * deviation)


def sieving_reproducibility_bound(passing: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Reproducibility to be expected of sieving, and the tolerance it calls for.

    Parameters
    ----------
    passing : array_like, (...)
        share passing, 0 to 1

    Returns
    -------
    tuple of ndarray, (...)
        bound of the reproducibility standard deviation, and smallest sensible tolerance,
        both as shares

    Raises
    ------
    OutOfRange
        for a share outside 0 to 1

    Notes
    -----
    With ``X`` in percent: ``s_R < 0.05 sqrt(X (100 - X))``, tolerance
    ``T > 0.30 sqrt(X (100 - X))``, in percent. Found for aggregates; other materials differ.

    References
    ----------
    European cross-testing project on aggregates, particle size distribution test, summary.

    Examples
    --------
    >>> bound, tolerance = sieving_reproducibility_bound(0.5)
    >>> float(bound), float(tolerance)
    (0.025, 0.15)
    """
    X = np.asarray(passing, dtype=np.float64)
    if not np.all((X >= 0) & (X <= 1)):
        raise OutOfRange("A share passing lies between 0 and 100 %.")
    root = np.sqrt(X * (1 - X))
    return np.asarray(0.05 * root), np.asarray(0.30 * root)


def _checked_cells(cells: tuple[ArrayLike, ...]) -> tuple[FloatArray, ...]:
    table = tuple(np.atleast_1d(np.asarray(cell, dtype=np.float64)) for cell in cells)
    if len(table) < 2:
        raise NotDeterminable("Precision is compared between two laboratories or more.")
    for number, cell in enumerate(table, start=1):
        if cell.size == 0 or not all(isfinite(value) for value in cell.ravel()):
            raise NotDeterminable(
                f"Laboratory {number} has no result, or one that is not a number; leave it out."
            )
    return table


def _mandel_k(repeated: NDArray[np.bool_], variances: FloatArray) -> FloatArray:
    k = np.full(repeated.shape, nan)
    if variances.size:
        pooled = float(variances.mean())
        k[repeated] = np.sqrt(variances / pooled) if pooled > 0 else 0.0
    return k


def _k_criticals(laboratories: int, replicates: int) -> tuple[float, float]:
    if laboratories < 2 or replicates < 2:
        return nan, nan
    five, one = (mandel_k_critical(laboratories, replicates, a) for a in (0.05, 0.01))
    return five, one
