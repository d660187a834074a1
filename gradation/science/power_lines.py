"""Power curves of densest packing (Fuller, Talbot, 0.45-power line) and departure from them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.density import checked_curve
from gradation.science.errors import OutOfRange

FULLER_EXPONENT = 0.5  # W. B. Fuller and S. E. Thompson 1907, the parabola (common practice)
MAXIMUM_DENSITY_EXPONENT = 0.45  # FHWA 0.45-power chart, 1962 (state pavement guide)


@dataclass(frozen=True, slots=True)
class PowerLine:
    """Passing = (d / D)^n up to the largest size D, 1 above it.

    Parameters
    ----------
    largest_um : float
        Largest size D [µm], > 0.
    exponent : float
        n [-], > 0: 0.5 Fuller, 0.45 maximum density line, any other Talbot.
    """

    largest_um: float
    exponent: float = MAXIMUM_DENSITY_EXPONENT

    def __post_init__(self) -> None:
        """Refuse a size or an exponent that makes no curve."""
        if not (0 < self.largest_um < np.inf and 0 < self.exponent < np.inf):
            raise OutOfRange("A power line needs a largest size and an exponent above 0.")

    def passing(self, size_um: ArrayLike) -> NDArray[np.float64]:
        """Passing share of the line at each size [µm]."""
        sizes = np.asarray(size_um, dtype=np.float64)
        if np.any(sizes < 0):
            raise OutOfRange("A size must not be below 0 µm.")
        share: NDArray[np.float64] = np.minimum(sizes / self.largest_um, 1.0) ** self.exponent
        return share


@dataclass(frozen=True, slots=True)
class Departure:
    """Departure of measured curves from a power line: measured minus line, in shares.

    `difference` is (..., n); the other fields have one value a run. Positive: finer than the
    line. `largest` keeps its sign.
    """

    line: PowerLine
    apertures_um: NDArray[np.float64]
    on_line: NDArray[np.float64]
    difference: NDArray[np.float64]
    largest: NDArray[np.float64]
    largest_at_um: NDArray[np.float64]
    root_mean_square: NDArray[np.float64]
    mean: NDArray[np.float64]


def power_abscissa(
    size_um: ArrayLike, exponent: float = MAXIMUM_DENSITY_EXPONENT
) -> NDArray[np.float64]:
    """Abscissa of sizes on a power chart, (d / 1 mm)^n.

    Parameters
    ----------
    size_um : array_like, (...)
        Sizes [µm], >= 0.
    exponent : float
        n [-], > 0.

    Returns
    -------
    ndarray, (...)
        Abscissa [mm^n].

    Raises
    ------
    OutOfRange
        When a size is below 0 or the exponent is not above 0.

    Notes
    -----
    On this chart the power line of the same exponent is straight from the origin to D.

    References
    ----------
    FHWA 0.45-power gradation chart, as tabulated in asphalt mixture design manuals.

    Examples
    --------
    >>> [round(float(value), 3) for value in power_abscissa([19000, 4750, 75])]
    [3.762, 2.016, 0.312]
    """
    sizes = np.asarray(size_um, dtype=np.float64)
    if np.any(sizes < 0) or not 0 < exponent < np.inf:
        raise OutOfRange("A power chart needs sizes of 0 µm or more and an exponent above 0.")
    abscissa: NDArray[np.float64] = (sizes / 1000.0) ** exponent
    return abscissa


def departure(apertures_um: ArrayLike, passing: ArrayLike, line: PowerLine) -> Departure:
    """Departure of one or several curves from a power line, aperture by aperture.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (..., n)
        Passing shares, 0-1.
    line : PowerLine
        The line to compare with.

    Returns
    -------
    Departure
        Differences (..., n) and their largest, root mean square and mean (...), in shares.

    Raises
    ------
    Impossible
        When the numbers make no curve.
    OutOfRange
        When no aperture lies below the largest size of the line.

    Notes
    -----
    The summary counts apertures below D only: above it line and curve are both full. A nan
    (not weighed yet) makes the summary of that run nan.

    References
    ----------
    A. N. Talbot and F. E. Richart, Univ. of Illinois Bull. 137, 1923 (from memory); FHWA
    0.45-power chart.

    Examples
    --------
    >>> result = departure([19000, 4750, 75], [1.0, 0.5, 0.08], PowerLine(19000))
    >>> [round(float(value), 3) for value in result.difference]
    [0.0, -0.036, -0.003]
    """
    apertures, shares = checked_curve(apertures_um, passing)
    below = apertures < line.largest_um
    if not np.any(below):
        raise OutOfRange(
            f"No sieve lies below the largest size of the line, {line.largest_um:g} µm."
        )
    on_line = line.passing(apertures)
    difference = shares - on_line
    counted = difference[..., below]
    worst = np.argmax(np.where(np.isnan(counted), np.inf, np.abs(counted)), axis=-1)
    largest = np.take_along_axis(counted, worst[..., np.newaxis], axis=-1)[..., 0]
    at_um = np.where(np.isnan(largest), np.nan, apertures[below][worst])
    return Departure(
        line=line,
        apertures_um=apertures,
        on_line=on_line,
        difference=difference,
        largest=largest,
        largest_at_um=at_um,
        root_mean_square=np.sqrt(np.mean(counted**2, axis=-1)),
        mean=np.mean(counted, axis=-1),
    )
