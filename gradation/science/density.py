"""Size classes of a gradation, its density q3 and q3* over ln x, and its modes.

A size class lies between two neighbouring sieves. What stays on the coarsest sieve and what
falls into the pan have one end only; `OpenEnds` states the other end, or such a class is
refused where a figure needs it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.errors import Impossible, NotDeterminable, OutOfRange

NOISE = 1e-12  # binary noise of shares that sum to one; far below any balance's readability
LARGEST_NEST = 64  # curves up to this size are remembered as good by their bytes


@dataclass(frozen=True, slots=True)
class OpenEnds:
    """The stated ends of the two open classes; None: not stated.

    Parameters
    ----------
    pan_lower_um : float or None
        Smallest size assumed in the pan [µm], >= 0.
    top_upper_um : float or None
        Largest size assumed on the coarsest sieve [µm].
    """

    pan_lower_um: float | None = None
    top_upper_um: float | None = None

    def statements(self) -> tuple[str, ...]:
        """What was assumed, in words for the report."""
        pan, top = self.pan_lower_um, self.top_upper_um
        said = []
        if top is not None:
            said.append(f"Nothing on the coarsest sieve is taken as larger than {top:g} µm.")
        if pan is not None:
            said.append(f"The pan is taken to reach down to {pan:g} µm.")
        return tuple(said)


@dataclass(frozen=True, slots=True)
class SizeClasses:
    """Closed size classes, coarse to fine, and the share of the mass in each.

    Parameters
    ----------
    lower_um, upper_um : ndarray, (k,)
        Ends of each class [µm].
    share : ndarray, (..., k)
        Mass share of each class, 0-1.
    assumptions : tuple of str
        What was assumed about the open ends.
    """

    lower_um: NDArray[np.float64]
    upper_um: NDArray[np.float64]
    share: NDArray[np.float64]
    assumptions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Density:
    """Density of a distribution by class: q3 over size and q3* over ln size.

    Parameters
    ----------
    lower_um, upper_um : ndarray, (k,)
        Ends of each class [µm].
    q3_per_um : ndarray, (..., k)
        Share per micrometre [1/µm].
    q3_log : ndarray, (..., k)
        Share per unit of ln x [-]; nan in a class that reaches down to 0 µm.
    """

    lower_um: NDArray[np.float64]
    upper_um: NDArray[np.float64]
    q3_per_um: NDArray[np.float64]
    q3_log: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Mode:
    """One peak of the density over ln x: its class, its height, and whether it is cut off.

    `is_at_edge`: the peak is the last class before an open one that holds mass, so the true
    peak may lie outside the nest.
    """

    size_um: float
    lower_um: float
    upper_um: float
    q3_log: float
    relative_height: float
    is_at_edge: bool


def checked_curve(
    apertures_um: ArrayLike, passing: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give back apertures and passing as arrays after checking that they make a curve.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm], > 0, strictly falling.
    passing : array_like, (..., n)
        Passing share of each aperture, 0-1, never rising as the aperture falls. A nan (a sieve
        not weighed yet) is let through and makes what depends on it nan.

    Returns
    -------
    tuple of ndarray
        (n,) and (..., n), both float64.

    Raises
    ------
    Impossible
        When the apertures do not fall, a share lies outside 0-1, or passing rises towards a
        finer sieve.

    Notes
    -----
    Differences below 1e-12 are binary noise of the sums and are not counted as a rise.

    References
    ----------
    ISO 9276-1, properties of a cumulative distribution (clause from memory).

    Examples
    --------
    >>> apertures, passing = checked_curve([4000, 2000, 1000], [1.0, 0.6, 0.2])
    >>> passing.shape
    (3,)
    """
    apertures = np.asarray(apertures_um, dtype=np.float64)
    shares = np.asarray(passing, dtype=np.float64)
    if apertures.ndim != 1 or apertures.size == 0 or shares.shape[-1:] != apertures.shape:
        raise Impossible("The nest needs one passing value for every aperture, and at least one.")
    if shares.ndim == 1 and shares.size <= LARGEST_NEST:
        _refuse_one_curve(apertures.tobytes(), shares.tobytes())
    else:
        _refuse_no_curve(apertures, shares)
    return apertures, shares


@lru_cache(maxsize=256)
def _refuse_one_curve(apertures: bytes, shares: bytes) -> None:
    """The same run is asked for eight measures of shape; its curve is looked at once."""
    _refuse_no_curve(np.frombuffer(apertures), np.frombuffer(shares))


