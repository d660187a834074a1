"""Characteristic values of a gradation: ratios of D-values and largest sizes.

The moduli on fixed sets of sieves stand in `moduli` and are exported here too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gradation.science.apertures import designation
from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.gradation import NOISE, Gradation
from gradation.science.interpolation import FloatArray
from gradation.science.moduli import (
    SieveSet,
    closed_at_top,
    fineness_modulus,
    grain_fineness_number,
    modulus_of,
    passing_on_set,
    sieve_set,
    standard_modulus,
)

__all__ = [
    "SieveSet",
    "UsableShare",
    "closed_at_top",
    "coefficient_of_curvature",
    "coefficient_of_uniformity",
    "fineness_modulus",
    "grain_fineness_number",
    "maximum_size_um",
    "modulus_of",
    "nominal_maximum_size_um",
    "passing_on_set",
    "sieve_set",
    "span",
    "standard_modulus",
    "trask_sorting",
    "usable_share",
]

# Superpave and AASHTO T 27 call a sieve's share "substantial" above ten per cent.
SUBSTANTIAL_SHARE = 0.10


def span(d10: npt.ArrayLike, d50: npt.ArrayLike, d90: npt.ArrayLike) -> FloatArray:
    """Give the span, the width of the distribution in units of its median.

    Parameters
    ----------
    d10, d50, d90 : array_like, (...)
        Sizes at 10, 50 and 90 % passing, all in one unit.

    Returns
    -------
    ndarray, (...)
        Span, a pure number; NaN where one of the sizes is.

    Raises
    ------
    Nothing
        Sizes outside the measured range come as NaN and stay NaN.

    Notes
    -----
    (D90 - D10) / D50.

    References
    ----------
    Common practice of particle sizing; ISO 9276-2 vocabulary (from memory).

    Examples
    --------
    >>> span(100.0, 200.0, 400.0).item()
    1.5
    """
    low, middle, high = _floats(d10, d50, d90)
    return np.asarray((high - low) / middle)


def coefficient_of_uniformity(d10: npt.ArrayLike, d60: npt.ArrayLike) -> FloatArray:
    """Give the coefficient of uniformity Cu.

    Parameters
    ----------
    d10, d60 : array_like, (...)
        Sizes at 10 and 60 % passing, in one unit.

    Returns
    -------
    ndarray, (...)
        Cu, a pure number, >= 1; NaN where one of the sizes is.

    Raises
    ------
    Nothing
        Sizes outside the measured range come as NaN and stay NaN.

    Notes
    -----
    Cu = D60 / D10. For filter sand the same ratio is called the uniformity coefficient and
    D10 the effective size.

    References
    ----------
    ASTM D2487 (Cu); A. Hazen's definition of effective size and uniformity coefficient
    (from memory).

    Examples
    --------
    >>> coefficient_of_uniformity(0.09, 0.41).round(2).item()
    4.56
    """
    low, high = _floats(d10, d60)
    return np.asarray(high / low)


def coefficient_of_curvature(
    d10: npt.ArrayLike, d30: npt.ArrayLike, d60: npt.ArrayLike
) -> FloatArray:
    """Give the coefficient of curvature Cc.

    Parameters
    ----------
    d10, d30, d60 : array_like, (...)
        Sizes at 10, 30 and 60 % passing, in one unit.

    Returns
    -------
    ndarray, (...)
        Cc, a pure number; NaN where one of the sizes is.

    Raises
    ------
    Nothing
        Sizes outside the measured range come as NaN and stay NaN.

    Notes
    -----
    Cc = D30^2 / (D10 D60).

    References
    ----------
    ASTM D2487.

    Examples
    --------
    >>> coefficient_of_curvature(0.09, 0.185, 0.41).round(3).item()
    0.928
    """
    low, middle, high = _floats(d10, d30, d60)
    return np.asarray(middle * middle / (low * high))


def trask_sorting(d25: npt.ArrayLike, d75: npt.ArrayLike) -> FloatArray:
    """Give the sorting coefficient of Trask.

    Parameters
    ----------
    d25, d75 : array_like, (...)
        Sizes at 25 and 75 % passing, in one unit.

    Returns
    -------
    ndarray, (...)
        So, a pure number, >= 1; NaN where one of the sizes is.

    Raises
    ------
    Nothing
        Sizes outside the measured range come as NaN and stay NaN.

    Notes
    -----
    So = sqrt(D75 / D25), the coarse quartile over the fine one.

    References
    ----------
    P. D. Trask, 1932, as quoted in R. L. Folk, Petrology of Sedimentary Rocks (from memory).

    Examples
    --------
    >>> trask_sorting(100.0, 400.0).item()
    2.0
    """
    low, high = _floats(d25, d75)
    return np.asarray(np.sqrt(high / low))


def maximum_size_um(gradation: Gradation) -> float:
    """Give the smallest sieve of the nest that everything passed.

    Parameters
    ----------
    gradation : Gradation
        One run.

    Returns
    -------
    float
        Aperture [µm].

    Raises
    ------
    NotDeterminable
        When material stayed on the coarsest sieve, or a batch is given.

    Notes
    -----
    "Everything" is meant exactly: a single grain left on a sieve counts.

    References
    ----------
    ASTM C125, maximum size of aggregate (from memory).

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> maximum_size_um(gradation([8000, 4000, 2000], [0.0, 0.0, 60.0, 40.0], 100.0))
    4000.0
    """
    passing = _one_run(gradation)
    passed = gradation.apertures_um[passing >= 1.0]
    if passed.size == 0:
        raise NotDeterminable(_on_coarsest(gradation, "material"))
    return float(passed[-1])


def nominal_maximum_size_um(gradation: Gradation) -> float:
    """Give the nominal maximum size as read from a result.

    Parameters
    ----------
    gradation : Gradation
        One run.

    Returns
    -------
    float
        Aperture [µm] of the nest.

    Raises
    ------
    NotDeterminable
        When more than 10 % stayed on the coarsest sieve, or a batch is given.

    Notes
    -----
    One sieve of the nest coarser than the first that retains more than 10 % cumulatively.
    When no sieve retains more than 10 %, the finest sieve of the nest. A nest that skips
    sizes gives a coarser answer; the specification's own size takes precedence.

    References
    ----------
    Asphalt mix design (Superpave) definition as in public pavement guides; AASHTO T 27
    (from memory).

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> nominal_maximum_size_um(gradation([19000, 12500, 9500], [0.0, 5.0, 20.0, 75.0], 100.0))
    12500.0
    """
    passing = _one_run(gradation)
    heavy = np.flatnonzero(1.0 - passing > SUBSTANTIAL_SHARE + NOISE)
    if heavy.size == 0:
        return float(gradation.apertures_um[-1])
    if heavy[0] == 0:
        raise NotDeterminable(_on_coarsest(gradation, "more than 10 %"))
    return float(gradation.apertures_um[heavy[0] - 1])


def _one_run(gradation: Gradation) -> FloatArray:
    """The passing of a single run; a batch is refused."""
    if gradation.passing.ndim != 1:
        raise NotDeterminable("This size is told for one run at a time.")
    return gradation.passing


def _on_coarsest(gradation: Gradation, what: str) -> str:
    """Why a largest size cannot be told."""
    name = designation(float(gradation.apertures_um[0]))
    return f"{what[0].upper()}{what[1:]} stayed on the coarsest sieve, {name}. Add a coarser sieve."


@dataclass(frozen=True, slots=True)
class UsableShare:
    """How much of a stock sand makes a wanted filter sand [%]."""

    usable_pct: float
    too_fine_pct: float
    too_coarse_above_pct: float


def usable_share(below_d10_pct: float, below_d60_pct: float) -> UsableShare:
    """Give the part of a stock sand usable for a wanted effective size and uniformity.

    Parameters
    ----------
    below_d10_pct : float
        Stock finer than the wanted effective size D10 [%], 0 to 100.
    below_d60_pct : float
        Stock finer than the wanted D60 (uniformity coefficient x D10) [%], 0 to 100.

    Returns
    -------
    UsableShare
        Usable part, and the percentages of the stock below and above which it lies [%].

    Raises
    ------
    OutOfRange
        When the percentages are not 0 <= D10 < D60 <= 100, or the usable part would begin
        below 0 % or end above 100 % of the stock.

    Notes
    -----
    usable = 2 (P60 - P10); too fine = P10 - 0.1 usable; too coarse above = too fine + usable.

    References
    ----------
    Fair and Geyer, as given by Sincero, Physical-Chemical Treatment of Water and
    Wastewater, medium specification for granular filters.

    Examples
    --------
    >>> usable_share(20.0, 50.0)
    UsableShare(usable_pct=60.0, too_fine_pct=14.0, too_coarse_above_pct=74.0)
    """
    if not 0 <= below_d10_pct < below_d60_pct <= 100:
        raise OutOfRange("The stock must be finer than D60 by a larger percentage than than D10.")
    usable = 2 * (below_d60_pct - below_d10_pct)
    too_fine = below_d10_pct - 0.1 * usable
    if too_fine < 0 or too_fine + usable > 100:
        raise OutOfRange("This stock sand cannot give that effective size and uniformity.")
    return UsableShare(usable, too_fine, too_fine + usable)


def _floats(*values: npt.ArrayLike) -> tuple[FloatArray, ...]:
    """Each as an array of floats."""
    return tuple(np.asarray(value, dtype=np.float64) for value in values)
