"""Propagation of distributions by drawing: the cross-check of the first-order law."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import OutOfRange
from gradation.science.propagation import FloatArray

BatchModel = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class Sampled:
    """Outputs of a model over many draws of its inputs: (draws, m)."""

    draws: FloatArray

    @property
    def values(self) -> FloatArray:
        """Give the mean of each output."""
        return np.asarray(self.draws.mean(axis=0), dtype=np.float64)

    @property
    def covariance(self) -> FloatArray:
        """Give the covariance of the outputs."""
        return np.atleast_2d(np.cov(self.draws, rowvar=False))

    @property
    def standard(self) -> FloatArray:
        """Give the standard uncertainty of each output."""
        return np.asarray(self.draws.std(axis=0, ddof=1), dtype=np.float64)

    def interval(self, confidence: float) -> tuple[FloatArray, FloatArray]:
        """Give the probabilistically symmetric coverage interval (JCGM 101:2008, 7.7)."""
        tail = 50.0 * (1.0 - confidence)
        low, high = np.percentile(self.draws, [tail, 100.0 - tail], axis=0)
        return low, high

    def shortest_interval(self, confidence: float) -> tuple[FloatArray, FloatArray]:
        """Give the shortest coverage interval (JCGM 101:2008, 7.7.4)."""
        ordered = np.sort(self.draws, axis=0)
        inside = round(confidence * len(ordered))
        first = np.argmin(ordered[inside:] - ordered[: len(ordered) - inside], axis=0)
        column = np.arange(ordered.shape[1])
        return ordered[first, column], ordered[first + inside, column]


def monte_carlo(
    function: BatchModel,
    values: ArrayLike,
    covariance: ArrayLike,
    *,
    draws: int,
    generator: np.random.Generator,
) -> Sampled:
    """Give the outputs of a model for many joint normal draws of its inputs.

    Parameters
    ----------
    function : callable
        takes an ndarray (draws, k) and gives an ndarray (draws, m) or (draws,)
    values : array_like, (k,)
        input estimates, each in its own unit
    covariance : array_like, (k, k)
        covariance of the inputs [square of their units], may be singular
    draws : int
        number of draws, at least 100; JCGM 101 advises 10 000 / (1 - confidence)
    generator : numpy.random.Generator
        the source of chance; the same seed gives the same answer

    Returns
    -------
    Sampled
        the draws of the outputs, with mean, covariance and coverage intervals

    Raises
    ------
    OutOfRange
        with fewer than 100 draws

    Notes
    -----
    Multivariate normal inputs by the eigenvalue decomposition, so that fully correlated inputs (one
    balance for all masses) are allowed.

    References
    ----------
    JCGM 101:2008, 7.2 to 7.7, 6.4.8 (multivariate normal).

    Examples
    --------
    >>> chance = np.random.default_rng(5)
    >>> u = np.diag([0.01, 0.01])
    >>> share = monte_carlo(
    ...     lambda m: m[:, 0] / m[:, 1], [125.0, 500.0], u, draws=20_000, generator=chance
    ... )
    >>> round(float(share.standard[0]), 5)
    0.00021
    """
    if draws < 100:
        raise OutOfRange("A Monte Carlo check needs at least 100 draws; 200 000 are usual.")
    inputs = generator.multivariate_normal(
        np.asarray(values, dtype=np.float64),
        np.asarray(covariance, dtype=np.float64),
        size=draws,
        method="eigh",
    )
    outputs = np.asarray(function(inputs), dtype=np.float64)
    return Sampled(outputs.reshape(draws, -1))


def numerical_tolerance(standard: float, digits: int = 2) -> float:
    """Give the tolerance to which an uncertainty stated with so many digits is meaningful.

    Parameters
    ----------
    standard : float
        standard uncertainty [unit of the result], > 0
    digits : int, optional
        significant digits regarded as meaningful, 1 or 2 [pure number]

    Returns
    -------
    float
        delta [unit of the result]

    Raises
    ------
    OutOfRange
        when the uncertainty is not above zero

    Notes
    -----
    u = c x 10^l with c an integer of `digits` digits; delta = 10^l / 2. The first-order law is
    confirmed when both ends of its coverage interval lie within delta of the Monte Carlo ones.

    References
    ----------
    JCGM 101:2008, 7.9.2 (tolerance) and 8.1 (comparison).

    Examples
    --------
    The example of 7.9.2: u = 0.00035 g is 35 x 10^-5 g, so delta is 0.000005 g.

    >>> f"{numerical_tolerance(0.00035):.6f}"
    '0.000005'
    """
    if not standard > 0:
        raise OutOfRange("The uncertainty must be above zero to have meaningful digits.")
    exponent = int(np.floor(np.log10(standard))) - digits + 1
    if round(standard / 10.0**exponent) == 10**digits:
        exponent += 1
    return float(0.5 * 10.0**exponent)


def confirms(
    sampled: Sampled, values: FloatArray, expanded: FloatArray, confidence: float = 0.95
) -> FloatArray:
    """Give, for each output, how far the first-order interval lies from the drawn one, in delta.

    Parameters
    ----------
    sampled : Sampled
        draws of the m outputs
    values, expanded : ndarray, (m,)
        estimates and expanded uncertainties of the first-order law [unit of each output]
    confidence : float, optional
        the level of confidence both intervals claim [pure number]

    Returns
    -------
    ndarray, (m,)
        larger of the two end-point differences divided by the numerical tolerance; at most 1
        means the first-order law is confirmed to two digits [pure number]

    Raises
    ------
    OutOfRange
        when an output has no spread

    Notes
    -----
    d_low = |y - U - y_low|, d_high = |y + U - y_high|, with the probabilistically symmetric
    interval of the draws; the tolerance is that of the drawn standard uncertainty.

    References
    ----------
    JCGM 101:2008, 8.1.

    Examples
    --------
    >>> chance = np.random.default_rng(8)
    >>> drawn = monte_carlo(lambda x: x, [10.0], [[0.04]], draws=100_000, generator=chance)
    >>> bool(confirms(drawn, np.array([10.0]), np.array([1.96 * 0.2]))[0] < 1.0)
    True
    """
    low, high = sampled.interval(confidence)
    worst = np.maximum(np.abs(values - expanded - low), np.abs(values + expanded - high))
    delta = np.array([numerical_tolerance(float(u)) for u in sampled.standard])
    return np.asarray(worst / delta, dtype=np.float64)