def _refuse_no_curve(apertures: NDArray[np.float64], shares: NDArray[np.float64]) -> None:
    """Refuse what no sieving gives."""
    if (
        not np.all(np.isfinite(apertures))
        or apertures[-1] <= 0
        or (apertures[1:] >= apertures[:-1]).any()
    ):
        raise Impossible(
            "The apertures must fall from the coarsest sieve to the finest, each above 0 µm. "
            "Check the order of the nest and that no aperture stands in it twice."
        )
    if ((shares < -NOISE) | (shares > 1 + NOISE)).any():
        raise Impossible("A passing value lies outside 0 to 100 %. Check the masses of this run.")
    if (shares[..., 1:] - shares[..., :-1] > NOISE).any():
        raise Impossible(
            "Passing rises from a coarser to a finer sieve. Check the masses of this run."
        )


def _check_ends(apertures: NDArray[np.float64], ends: OpenEnds) -> None:
    pan, top = ends.pan_lower_um, ends.top_upper_um
    if pan is not None and not 0 <= pan < apertures[-1]:
        raise OutOfRange(
            f"The lower end of the pan, {pan:g} µm, must lie from 0 µm to below the finest "
            f"sieve, {apertures[-1]:g} µm."
        )
    if top is not None and not apertures[0] < top < np.inf:
        raise OutOfRange(
            f"The largest size, {top:g} µm, must lie above the coarsest sieve, {apertures[0]:g} µm."
        )


def size_classes(
    apertures_um: ArrayLike, passing: ArrayLike, ends: OpenEnds | None = None
) -> SizeClasses:
    """Closed size classes of a curve with the mass share of each.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (..., n)
        Passing shares, 0-1.
    ends : OpenEnds, optional
        Stated ends of what is on the coarsest sieve and of the pan.

    Returns
    -------
    SizeClasses
        n - 1 classes between the sieves, one more for each stated end.

    Raises
    ------
    NotDeterminable
        When an open class holds mass and its end is not stated.
    OutOfRange
        When a stated end does not lie beyond the nest.
    Impossible
        When the numbers make no curve.

    Notes
    -----
    Share of a class = Q3(upper) - Q3(lower). An empty open class without a stated end is left
    out. The assumption made about an end travels with the result.

    References
    ----------
    ISO 9276-1, histogram of a distribution (clause from memory).

    Examples
    --------
    >>> classes = size_classes([4000, 2000, 1000], [1.0, 0.6, 0.2], OpenEnds(pan_lower_um=500))
    >>> [round(float(share), 3) for share in classes.share]
    [0.4, 0.4, 0.2]
    """
    ends = ends or OpenEnds()
    apertures, shares = checked_curve(apertures_um, passing)
    _check_ends(apertures, ends)
    if ends.top_upper_um is None and np.any(shares[..., 0] < 1 - NOISE):
        raise NotDeterminable(
            f"Material stays on the coarsest sieve, {apertures[0]:g} µm, and its largest size is "
            "not known. Add a coarser sieve, or state the largest size."
        )
    if ends.pan_lower_um is None and np.any(shares[..., -1] > NOISE):
        raise NotDeterminable(
            f"Material passes the finest sieve, {apertures[-1]:g} µm, and its smallest size is "
            "not known. Add a finer sieve, or state the lower end of the pan."
        )
    return _closed_classes(apertures, shares, ends)


def _closed_classes(
    apertures: NDArray[np.float64], shares: NDArray[np.float64], ends: OpenEnds
) -> SizeClasses:
    limits, cumulative = apertures, shares
    edge = (*shares.shape[:-1], 1)
    if ends.top_upper_um is not None:
        limits = np.concatenate(([ends.top_upper_um], limits))
        cumulative = np.concatenate((np.ones(edge), cumulative), axis=-1)
    if ends.pan_lower_um is not None:
        limits = np.concatenate((limits, [ends.pan_lower_um]))
        cumulative = np.concatenate((cumulative, np.zeros(edge)), axis=-1)
    share = np.clip(-np.diff(cumulative, axis=-1), 0.0, None)
    return SizeClasses(limits[1:], limits[:-1], share, ends.statements())


