"""Grain-size statistics: graphic measures after Folk and Ward, and the method of moments.

Phi = -log2(size in mm): coarse is negative. Positive skewness in phi means a tail of fines.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.density import NOISE, SizeClasses, checked_curve
from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.percentiles import Interpolation, size_at_passing

FOLK_WARD_PERCENTILES = (5, 16, 25, 50, 75, 84, 95)  # Folk and Ward 1957: % coarser than phi
SHARES_FINER = tuple((100 - percentile) / 100 for percentile in FOLK_WARD_PERCENTILES)


class Scale(StrEnum):
    """Scale on which moments are taken."""

    ARITHMETIC = "arithmetic"
    GEOMETRIC = "geometric"
    PHI = "phi"


@dataclass(frozen=True, slots=True)
class FolkWard:
    """Graphic measures in phi, one value a run; nan where a percentile is not known."""

    mean_phi: NDArray[np.float64]
    sorting_phi: NDArray[np.float64]
    skewness: NDArray[np.float64]
    kurtosis: NDArray[np.float64]

    @property
    def mean_um(self) -> NDArray[np.float64]:
        """Graphic mean as a size [µm]."""
        return phi_to_um(self.mean_phi)

    @property
    def geometric_sorting(self) -> NDArray[np.float64]:
        """Sorting as a ratio of sizes, 2 to the power of the sorting in phi."""
        ratio: NDArray[np.float64] = np.exp2(self.sorting_phi)
        return ratio


@dataclass(frozen=True, slots=True)
class Moments:
    """First four moment measures on one scale, one value a run.

    `mean` and `standard_deviation` are in µm (arithmetic), µm and a ratio (geometric) or phi.
    """

    mean: NDArray[np.float64]
    standard_deviation: NDArray[np.float64]
    skewness: NDArray[np.float64]
    kurtosis: NDArray[np.float64]
    scale: Scale
    assumptions: tuple[str, ...]


def um_to_phi(size_um: ArrayLike) -> NDArray[np.float64]:
    """Sizes on the phi scale.

    Parameters
    ----------
    size_um : array_like, (...)
        Sizes [µm], > 0.

    Returns
    -------
    ndarray, (...)
        phi [-]; nan stays nan.

    Raises
    ------
    OutOfRange
        When a size is 0 or less.

    Notes
    -----
    phi = -log2(d / 1 mm).

    References
    ----------
    W. C. Krumbein, Size frequency distributions of sediments, J. Sed. Petrology 4 (1934) 65
    (from memory).

    Examples
    --------
    >>> [float(phi) for phi in um_to_phi([4000, 1000, 125])]
    [-2.0, 0.0, 3.0]
    """
    sizes = np.asarray(size_um, dtype=np.float64)
    if np.any(sizes <= 0):
        raise OutOfRange("A size on the phi scale must be above 0 µm.")
    phi: NDArray[np.float64] = np.log2(1000.0 / sizes)
    return phi


def phi_to_um(phi: ArrayLike) -> NDArray[np.float64]:
    """Sizes that belong to values of phi.

    Parameters
    ----------
    phi : array_like, (...)
        Values of phi [-].

    Returns
    -------
    ndarray, (...)
        Sizes [µm].

    Raises
    ------
    GradationError
        Never; nan stays nan.

    Notes
    -----
    d = 2^-phi mm.

    References
    ----------
    W. C. Krumbein, Size frequency distributions of sediments, J. Sed. Petrology 4 (1934) 65
    (from memory).

    Examples
    --------
    >>> [float(size) for size in phi_to_um([-2, 0, 3])]
    [4000.0, 1000.0, 125.0]
    """
    size: NDArray[np.float64] = 1000.0 * np.exp2(-np.asarray(phi, dtype=np.float64))
    return size


def folk_ward(phi_percentiles: ArrayLike) -> FolkWard:
    """Graphic mean, sorting, skewness and kurtosis from seven percentiles in phi.

    Parameters
    ----------
    phi_percentiles : array_like, (..., 7)
        phi than which 5, 16, 25, 50, 75, 84 and 95 % of the mass is coarser, in this order.

    Returns
    -------
    FolkWard
        Each measure (...); nan where one of its own percentiles is nan or a spread is 0.

    Raises
    ------
    OutOfRange
        When there are not seven percentiles or they fall.

    Notes
    -----
    Mean Mz = (φ16 + φ50 + φ84)/3; inclusive graphic standard deviation σI = (φ84 - φ16)/4 +
    (φ95 - φ5)/6.6; inclusive graphic skewness SkI = (φ16 + φ84 - 2 φ50)/(2(φ84 - φ16)) +
    (φ5 + φ95 - 2 φ50)/(2(φ95 - φ5)); graphic kurtosis KG = (φ95 - φ5)/(2.44(φ75 - φ25)).
    For an exact log-normal distribution σI is 0.9957 of the true deviation.

    References
    ----------
    R. L. Folk and W. C. Ward, Brazos River bar: a study in the significance of grain size
    parameters, J. Sed. Petrology 27 (1957) 3.

    Examples
    --------
    >>> result = folk_ward([0.7, 1.2, 1.5, 2.0, 2.5, 2.8, 3.3])
    >>> round(float(result.mean_phi), 3), round(float(result.sorting_phi), 3)
    (2.0, 0.794)
    """
    phi = np.asarray(phi_percentiles, dtype=np.float64)
    if phi.shape[-1:] != (len(FOLK_WARD_PERCENTILES),):
        raise OutOfRange("Folk and Ward measures need seven percentiles: 5 16 25 50 75 84 95 %.")
    if (phi[..., 1:] - phi[..., :-1] < -NOISE).any():
        raise OutOfRange("The percentiles in phi must rise from 5 % to 95 % coarser.")
    phi5, phi16, phi25, phi50, phi75, phi84, phi95 = (
        phi[..., each] for each in range(len(FOLK_WARD_PERCENTILES))
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        inner = (phi16 + phi84 - 2 * phi50) / (2 * (phi84 - phi16))
        outer = (phi5 + phi95 - 2 * phi50) / (2 * (phi95 - phi5))
        kurtosis = (phi95 - phi5) / (2.44 * (phi75 - phi25))
    return FolkWard(
        mean_phi=(phi16 + phi50 + phi84) / 3,
        sorting_phi=(phi84 - phi16) / 4 + (phi95 - phi5) / 6.6,
        skewness=inner + outer,
        kurtosis=np.where(np.isfinite(kurtosis), kurtosis, np.nan),
    )


def folk_ward_of_curve(
    apertures_um: ArrayLike,
    passing: ArrayLike,
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> FolkWard:
    """Folk and Ward measures of one or several curves.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (..., n)
        Passing shares, 0-1.
    interpolation : Interpolation
        How the curve is read between the sieves.

    Returns
    -------
    FolkWard
        Each measure (...); nan where a percentile lies outside the nest.

    Raises
    ------
    Impossible
        When the numbers make no curve.

    Notes
    -----
    The percentile "p % coarser" is read at passing 1 - p. Nothing is extrapolated: a fine or a
    coarse tail beyond the nest leaves the measures that need it without a value.

    References
    ----------
    R. L. Folk and W. C. Ward, J. Sed. Petrology 27 (1957) 3.

    Examples
    --------
    >>> result = folk_ward_of_curve([1000, 500, 250, 125, 62.5], [1, 0.9, 0.5, 0.1, 0])
    >>> round(float(result.mean_phi), 3), abs(round(float(result.skewness), 3))
    (2.0, 0.0)
    """
    apertures, shares = checked_curve(apertures_um, passing)
    sizes = size_at_passing(apertures, shares, SHARES_FINER, interpolation).size_um
    is_complete = np.isfinite(shares).all(axis=-1, keepdims=True)
    return folk_ward(um_to_phi(np.where(is_complete, sizes, np.nan)))


def folk_ward_gaps(
    apertures_um: ArrayLike,
    passing: ArrayLike,
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> tuple[str, ...]:
    """Reasons why graphic measures of one run have no value.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (n,)
        Passing shares of one run, 0-1.
    interpolation : Interpolation
        How the curve is read between the sieves.

    Returns
    -------
    tuple of str
        One sentence for each end of the nest that is too short; empty when none is.

    Raises
    ------
    NotDeterminable
        When a passing value is missing or several runs are given.
    Impossible
        When the numbers make no curve.

    Notes
    -----
    The mean needs 16, 50 and 84 % coarser; sorting and skewness also 5 and 95 %; kurtosis 5,
    25, 75 and 95 %.

    References
    ----------
    R. L. Folk and W. C. Ward, J. Sed. Petrology 27 (1957) 3.

    Examples
    --------
    >>> folk_ward_gaps([1000, 500, 250], [1.0, 0.6, 0.2])
    ('84, 95 % coarser lies below the finest sieve, 250 µm.',)
    """
    apertures, shares = checked_curve(apertures_um, passing)
    if shares.ndim != 1 or not np.all(np.isfinite(shares)):
        raise NotDeterminable(
            "Graphic measures are explained for one complete run. Weigh the missing fractions."
        )
    sizes = size_at_passing(apertures, shares, SHARES_FINER, interpolation)
    said = []
    for is_out, where, aperture in (
        (sizes.is_above, "above the coarsest", apertures[0]),
        (sizes.is_below, "below the finest", apertures[-1]),
    ):
        names = [str(name) for name, out in zip(FOLK_WARD_PERCENTILES, is_out, strict=True) if out]
        if names:
            said.append(f"{', '.join(names)} % coarser lies {where} sieve, {aperture:g} µm.")
    return tuple(said)


def _refuse_zero(classes: SizeClasses, scale: Scale) -> None:
    if scale is not Scale.ARITHMETIC and np.any(classes.lower_um <= 0):
        raise NotDeterminable(
            "The pan is counted down to 0 µm, which has no logarithm. State a lower end of the "
            "pan above 0 µm."
        )


def _midpoints(classes: SizeClasses, scale: Scale) -> NDArray[np.float64]:
    """Class midpoints on the scale on which moments are summed: µm, ln µm or phi."""
    lower, upper = classes.lower_um, classes.upper_um
    if scale is Scale.ARITHMETIC:
        return (lower + upper) / 2
    if scale is Scale.GEOMETRIC:
        middle: NDArray[np.float64] = (np.log(lower) + np.log(upper)) / 2
        return middle
    return (um_to_phi(lower) + um_to_phi(upper)) / 2


def moments_of_midpoints(
    midpoints: ArrayLike, amounts: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Mean, standard deviation, skewness and kurtosis of amounts at class midpoints.

    Parameters
    ----------
    midpoints : array_like, (k,)
        Class midpoints in any unit.
    amounts : array_like, (..., k)
        Masses or shares at the midpoints, >= 0; they need not sum to one.

    Returns
    -------
    tuple of ndarray, each (...)
        Mean and standard deviation in the unit of the midpoints; skewness and kurtosis [-],
        nan when all is at one midpoint. All are nan when there is no mass at all.

    Raises
    ------
    OutOfRange
        When an amount is negative or the numbers of midpoints and amounts differ.

    Notes
    -----
    Mean = Σ f m / Σ f; s² = Σ f (m - mean)² / Σ f (the whole sample, so no n - 1); skewness =
    Σ f (m - mean)³ / (Σ f s³); kurtosis = Σ f (m - mean)⁴ / (Σ f s⁴), 3 for a normal
    distribution.

    References
    ----------
    R. L. Folk, Petrology of Sedimentary Rocks, method of moments form (mean and deviation).

    Examples
    --------
    >>> mean, deviation, _, _ = moments_of_midpoints([0.5, 1.5, 2.5, 3.5, 5], [5, 10, 30, 20, 5])
    >>> round(float(mean), 2), round(float(deviation), 2)
    (2.68, 1.06)
    """
    middle = np.asarray(midpoints, dtype=np.float64)
    amount = np.asarray(amounts, dtype=np.float64)
    if middle.ndim != 1 or amount.shape[-1:] != middle.shape or np.any(amount < 0):
        raise OutOfRange("Moments need one amount, 0 or more, for every class midpoint.")
    whole = np.sum(amount, axis=-1, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = amount / whole
    mean = np.sum(share * middle, axis=-1, keepdims=True)
    away = middle - mean
    variance = np.sum(share * away**2, axis=-1)
    deviation: NDArray[np.float64] = np.sqrt(variance)
    is_spread = deviation > NOISE * np.max(np.abs(middle))
    scale = np.where(is_spread, deviation, np.nan)
    skewness = np.sum(share * away**3, axis=-1) / scale**3
    kurtosis = np.sum(share * away**4, axis=-1) / scale**4
    return mean[..., 0], deviation, skewness, kurtosis


def moment_measures(classes: SizeClasses, scale: Scale = Scale.PHI) -> Moments:
    """Moment measures of one or several runs on the arithmetic, geometric or phi scale.

    Parameters
    ----------
    classes : SizeClasses
        Closed size classes with share (..., k); its open ends must have been stated.
    scale : Scale
        Scale of the class midpoints.

    Returns
    -------
    Moments
        Mean [µm, µm, phi], standard deviation [µm, ratio, phi], skewness and kurtosis [-].

    Raises
    ------
    NotDeterminable
        On the geometric and phi scale, when the pan is counted down to 0 µm.

    Notes
    -----
    All mass of a class is put at its midpoint on the chosen scale. Geometric and phi measures
    say the same: mean 2^-phi mm, deviation 2^s, skewness of opposite sign, equal kurtosis.

    References
    ----------
    R. L. Folk, Petrology of Sedimentary Rocks, method of moments form. W. C. Krumbein and F. J.
    Pettijohn, Manual of Sedimentary Petrography, 1938 (from memory).

    Examples
    --------
    >>> classes = SizeClasses(np.array([500.0, 250.0]), np.array([1000.0, 500.0]),
    ...                       np.array([0.5, 0.5]))
    >>> result = moment_measures(classes)
    >>> float(result.mean), float(result.standard_deviation)
    (1.0, 0.5)
    """
    _refuse_zero(classes, scale)
    mean, deviation, skewness, kurtosis = moments_of_midpoints(
        _midpoints(classes, scale), classes.share
    )
    if scale is Scale.GEOMETRIC:
        mean, deviation = np.exp(mean), np.exp(deviation)
    said = f"All mass of a class at its {scale.value} midpoint."
    return Moments(mean, deviation, skewness, kurtosis, scale, (*classes.assumptions, said))
