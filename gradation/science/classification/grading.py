"""Well or poorly graded, decided also when D10, D30 or D60 is known within bounds only."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import Impossible, UnknownName
from gradation.science.percentiles import Interpolation, size_at_passing

LEAST_CU = {"G": 4.0, "S": 6.0}  # ASTM D2487: uniformity of well-graded gravel and sand
LEAST_CC, LARGEST_CC = 1.0, 3.0  # ASTM D2487: curvature of both
NOISE = 1e-9  # binary noise of a ratio of sizes


class Grading(StrEnum):
    """Second letter of a clean coarse soil, or that it cannot be told."""

    WELL = "W"
    POOR = "P"
    UNDECIDED = "?"


@dataclass(frozen=True, slots=True)
class SizeBounds:
    """Least and largest possible D10, D30 and D60 [µm]; equal ends: known.

    0 and infinity stand for "below the finest" and "above the coarsest sieve" when even that
    end is open.
    """

    d10_um: tuple[float, float]
    d30_um: tuple[float, float]
    d60_um: tuple[float, float]

    def __post_init__(self) -> None:
        """Refuse sizes that cross."""
        spans = (self.d10_um, self.d30_um, self.d60_um)
        crossed = any(not 0 <= low <= high for low, high in spans)
        if crossed or self.d10_um[0] > self.d30_um[1] or self.d30_um[0] > self.d60_um[1]:
            raise Impossible("D10, D30 and D60 must rise in this order. Check the sizes.")

    @property
    def cu(self) -> tuple[float, float]:
        """Bounds of the coefficient of uniformity, D60 / D10."""
        (low10, high10), (low60, high60) = self.d10_um, self.d60_um
        return (_ratio(low60, high10), _ratio(high60, low10))

    @property
    def cc(self) -> tuple[float, float]:
        """Bounds of the coefficient of curvature, D30² / (D10 D60)."""
        (low10, high10), (low30, high30) = self.d10_um, self.d30_um
        low60, high60 = self.d60_um
        return (_ratio(low30**2, high10 * high60), _ratio(high30**2, low10 * low60))


def _ratio(above: float, below: float) -> float:
    if below == 0:
        return float("inf")
    return above / below if np.isfinite(above) else float("inf")


def bounds_of_coefficients(cu: float, cc: float | None = None) -> SizeBounds:
    """Sizes that stand for known coefficients, for soils of which no curve is at hand.

    Parameters
    ----------
    cu : float
        Coefficient of uniformity [-], >= 1.
    cc : float, optional
        Coefficient of curvature [-], > 0; None when not known.

    Returns
    -------
    SizeBounds
        D10 set to 1 µm: only ratios of sizes count.

    Raises
    ------
    Impossible
        When the coefficients belong to no curve.

    Notes
    -----
    D60 = Cu D10 and D30 = √(Cc Cu) D10; without Cc, D30 lies from D10 to D60.

    References
    ----------
    Definitions of Cu and Cc, ASTM D2487.

    Examples
    --------
    >>> bounds_of_coefficients(4, 1).d30_um
    (2.0, 2.0)
    """
    if not (1 <= cu < np.inf) or (cc is not None and not 0 < cc < np.inf):
        raise Impossible("Cu must be 1 or more and Cc above 0. Check both coefficients.")
    if cc is None:
        return SizeBounds((1.0, 1.0), (1.0, cu), (cu, cu))
    middle = float(np.sqrt(cc * cu))
    return SizeBounds((1.0, 1.0), (middle, middle), (cu, cu))


def bounds_of_curve(
    apertures_um: ArrayLike,
    passing: ArrayLike,
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> SizeBounds:
    """D10, D30 and D60 of a curve, as bounds where they lie beyond the nest.

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
    SizeBounds
        From 0 to the finest aperture below the nest, from the coarsest to infinity above it.

    Raises
    ------
    Impossible
        When the numbers make no curve.

    Notes
    -----
    Nothing is extrapolated.

    References
    ----------
    Definition of D(p), ISO 9276-2 (from memory).

    Examples
    --------
    >>> bounds_of_curve([2000, 500], [1.0, 0.2]).d10_um
    (0.0, 500.0)
    """
    apertures = np.asarray(apertures_um, dtype=np.float64)
    sizes = size_at_passing(apertures, passing, [0.10, 0.30, 0.60], interpolation)
    spans = []
    for size, is_below, is_above in zip(
        sizes.size_um.tolist(), sizes.is_below.tolist(), sizes.is_above.tolist(), strict=True
    ):
        if is_below:
            spans.append((0.0, float(apertures[-1])))
        elif is_above:
            spans.append((float(apertures[0]), float("inf")))
        else:
            spans.append((float(size), float(size)))
    return SizeBounds(*spans)


def grading(sizes: SizeBounds, first_letter: str) -> Grading:
    """Whether a clean gravel or sand is well graded, for all sizes within their bounds.

    Parameters
    ----------
    sizes : SizeBounds
        What is known of D10, D30 and D60.
    first_letter : str
        "G" or "S".

    Returns
    -------
    Grading
        WELL or POOR when every possible set of sizes gives it, else UNDECIDED.

    Raises
    ------
    UnknownName
        When the letter is neither G nor S.

    Notes
    -----
    Well graded: Cu >= 4 (gravel) or 6 (sand), and 1 <= Cc <= 3. With a = ln D10, b = ln D30,
    c = ln D60 these are c - a >= ln Cu,min and 0 <= 2b - a - c <= ln 3: straight bounds of a
    box. Poor is possible when one of them can fail at a corner of the box; well is possible
    when all can hold at once, found by eliminating b, then c, then a (Fourier and Motzkin).
    So a sand whose D10 lies somewhere below 75 µm may still be told to be poorly graded.

    References
    ----------
    ASTM D2487 for the limits; elimination of variables from linear inequalities is standard.

    Examples
    --------
    >>> grading(bounds_of_coefficients(12.4, 2.7), "G").name
    'WELL'
    >>> grading(SizeBounds((0, 75), (150, 150), (200, 200)), "S").name
    'POOR'
    """
    if first_letter not in LEAST_CU:
        raise UnknownName(f"Grading is told for gravel (G) and sand (S), not {first_letter!r}.")
    least_cu = LEAST_CU[first_letter]
    if not _may_be_well(sizes, least_cu):
        return Grading.POOR
    return Grading.UNDECIDED if _may_be_poor(sizes, least_cu) else Grading.WELL


def _may_be_poor(sizes: SizeBounds, least_cu: float) -> bool:
    lowest_cc, highest_cc = sizes.cc
    return (
        sizes.cu[0] < least_cu - NOISE
        or lowest_cc < LEAST_CC - NOISE
        or highest_cc > LARGEST_CC + NOISE
    )


def _may_be_well(sizes: SizeBounds, least_cu: float) -> bool:
    with np.errstate(divide="ignore"):
        (low_a, high_a), (low_b, high_b), (low_c, high_c) = (
            np.log(span).tolist() for span in (sizes.d10_um, sizes.d30_um, sizes.d60_um)
        )
    step = float(np.log(least_cu))
    least_sum, largest_sum = 2 * low_b - float(np.log(LARGEST_CC)), 2 * high_b
    least_a = max(low_a, least_sum - high_c)
    largest_a = min(high_a, largest_sum - low_c, high_c - step, (largest_sum - step) / 2)
    return bool(least_a <= largest_a + NOISE)
