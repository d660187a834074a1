"""Uncertainty from observations: repeated readings, and a line through points.

Public: `type_a`, `Line`, `fit_line`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import OutOfRange
from gradation.science.propagation import FloatArray


@dataclass(frozen=True)
class Line:
    """A straight line y = intercept + slope (x - reference), fitted by least squares."""

    intercept: float
    slope: float
    covariance: FloatArray
    reference: float
    residual_sd: float
    degrees_of_freedom: int

    def predict(self, x: float) -> tuple[float, float]:
        """Give the value of the line at x and its standard uncertainty."""
        gradient = np.array([1.0, x - self.reference])
        value = float(gradient @ np.array([self.intercept, self.slope]))
        return value, float(np.sqrt(gradient @ self.covariance @ gradient))


def type_a(observations: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Give the means of repeated simultaneous observations and the covariance of those means.

    Parameters
    ----------
    observations : array_like, (r, k)
        r repetitions of k quantities observed together, each in its own unit, r >= 2

    Returns
    -------
    tuple of ndarray, (k,) and (k, k)
        means, and covariance of the means [square of the units]

    Raises
    ------
    OutOfRange
        with fewer than two repetitions

    Notes
    -----
    s(q_mean, r_mean) = sum (q_k - q_mean)(r_k - r_mean) / (n (n - 1)).

    References
    ----------
    JCGM 100:2008, 4.2.3 equation (5) and 5.2.3 equation (17).

    Examples
    --------
    >>> means, covariance = type_a([[10.0], [12.0], [14.0]])
    >>> means.tolist(), covariance.round(4).tolist()
    ([12.0], [[1.3333]])
    """
    data = np.atleast_2d(np.asarray(observations, dtype=np.float64))
    repeats = data.shape[0]
    if repeats < 2:
        raise OutOfRange("At least two repetitions are needed to see how much they scatter.")
    means = data.mean(axis=0)
    deviations = data - means
    return means, deviations.T @ deviations / (repeats * (repeats - 1))


def fit_line(x: ArrayLike, y: ArrayLike, reference: float = 0.0) -> Line:
    """Give the least-squares line through points, with the covariance of its two coefficients.

    Parameters
    ----------
    x, y : array_like, (n,)
        points, each in its own unit, n >= 3, x not all equal
    reference : float, optional
        the x at which the intercept is stated [unit of x]

    Returns
    -------
    Line
        coefficients, their covariance, residual standard deviation, n - 2 degrees of freedom

    Raises
    ------
    OutOfRange
        with fewer than three points, or when all x are equal

    Notes
    -----
    y = y1 + y2 (x - x0); s^2 = sum of squared residuals / (n - 2); covariance s^2 (A^T A)^-1.

    References
    ----------
    JCGM 100:2008, annex H.3, equations (H.13a) to (H.13g).

    Examples
    --------
    >>> line = fit_line([0.0, 1.0, 2.0, 3.0], [1.0, 3.0, 5.0, 7.0])
    >>> round(line.intercept, 9), round(line.slope, 9), round(line.residual_sd, 9)
    (1.0, 2.0, 0.0)
    """
    points = np.asarray(x, dtype=np.float64)
    heights = np.asarray(y, dtype=np.float64)
    if points.size < 3 or np.ptp(points) == 0:
        raise OutOfRange("A line with an uncertainty needs three points at different places.")
    design = np.stack([np.ones_like(points), points - reference], axis=-1)
    coefficients, *_ = np.linalg.lstsq(design, heights, rcond=None)
    freedom = points.size - 2
    variance = float(np.sum((heights - design @ coefficients) ** 2)) / freedom
    covariance = np.asarray(variance * np.linalg.inv(design.T @ design), dtype=np.float64)
    return Line(
        float(coefficients[0]),
        float(coefficients[1]),
        covariance,
        reference,
        float(np.sqrt(variance)),
        freedom,
    )
