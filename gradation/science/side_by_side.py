"""Curves of different nests on common sieves: table, differences, mean.

Shares run from 0 to 1; apertures stand coarse to fine. Nothing is extrapolated: what a nest did
not measure stays open, and what was read between two of its sieves is marked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.density import checked_curve, density
from gradation.science.errors import Impossible, NotDeterminable
from gradation.science.interpolation import FloatArray, Interpolation
from gradation.science.percentiles import passing_at_size

__all__ = [
    "ClassDensity",
    "CurveGroup",
    "Known",
    "MeanCurve",
    "SideBySide",
    "class_densities",
    "differences",
    "individual_retained",
    "mean_curve",
    "side_by_side",
]


class Known(StrEnum):
    """How the passing of one curve at one size is known."""

    MEASURED = "measured"
    INTERPOLATED = "interpolated"
    """Read between two sieves of its nest."""
    IMPLIED = "implied"
    """Beyond its nest, where a sieve that passed all or nothing leaves no doubt."""
    NOT_DETERMINED = "not_determined"


@dataclass(frozen=True, slots=True)
class CurveGroup:
    """Curves of one nest, joined between its sieves by one rule.

    Parameters
    ----------
    apertures_um : tuple of float
        apertures of the nest [µm], coarse to fine
    passing : ndarray, (m, n)
        share passing of m curves, 0 to 1
    interpolation : Interpolation
        how neighbouring points are joined
    """

    apertures_um: tuple[float, ...]
    passing: FloatArray
    interpolation: Interpolation = Interpolation.LOG_LINEAR

    @classmethod
    def single(
        cls,
        apertures_um: Sequence[float],
        passing: Sequence[float],
        interpolation: Interpolation = Interpolation.LOG_LINEAR,
    ) -> CurveGroup:
        """One curve as a group of one."""
        shares = np.asarray(passing, dtype=np.float64)
        return cls(tuple(apertures_um), shares[np.newaxis, :], interpolation)

    def at(self, sizes_um: FloatArray) -> FloatArray:
        """Share passing (m, k) at sizes; nan where it was not measured."""
        checked_curve(self.apertures_um, self.passing)
        return passing_at_size(self.apertures_um, self.passing, sizes_um, self.interpolation)


@dataclass(frozen=True, slots=True)
class SideBySide:
    """Curves on common sieves.

    Parameters
    ----------
    apertures_um : tuple of float
        sizes [µm], coarse to fine
    passing : ndarray, (k, n)
        share passing of k curves; nan where not determined
    known : tuple of tuple of Known
        how each value is known
    """

    apertures_um: tuple[float, ...]
    passing: FloatArray
    known: tuple[tuple[Known, ...], ...]


@dataclass(frozen=True, slots=True)
class MeanCurve:
    """Mean of several curves on the sizes that all of them know.

    Parameters
    ----------
    apertures_um : tuple of float
        sizes [µm], coarse to fine
    passing : ndarray, (n,)
        mean share passing
    deviation : ndarray, (n,)
        standard deviation between the curves, m - 1 in the divisor; nan for one curve
    measured : tuple of int
        how many curves have a sieve of this size
    count : int
        curves
    left_out_um : tuple of float
        sizes of some nest that not every curve knows
    """

    apertures_um: tuple[float, ...]
    passing: FloatArray
    deviation: FloatArray
    measured: tuple[int, ...]
    count: int
    left_out_um: tuple[float, ...]


def side_by_side(curves: Sequence[CurveGroup], further_um: Sequence[float] = ()) -> SideBySide:
    """Put curves on the sieves of all of them.

    Parameters
    ----------
    curves : sequence of CurveGroup
        one curve each
    further_um : sequence of float, optional
        sizes [µm] to add, such as those of a specification

    Returns
    -------
    SideBySide
        every size of any nest, coarse to fine, with each curve's passing and how it is known

    Raises
    ------
    Impossible
        when a curve rises towards finer sieves, or a group holds more than one curve

    Notes
    -----
    Between two sieves of its nest a curve is read by its own rule; beyond its nest it is known
    only where its last sieve passed everything or nothing.

    References
    ----------
    ISO 9276-1, cumulative distribution (clause from memory); arithmetic of the straight line.

    Examples
    --------
    >>> coarse = CurveGroup.single([400, 100], [0.8, 0.4])
    >>> fine = CurveGroup.single([200, 100], [1.0, 0.5])
    >>> table = side_by_side([coarse, fine])
    >>> table.apertures_um, table.passing.round(3).tolist()
    ((400.0, 200.0, 100.0), [[0.8, 0.6, 0.4], [1.0, 1.0, 0.5]])
    >>> [each.value for each in table.known[0]], table.known[1][0].value
    (['measured', 'interpolated', 'measured'], 'implied')
    """
    sizes = _all_sizes(curves, further_um)
    passing = np.full((len(curves), sizes.size), np.nan)
    for place, curve in enumerate(curves):
        if curve.passing.shape[0] != 1:
            raise Impossible("Each column of a comparison is one curve.")
        passing[place] = curve.at(sizes)[0] if sizes.size else []
    known = tuple(
        tuple(_known(curve, size, share) for size, share in zip(sizes, row, strict=True))
        for curve, row in zip(curves, passing, strict=True)
    )
    return SideBySide(tuple(sizes.tolist()), passing, known)


def differences(table: SideBySide, reference: int) -> FloatArray:
    """Differences of all curves from one of them.

    Parameters
    ----------
    table : SideBySide
        curves on common sieves
    reference : int
        position of the curve that the others are compared with, from 0

    Returns
    -------
    ndarray, (k, n)
        share passing minus that of the reference; nan where either is not determined

    Raises
    ------
    Impossible
        when there is no curve at that position

    Notes
    -----
    Positive: finer than the reference at that size.

    References
    ----------
    Arithmetic.

    Examples
    --------
    >>> table = side_by_side([CurveGroup.single([200, 100], [1.0, 0.5]),
    ...                       CurveGroup.single([200, 100], [0.9, 0.75])])
    >>> differences(table, 0).round(3).tolist()
    [[0.0, 0.0], [-0.1, 0.25]]
    """
    if not 0 <= reference < len(table.passing):
        raise Impossible("The reference must be one of the curves compared.")
    return np.asarray(table.passing - table.passing[reference])


def individual_retained(passing: ArrayLike) -> FloatArray:
    """Share retained on each sieve.

    Parameters
    ----------
    passing : array_like, (..., n)
        share passing each sieve, coarse to fine, 0 to 1

    Returns
    -------
    ndarray, (..., n)
        share retained on each sieve; the pan is what is left of 1

    Raises
    ------
    Impossible
        when there is no sieve

    Notes
    -----
    R_i = P_(i-1) - P_i with P_0 = 1: what reached the sieve less what passed it. It depends on
    the sieves chosen, so curves of different nests are compared by their density instead.

    References
    ----------
    Common practice of the individual-percent-retained chart for combined aggregates.

    Examples
    --------
    >>> individual_retained([0.9, 0.4, 0.1]).round(3).tolist()
    [0.1, 0.5, 0.3]
    """
    shares = np.asarray(passing, dtype=np.float64)
    if shares.ndim == 0 or shares.shape[-1] == 0:
        raise Impossible("Without a sieve nothing is retained on one.")
    return np.asarray(-np.diff(shares, prepend=1.0, axis=-1))


@dataclass(frozen=True, slots=True)
class ClassDensity:
    """Density of one class between two neighbouring sieves.

    Parameters
    ----------
    lower_um, upper_um : float
        ends of the class [µm]
    share_per_decade : float
        share of the mass per factor of ten in size
    """

    lower_um: float
    upper_um: float
    share_per_decade: float


def class_densities(apertures_um: ArrayLike, passing: ArrayLike) -> tuple[ClassDensity, ...]:
    """Density over the logarithm of size, class by class.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        apertures [µm], coarse to fine
    passing : array_like, (n,)
        share passing of one curve, 0 to 1

    Returns
    -------
    tuple of ClassDensity
        one for each pair of neighbouring sieves, coarse to fine

    Raises
    ------
    NotDeterminable
        when the nest has a single sieve, or a passing is missing
    Impossible
        when the numbers make no curve

    Notes
    -----
    q*_log10 = dQ3 / d log10 x = ln(10) q3*. Unlike the share on a sieve it does not depend on how
    wide the classes are. What lies on the coarsest sieve and in the pan has no second end and
    therefore no density.

    References
    ----------
    ISO 9276-1, density distribution on a logarithmic abscissa (clause from memory).

    Examples
    --------
    >>> [round(each.share_per_decade, 3) for each in class_densities([1000, 100], [0.9, 0.4])]
    [0.5]
    """
    apertures, shares = checked_curve(apertures_um, passing)
    if shares.ndim != 1 or apertures.size < 2 or not np.all(np.isfinite(shares)):
        raise NotDeterminable("A density needs one complete curve on at least two sieves.")
    found = density(apertures, shares)
    per_decade = np.log(10.0) * found.q3_log
    rows = zip(found.lower_um, found.upper_um, per_decade, strict=True)
    return tuple(ClassDensity(float(low), float(high), float(share)) for low, high, share in rows)


def mean_curve(groups: Sequence[CurveGroup]) -> MeanCurve:
    """Mean of curves, each counting alike, on the sizes that all of them know.

    Parameters
    ----------
    groups : sequence of CurveGroup
        curves grouped by their nest

    Returns
    -------
    MeanCurve
        mean and spread at each size, how many curves measured it, and the sizes left out

    Raises
    ------
    NotDeterminable
        when there is no curve, or the nests have no range of sizes in common
    Impossible
        when a curve rises towards finer sieves

    Notes
    -----
    P = (1/m) sum(P_i) at every size that some nest has and every curve knows: measured, read
    between two of its sieves, or implied. At one size all means rest on the same m curves, so
    the mean never rises towards finer sieves either. A size that one curve does not know is
    left out rather than averaged over fewer curves.

    References
    ----------
    Mean and experimental standard deviation: GUM (JCGM 100:2008), equations 3 and 4.

    Examples
    --------
    >>> sand = CurveGroup((400.0, 200.0), np.array([[1.0, 0.5], [0.9, 0.4], [0.8, 0.3]]))
    >>> mean = mean_curve([sand])
    >>> mean.passing.round(3).tolist(), mean.deviation.round(3).tolist()
    ([0.9, 0.4], [0.1, 0.1])
    """
    kept = [group for group in groups if len(group.passing)]
    if not kept:
        raise NotDeterminable("There is no curve to take a mean of.")
    sizes = _all_sizes(kept)
    table = np.concatenate([group.at(sizes) for group in kept])
    is_common = np.isfinite(table).all(axis=0)
    if not is_common.any():
        raise NotDeterminable(
            "The nests of these runs have no range of sizes in common, so there is no mean curve. "
            "Take runs of one nest."
        )
    common = table[:, is_common]
    count = len(common)
    deviation = common.std(axis=0, ddof=1) if count > 1 else np.full(common.shape[1], np.nan)
    measured = tuple(
        sum(len(group.passing) for group in kept if size in group.apertures_um)
        for size in sizes[is_common].tolist()
    )
    return MeanCurve(
        apertures_um=tuple(sizes[is_common].tolist()),
        passing=common.mean(axis=0),
        deviation=deviation,
        measured=measured,
        count=count,
        left_out_um=tuple(sizes[~is_common].tolist()),
    )


def _all_sizes(curves: Sequence[CurveGroup], further_um: Sequence[float] = ()) -> FloatArray:
    sizes = {float(size) for curve in curves for size in curve.apertures_um}
    return np.array(sorted(sizes | {float(size) for size in further_um}, reverse=True))


def _known(curve: CurveGroup, size_um: float, share: float) -> Known:
    if not np.isfinite(share):
        return Known.NOT_DETERMINED
    if size_um in curve.apertures_um:
        return Known.MEASURED
    inside = curve.apertures_um[-1] < size_um < curve.apertures_um[0]
    return Known.INTERPOLATED if inside else Known.IMPLIED
