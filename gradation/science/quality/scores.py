"""Scores of a laboratory in a comparison: z, z', zeta and En, and the robust mean behind them.

Vectorised over participants; robust values take the participants on the first axis and
anything else (such as apertures) after it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.quality.series import FloatArray

IQR_FACTOR = 0.7413  # ISO 13528:2015, clause C.2.3: 1 / (2 x 0.6745)
MAD_FACTOR = 1.483  # ISO 13528:2015, clause C.2.2: 1 / 0.6745
_ROUNDS = 500  # algorithm A settles in a few; the bound only stops a cycle
_NOISE = 1e-9  # of binary figures: a score of exactly 2 is 2, not a little more
_SETTLED = 1e-12  # relative change at which it counts as settled


class ScoreVerdict(StrEnum):
    """What a score says of a result."""

    SATISFACTORY = "satisfactory"
    QUESTIONABLE = "questionable"
    UNSATISFACTORY = "unsatisfactory"


@dataclass(frozen=True, slots=True)
class Robust:
    """Robust mean and standard deviation; arrays when several columns were given."""

    mean: FloatArray
    standard_deviation: FloatArray
    count: int

    @property
    def u_mean(self) -> FloatArray:
        """Standard uncertainty of the robust mean (ISO 13528:2015, equation 6)."""
        return np.asarray(1.25 * self.standard_deviation / np.sqrt(self.count))


def quartile_estimate(values: ArrayLike) -> Robust:
    """Median and standard deviation from the interquartile range.

    Parameters
    ----------
    values : array_like, (p, ...)
        results of the participants on the first axis, p >= 2

    Returns
    -------
    Robust
        median, and 0.7413 times the interquartile range (nIQR)

    Raises
    ------
    NotDeterminable
        for fewer than two results or one that is not a number

    Notes
    -----
    Quartiles by linear interpolation at ``(p - 1) q`` between ordered values; other rules
    give other quartiles, so the rule belongs to the result.

    References
    ----------
    ISO 13528:2015, clause C.2.3.

    Examples
    --------
    >>> found = quartile_estimate([1.0, 2.0, 3.0, 4.0, 5.0])
    >>> float(found.mean), float(found.standard_deviation)
    (3.0, 1.4826)
    """
    table = _checked(values, at_least=2)
    low, median, high = np.quantile(table, [0.25, 0.5, 0.75], axis=0)
    return Robust(np.asarray(median), np.asarray(IQR_FACTOR * (high - low)), table.shape[0])


def algorithm_a(values: ArrayLike) -> Robust:
    """Robust mean and standard deviation by algorithm A.

    Parameters
    ----------
    values : array_like, (p, ...)
        results of the participants on the first axis, p >= 3

    Returns
    -------
    Robust
        robust mean and standard deviation

    Raises
    ------
    NotDeterminable
        for fewer than three results or one that is not a number

    Notes
    -----
    Start: median and 1.483 times the median absolute deviation. Then draw values beyond
    ``x* -+ 1.5 s*`` in to that distance, take ``x*`` as their mean and ``s*`` as 1.134 times
    their standard deviation, until neither changes. When more than half the results are equal
    the start is 0; the mean absolute deviation times ``sqrt(pi/2)`` starts it then.

    References
    ----------
    ISO 13528:2015, clause C.3.1 (with the note on a zero start); ISO 5725-5.

    Examples
    --------
    >>> found = algorithm_a([10.0, 10.2, 9.8, 10.1, 9.9, 15.0])
    >>> bool(found.mean < 10.2)
    True
    """
    table = _checked(values, at_least=3)
    mean = np.median(table, axis=0)
    away = np.abs(table - mean)
    mad = MAD_FACTOR * np.median(away, axis=0)
    spread = np.where(mad > 0, mad, away.mean(axis=0) * np.sqrt(pi / 2))
    for _ in range(_ROUNDS):
        drawn = np.clip(table, mean - 1.5 * spread, mean + 1.5 * spread)
        new_mean, new_spread = drawn.mean(axis=0), 1.134 * drawn.std(axis=0, ddof=1)
        change = np.maximum(np.abs(new_mean - mean), np.abs(new_spread - spread))
        mean, spread = new_mean, new_spread
        if np.all(change <= _SETTLED * np.maximum(1e-300, np.abs(mean) + spread)):
            break
    return Robust(np.asarray(mean), np.asarray(spread), table.shape[0])


def z_scores(
    results: ArrayLike,
    assigned: ArrayLike,
    standard_deviation: ArrayLike,
    u_assigned: ArrayLike = 0.0,
) -> FloatArray:
    """Distance of results from the assigned value, in standard deviations of the comparison.

    Parameters
    ----------
    results : array_like, (...)
        results of the participants
    assigned : array_like, (...)
        assigned value
    standard_deviation : array_like, (...)
        standard deviation for the assessment, > 0
    u_assigned : array_like, (...)
        standard uncertainty of the assigned value, >= 0; above 0 gives z'

    Returns
    -------
    ndarray, (...)
        scores

    Raises
    ------
    OutOfRange
        for a standard deviation of zero or below, or a negative uncertainty

    Notes
    -----
    ``z = (x - x_pt) / s_pt``, ``z' = (x - x_pt) / sqrt(s_pt^2 + u(x_pt)^2)``. The latter is
    called for when ``u(x_pt) > 0.3 s_pt``.

    References
    ----------
    ISO 13528:2015, clauses 9.4 and 9.5.

    Examples
    --------
    >>> float(z_scores(52.0, 50.0, 0.8))
    2.5
    """
    deviation = np.asarray(standard_deviation, dtype=np.float64)
    u = np.asarray(u_assigned, dtype=np.float64)
    if not (np.all(deviation > 0) and np.all(u >= 0)):
        raise OutOfRange(
            "A score needs a standard deviation above zero and an uncertainty that is not negative."
        )
    return _difference(results, assigned) / np.hypot(deviation, u)


def zeta_scores(
    results: ArrayLike, u_results: ArrayLike, assigned: ArrayLike, u_assigned: ArrayLike
) -> FloatArray:
    """Distance of results from the assigned value, in their combined standard uncertainty.

    Parameters
    ----------
    results, assigned : array_like, (...)
        results and assigned value
    u_results, u_assigned : array_like, (...)
        their standard uncertainties, >= 0, not both 0

    Returns
    -------
    ndarray, (...)
        scores

    Raises
    ------
    OutOfRange
        for negative uncertainties, or both zero

    Notes
    -----
    ``zeta = (x - x_pt) / sqrt(u(x)^2 + u(x_pt)^2)``: tests the uncertainty a laboratory
    claims; a large one hides a large difference.

    References
    ----------
    ISO 13528:2015, clause 9.6.

    Examples
    --------
    >>> float(zeta_scores(53.0, 0.9, 50.0, 1.2))
    2.0
    """
    return _difference(results, assigned) / _combined(u_results, u_assigned)


def en_scores(
    results: ArrayLike, U_results: ArrayLike, assigned: ArrayLike, U_assigned: ArrayLike
) -> FloatArray:
    """Distance of results from the assigned value, in their combined expanded uncertainty.

    Parameters
    ----------
    results, assigned : array_like, (...)
        results and assigned value
    U_results, U_assigned : array_like, (...)
        their expanded uncertainties at the same coverage, >= 0, not both 0

    Returns
    -------
    ndarray, (...)
        scores; satisfactory up to 1 in size

    Raises
    ------
    OutOfRange
        for negative uncertainties, or both zero

    Notes
    -----
    ``En = (x - x_pt) / sqrt(U(x)^2 + U(x_pt)^2)``.

    References
    ----------
    ISO 13528:2015, clause 9.7.

    Examples
    --------
    >>> float(en_scores(53.0, 1.8, 50.0, 2.4))
    1.0
    """
    return _difference(results, assigned) / _combined(U_results, U_assigned)


def verdict_of_z(score: float) -> ScoreVerdict:
    """What a z, z' or zeta score says of a result.

    Parameters
    ----------
    score : float
        the score

    Returns
    -------
    ScoreVerdict
        satisfactory up to 2 in size, unsatisfactory from 3, questionable between

    Raises
    ------
    NotDeterminable
        for a score that is not a number

    Notes
    -----
    Two itself is satisfactory, three itself unsatisfactory.

    References
    ----------
    ISO 13528:2015, clause 9.4.2.

    Examples
    --------
    >>> verdict_of_z(-2.5).value
    'questionable'
    """
    _check_score(score)
    if abs(score) <= 2 + _NOISE:
        return ScoreVerdict.SATISFACTORY
    return ScoreVerdict.UNSATISFACTORY if abs(score) >= 3 - _NOISE else ScoreVerdict.QUESTIONABLE


def verdict_of_en(score: float) -> ScoreVerdict:
    """What an En score says of a result.

    Parameters
    ----------
    score : float
        the score

    Returns
    -------
    ScoreVerdict
        satisfactory below 1 in size, else unsatisfactory

    Raises
    ------
    NotDeterminable
        for a score that is not a number

    Notes
    -----
    One itself counts as a signal in ISO 13528:2015, where scores at or beyond 1 ask for action;
    ISO/IEC 17043 calls it satisfactory. The stricter reading is taken.

    References
    ----------
    ISO 13528:2015, clause 9.7.2 (memory).

    Examples
    --------
    >>> verdict_of_en(0.6).value
    'satisfactory'
    """
    _check_score(score)
    within = abs(score) < 1 - _NOISE
    return ScoreVerdict.SATISFACTORY if within else ScoreVerdict.UNSATISFACTORY


def _check_score(score: float) -> None:
    if np.isnan(score):
        raise NotDeterminable("The score is not a number; look at the result and its uncertainty.")


def _difference(results: ArrayLike, assigned: ArrayLike) -> FloatArray:
    difference = np.asarray(results, dtype=np.float64) - np.asarray(assigned, dtype=np.float64)
    return np.asarray(difference)


def _combined(first: ArrayLike, second: ArrayLike) -> NDArray[np.float64]:
    one, other = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    both = np.hypot(one, other)
    if not (np.all(one >= 0) and np.all(other >= 0) and np.all(both > 0)):
        raise OutOfRange(
            "Uncertainties cannot be negative, and not both zero; state that of the result or of "
            "the assigned value."
        )
    return np.asarray(both)


def _checked(values: ArrayLike, at_least: int) -> FloatArray:
    table = np.asarray(values, dtype=np.float64)
    if table.ndim == 0 or table.shape[0] < at_least:
        raise NotDeterminable(f"A robust mean needs {at_least} results or more.")
    if not np.all(np.isfinite(table)):
        raise NotDeterminable("A result is not a number; leave that participant out.")
    return table
