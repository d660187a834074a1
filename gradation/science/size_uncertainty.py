"""Measurement uncertainty of D-values, from that of the passing values they are read from.

Public: `SizeUncertainty`, `size_uncertainty` (first order), `cross_check` (by drawing).
"""

from dataclasses import dataclass, field

import numpy as np

from gradation.science.errors import OutOfRange
from gradation.science.montecarlo import Sampled, monte_carlo
from gradation.science.percentiles import Interpolation, size_at_passing
from gradation.science.propagation import FloatArray
from gradation.science.uncertainty import PassingUncertainty, root_diagonal

# Step of passing for slopes of D-values: small beside any passing reported, large beside 1e-16.
_STEP = 1e-6


@dataclass(frozen=True)
class SizeUncertainty:
    """D-values with their covariance and slopes."""

    shares: tuple[float, ...]
    sizes_um: FloatArray
    covariance: FloatArray = field(repr=False)
    slopes: FloatArray = field(repr=False)

    @property
    def standard_um(self) -> FloatArray:
        """Give the standard uncertainty of each D-value, (..., q) [µm]; NaN where undetermined."""
        return root_diagonal(self.covariance)


def size_uncertainty(
    uncertainty: PassingUncertainty,
    shares: tuple[float, ...],
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> SizeUncertainty:
    """Give the uncertainty of D-values from that of the passing values.

    Parameters
    ----------
    uncertainty : PassingUncertainty
        passing values (..., n) with their covariance
    shares : tuple of float, (q,)
        passing at which sizes are read, above 0 and below 1, e.g. (0.1, 0.5, 0.9)
    interpolation : Interpolation, optional
        how the curve is read between sieves

    Returns
    -------
    SizeUncertainty
        sizes (..., q) [µm], covariance (..., q, q) [µm^2], slopes (..., q, n) [µm]; NaN for a
        D-value outside the measured range

    Raises
    ------
    OutOfRange
        as `size_at_passing`

    Notes
    -----
    Delta method: u_D = G u_Q G^T, G = dD(p)/dQ_i through the interpolation itself, by symmetric
    differences of 1e-6 in passing that never cross a neighbour. Where D falls on a sieve the slope
    is the mean of both sides. Between two sieves with little material the slope, and with it u(D),
    grows without bound: the first-order law then fails and `cross_check` shows it.

    References
    ----------
    JCGM 100:2008, 5.1.2; JCGM 102:2011, 6.2.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> from gradation.science.uncertainty import Balance, Weighings, passing_uncertainty
    >>> run = gradation([1000, 500], [100.0, 150.0, 250.0], 500.0)
    >>> passing = passing_uncertainty(run, Weighings(Balance(0.1)))
    >>> result = size_uncertainty(passing, (0.65,))
    >>> result.sizes_um.round(1).tolist(), result.standard_um.round(2).tolist()
    ([707.1], [0.16])
    """
    apertures = uncertainty.gradation.apertures_um
    passing = uncertainty.gradation.passing
    sizes = _sizes(apertures, passing, shares, interpolation)
    slopes = _size_slopes(apertures, passing, shares, interpolation)
    covariance = slopes @ uncertainty.covariance @ np.swapaxes(slopes, -1, -2)
    return SizeUncertainty(shares, sizes, covariance, slopes)


def _sizes(
    apertures_um: FloatArray,
    passing: FloatArray,
    shares: tuple[float, ...],
    interpolation: Interpolation,
) -> FloatArray:
    return size_at_passing(apertures_um, passing, shares, interpolation).size_um


def _size_slopes(
    apertures_um: FloatArray,
    passing: FloatArray,
    shares: tuple[float, ...],
    interpolation: Interpolation,
) -> FloatArray:
    """Give dD/dQ, (..., q, n), each node moved up and down as far as its neighbours allow."""
    highest = np.concatenate([np.ones_like(passing[..., :1]), passing[..., :-1]], axis=-1)
    lowest = np.concatenate([passing[..., 1:], np.zeros_like(passing[..., :1])], axis=-1)
    still = _sizes(apertures_um, passing, shares, interpolation)[..., None, :]
    ends = []
    for node in (np.minimum(passing + _STEP, highest), np.maximum(passing - _STEP, lowest)):
        sizes = _sizes(apertures_um, _moved(passing, node), shares, interpolation)
        # At the very end of the measured range one of the two moves leaves it: that side stays.
        gone = np.isnan(sizes)
        way = np.where(gone, 0.0, (node - passing)[..., None])
        ends.append((np.where(gone, still, sizes), way))
    (high, up), (low, down) = ends
    # A node pinned between two equal neighbours can move nowhere, and moves no D-value.
    slope = np.divide(high - low, up - down, out=np.zeros_like(high), where=up > down)
    return np.swapaxes(np.where(np.isnan(still), np.nan, slope), -1, -2)


def _moved(passing: FloatArray, node: FloatArray) -> FloatArray:
    """Give n copies of each curve, (..., n, n), the i-th with its i-th node moved."""
    count = passing.shape[-1]
    own = np.eye(count, dtype=bool)
    return np.where(own, node[..., None, :], passing[..., None, :])


def cross_check(
    uncertainty: PassingUncertainty,
    shares: tuple[float, ...],
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
    *,
    draws: int,
    generator: np.random.Generator,
) -> Sampled:
    """Give passing and D-values of one run over many draws of its passing values.

    Parameters
    ----------
    uncertainty : PassingUncertainty
        one run (no batch axes), n sieves
    shares : tuple of float, (q,)
        passing at which sizes are read, 0 to 1
    interpolation : Interpolation, optional
        how the curve is read between sieves
    draws : int
        number of draws, at least 100
    generator : numpy.random.Generator
        the source of chance

    Returns
    -------
    Sampled
        draws of passing and D-values side by side, (draws, n + q) [share, µm]

    Raises
    ------
    OutOfRange
        with fewer than 100 draws, or for a batch of runs

    Notes
    -----
    Joint normal draws of passing with their full covariance; a drawn curve is kept between 0 and 1
    and never rising towards the fine side. Compare with `size_uncertainty` by
    `montecarlo.confirms`: where they part, report the interval of the draws.

    References
    ----------
    JCGM 101:2008, 5.9 and 8; JCGM 102:2011, 7.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> from gradation.science.uncertainty import Balance, Weighings, passing_uncertainty
    >>> run = gradation([1000, 500], [100.0, 150.0, 250.0], 500.0)
    >>> passing = passing_uncertainty(run, Weighings(Balance(0.1)))
    >>> chance = np.random.default_rng(3)
    >>> drawn = cross_check(passing, (0.65,), draws=50_000, generator=chance)
    >>> round(float(drawn.standard[-1]), 2)
    0.16
    """
    passing = uncertainty.gradation.passing
    if passing.ndim != 1:
        raise OutOfRange("The Monte Carlo check takes one run at a time.")

    def read(curves: FloatArray) -> FloatArray:
        drawn = np.minimum.accumulate(np.clip(curves, 0.0, 1.0), axis=-1)
        sizes = _sizes(uncertainty.gradation.apertures_um, drawn, shares, interpolation)
        return np.concatenate([drawn, sizes], axis=-1)

    return monte_carlo(read, passing, uncertainty.covariance, draws=draws, generator=generator)