def density(apertures_um: ArrayLike, passing: ArrayLike, ends: OpenEnds | None = None) -> Density:
    """Density q3 over size and q3* over the natural logarithm of size, class by class.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (..., n)
        Passing shares, 0-1.
    ends : OpenEnds, optional
        Stated ends of the open classes; without one, that open class has no density and is
        left out.

    Returns
    -------
    Density
        Classes coarse to fine; q3 [1/µm] and q3* [-], both (..., k).

    Raises
    ------
    Impossible
        When the numbers make no curve.
    OutOfRange
        When a stated end does not lie beyond the nest.

    Notes
    -----
    q3 = dQ3 / dx and q3* = dQ3 / d ln x = x q3, each taken constant within a class. A class
    that reaches down to 0 µm has no width in ln x, so q3* is nan there.

    References
    ----------
    ISO 9276-1, density distribution on a logarithmic abscissa (clause from memory).

    Examples
    --------
    >>> result = density([4000, 2000, 1000], [1.0, 0.6, 0.2])
    >>> [round(float(value), 4) for value in result.q3_log]
    [0.5771, 0.5771]
    """
    ends = ends or OpenEnds()
    apertures, shares = checked_curve(apertures_um, passing)
    _check_ends(apertures, ends)
    classes = _closed_classes(apertures, shares, ends)
    lower, upper = classes.lower_um, classes.upper_um
    log_width = np.full(upper.shape, np.nan)
    above_zero = lower > 0
    log_width[above_zero] = np.log(upper[above_zero] / lower[above_zero])
    return Density(lower, upper, classes.share / (upper - lower), classes.share / log_width)


def _peaks(heights: NDArray[np.float64]) -> list[tuple[int, int]]:
    """First and last class of every peak; neighbours of equal height are one class."""
    changes = np.flatnonzero(
        np.abs(heights[1:] - heights[:-1]) > NOISE * max(1.0, float(heights.max()))
    )
    starts = [0, *(int(place) + 1 for place in changes)]
    ends = [*(int(place) for place in changes), len(heights) - 1]
    level = np.concatenate(([-np.inf], heights[starts], [-np.inf]))
    is_peak = (level[1:-1] > level[:-2]) & (level[1:-1] > level[2:])
    return [
        span for span, peak in zip(zip(starts, ends, strict=True), is_peak, strict=True) if peak
    ]


def modes(
    apertures_um: ArrayLike, passing: ArrayLike, *, least_relative_height: float = 0.05
) -> tuple[Mode, ...]:
    """Modes of one curve: the peaks of its density over ln x, the highest first.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (n,)
        Passing shares of one run, 0-1.
    least_relative_height : float
        Peaks lower than this share of the highest are not reported, 0-1.

    Returns
    -------
    tuple of Mode
        Size [µm] is the geometric mean of the class ends; empty when nothing lies between
        the sieves.

    Raises
    ------
    NotDeterminable
        When a passing value is missing or the nest has a single sieve.
    Impossible
        When the numbers make no curve.

    Notes
    -----
    q3* = dQ3 / d ln x is compared, not the mass on a sieve: classes of unequal width would
    otherwise make false peaks. Neighbouring classes of equal height count as one. The height
    below which a peak is not reported, 5 % of the highest, is common practice.

    References
    ----------
    ISO 9276-1, mode of a density distribution on a logarithmic abscissa (clause from memory).

    Examples
    --------
    >>> [mode] = modes([4000, 2000, 1000, 500], [1.0, 0.9, 0.2, 0.0])
    >>> round(mode.size_um)
    1414
    """
    apertures, shares = checked_curve(apertures_um, passing)
    if shares.ndim != 1 or apertures.size < 2 or not np.all(np.isfinite(shares)):
        raise NotDeterminable(
            "A mode needs one complete run with at least two sieves. Weigh the missing fractions."
        )
    result = density(apertures, shares)
    highest = float(np.max(result.q3_log))
    if highest <= NOISE:
        return ()
    is_cut_off = (shares[0] < 1 - NOISE, shares[-1] > NOISE)
    found = [_mode(result, span, highest, is_cut_off) for span in _peaks(result.q3_log)]
    kept = [mode for mode in found if mode.relative_height >= least_relative_height]
    return tuple(sorted(kept, key=lambda mode: -mode.q3_log))


def _mode(
    result: Density, span: tuple[int, int], highest: float, is_cut_off: tuple[bool, bool]
) -> Mode:
    first, last = span
    upper, lower = float(result.upper_um[first]), float(result.lower_um[last])
    height = float(result.q3_log[first])
    at_top = first == 0 and is_cut_off[0]
    at_bottom = last == result.q3_log.size - 1 and is_cut_off[1]
    return Mode(
        size_um=float(np.sqrt(upper * lower)),
        lower_um=lower,
        upper_um=upper,
        q3_log=height,
        relative_height=height / highest,
        is_at_edge=bool(at_top or at_bottom),
    )
