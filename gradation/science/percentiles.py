"""Sizes at a given passing, D(p), and the passing at a given size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from gradation.science.apertures import designation, size_text
from gradation.science.errors import Impossible, NotDeterminable, OutOfRange
from gradation.science.gradation import NOISE, Gradation
from gradation.science.interpolation import (
    PAPERS,
    BoolArray,
    FloatArray,
    Interpolation,
    passing_in,
    segments,
    size_in,
)

__all__ = [
    "Interpolation",
    "Percentile",
    "Sizes",
    "passing_at_size",
    "percentile_name",
    "percentiles",
    "size_at_passing",
]


_USUAL_SHARES = (0.05, 0.10, 0.16, 0.25, 0.30, 0.50, 0.60, 0.75, 0.84, 0.90, 0.95)
_USUAL_PLACES = {share: place for place, share in enumerate(_USUAL_SHARES)}
_SizesAndFlags = tuple[FloatArray, BoolArray, BoolArray, BoolArray]


@dataclass(frozen=True, slots=True)
class Sizes:
    """Sizes read off curves, with what could not be read."""

    size_um: FloatArray
    """(..., k) sizes [µm]; NaN outside the measured range."""
    is_below: BoolArray
    """(..., k) true where the size is smaller than the finest aperture."""
    is_above: BoolArray
    """(..., k) true where the size is larger than the coarsest aperture."""
    is_straight: BoolArray
    """(..., k) true where a paper could not show 0 or 100 % and log-linear was used."""


@dataclass(frozen=True, slots=True)
class Percentile:
    """One size D(p) of one run, as a number if it was measured, and as text."""

    passing: float
    size_um: float | None
    text: str
    is_straight: bool = False

    @property
    def name(self) -> str:
        """`d50` for the median."""
        return percentile_name(self.passing)


def size_at_passing(
    apertures_um: npt.ArrayLike,
    passing: npt.ArrayLike,
    share: npt.ArrayLike,
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> Sizes:
    """Give the size that a share of the mass is finer than.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures [µm], coarse to fine.
    passing : array_like, (..., n)
        Shares passing, 0 to 1, never rising from coarse to fine.
    share : float or array_like, (k,)
        Share p asked for, 0 < p <= 1.
    interpolation : Interpolation
        How neighbouring points are joined.

    Returns
    -------
    Sizes
        Arrays (..., k), or (...) when `share` is a single number.

    Raises
    ------
    Impossible
        When the apertures are not falling or the passing rises towards finer sieves.
    OutOfRange
        When a share is not above 0 and at most 1.

    Notes
    -----
    D(p) is the smallest size at which the curve reaches p. On a level stretch (an empty
    sieve) at exactly p it is therefore the finer end, and D(1) is the smallest aperture
    that passes everything. p equal to the passing of a sieve gives that aperture exactly.
    Below the passing of the finest sieve and above that of the coarsest the size was not
    measured: NaN and a flag, never an extrapolation. All on one sieve: all D lie above the
    coarsest aperture if that sieve is it, else between its neighbours. All in the pan: all
    D lie below the finest aperture. Differences below 1e-12 count as equal. A run with a
    passing that is not known (NaN) has no sizes at all: NaN without a flag.

    References
    ----------
    D-values as in ISO 9276-2 (from memory); reading on log aperture: common practice of
    ASTM D2487 and textbook charts, as in the solutions to Das, Principles of Geotechnical
    Engineering, chapter 2 (tests/published).

    Examples
    --------
    >>> size_at_passing([400.0, 100.0], [0.8, 0.4], 0.6).size_um.round(6).item()
    200.0
    """
    apertures = np.array(apertures_um, dtype=np.float64, ndmin=1, copy=None)
    curve = np.array(passing, dtype=np.float64, ndmin=1, copy=None)
    shares = np.asarray(share, dtype=np.float64)
    if curve.ndim == 1:
        places = [_USUAL_PLACES.get(each, -1) for each in shares.reshape(-1).tolist()]
        if -1 not in places:
            usual = _usual_sizes(apertures.tobytes(), curve.tobytes(), interpolation)
            at = np.reshape(np.array(places, dtype=np.intp), shares.shape)
            return Sizes(usual[0].take(at), usual[1].take(at), usual[2].take(at), usual[3].take(at))
    return Sizes(*_read_sizes(apertures, curve, shares, interpolation))


@lru_cache(maxsize=64)
def _usual_sizes(apertures_um: bytes, passing: bytes, rule: Interpolation) -> _SizesAndFlags:
    """All usual sizes of one run: a worksheet asks the same curve several times."""
    return _read_sizes(
        np.frombuffer(apertures_um), np.frombuffer(passing), np.array(_USUAL_SHARES), rule
    )


def _read_sizes(
    apertures_um: FloatArray, passing: FloatArray, shares: FloatArray, rule: Interpolation
) -> _SizesAndFlags:
    """Sizes, below, above and straight, each with the axes of the runs and of the shares."""
    sizes, curve = _fine_to_coarse(apertures_um, passing)
    if not ((shares > 0) & (shares <= 1)).all():
        raise OutOfRange("A size can be asked for at more than 0 % and at most 100 % passing.")
    found = _sizes_of_runs(sizes, _side_by_side(curve), shares.reshape(-1, 1), rule)
    shape = (*curve.shape[:-1], *shares.shape)
    size_um, is_below, is_above, is_straight = found
    return (
        size_um.T.reshape(shape),
        is_below.T.reshape(shape),
        is_above.T.reshape(shape),
        is_straight.T.reshape(shape),
    )


def _sizes_of_runs(
    sizes_um: FloatArray, runs: FloatArray, wanted: FloatArray, rule: Interpolation
) -> _SizesAndFlags:
    """Sizes, below, above and straight, each (k, m), of runs (n, m) at shares (k, 1)."""
    is_short = runs < (wanted - NOISE)[:, None]
    reached = is_short.sum(axis=1, dtype=np.min_scalar_type(sizes_um.size))
    is_unknown = np.isnan(runs).any(axis=0)
    is_finest = reached == 0
    is_below = is_finest & (np.abs(runs[0] - wanted) > NOISE)
    is_above = reached == sizes_um.size
    size_um, is_straight = _sizes_between(sizes_um, runs, wanted, reached, rule)
    np.copyto(size_um, sizes_um[0], where=is_finest)
    is_outside = is_below | is_above | is_unknown
    np.copyto(size_um, np.nan, where=is_outside)
    if is_unknown.any():
        is_below, is_above = is_below & ~is_unknown, is_above & ~is_unknown
    if rule in PAPERS:
        is_straight &= ~(is_outside | is_finest)
    return size_um, is_below, is_above, is_straight


def _sizes_between(
    sizes_um: FloatArray,
    runs: FloatArray,
    wanted: FloatArray,
    reached: npt.NDArray[np.unsignedinteger],
    rule: Interpolation,
) -> tuple[FloatArray, BoolArray]:
    """Sizes inside the range, and which are straight; what lies outside is masked later."""
    if sizes_um.size == 1:
        return np.full(reached.shape, sizes_um[0]), np.zeros(reached.shape, dtype=np.bool_)
    upper = np.minimum(np.maximum(reached, 1), sizes_um.size - 1).astype(np.intp)
    segment = segments(sizes_um, runs, upper, rule)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        size_um = size_in(segment, wanted, rule)
    if rule not in PAPERS:
        return size_um, np.zeros(reached.shape, dtype=np.bool_)
    is_inside = np.abs(wanted - segment.passing[1]) > NOISE
    return size_um, segment.touches_end & is_inside


def _side_by_side(curve: FloatArray) -> FloatArray:
    """Curves (..., n) as columns (n, m), so that sums over sieves run along the runs."""
    return np.ascontiguousarray(curve.reshape(-1, curve.shape[-1]).T)


def passing_at_size(
    apertures_um: npt.ArrayLike,
    passing: npt.ArrayLike,
    size_um: npt.ArrayLike,
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> FloatArray:
    """Give the share finer than a size that need not be a sieve of the nest.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures [µm], coarse to fine.
    passing : array_like, (..., n)
        Shares passing, 0 to 1, never rising from coarse to fine.
    size_um : float or array_like, (k,)
        Sizes asked for [µm], > 0.
    interpolation : Interpolation
        How neighbouring points are joined.

    Returns
    -------
    ndarray, (..., k), or (...) for a single size
        Share passing; NaN where it was not measured.

    Raises
    ------
    Impossible
        When the apertures are not falling or the passing rises towards finer sieves.
    OutOfRange
        When a size is not above zero.

    Notes
    -----
    At an aperture of the nest the measured value is given exactly. Above the coarsest sieve
    the passing is 1 when that sieve passed everything, below the finest it is 0 when that
    sieve passed nothing: both are certain. Otherwise NaN; nothing is extrapolated. A
    segment that touches 0 or 100 % is joined straight on log aperture by the two papers.

    References
    ----------
    As for `size_at_passing`.

    Examples
    --------
    >>> passing_at_size([400.0, 100.0], [0.8, 0.4], 200.0).round(6).item()
    0.6
    """
    sizes, curve = _fine_to_coarse(apertures_um, passing)
    asked = np.asarray(size_um, dtype=np.float64)
    if not (asked > 0).all():
        raise OutOfRange("A passing can be asked for at sizes above zero only.")
    wanted = asked.reshape(-1)
    place = np.searchsorted(sizes, wanted)
    found = curve.T.take(place, axis=0, mode="clip").T
    is_finer, is_coarser = wanted < sizes[0], wanted > sizes[-1]
    is_between = (sizes.take(place, mode="clip") != wanted) & ~is_finer & ~is_coarser
    if is_finer.any():
        found[..., is_finer] = np.where(curve[..., :1] <= 0.0, 0.0, np.nan)
    if is_coarser.any():
        found[..., is_coarser] = np.where(curve[..., -1:] >= 1.0, 1.0, np.nan)
    if is_between.any():
        found[..., is_between] = _passing_between(
            sizes, curve, wanted[is_between], place[is_between], interpolation
        )
    return found if asked.ndim else np.asarray(found[..., 0])


def _passing_between(
    sizes_um: FloatArray,
    curve: FloatArray,
    wanted_um: FloatArray,
    place: npt.NDArray[np.intp],
    rule: Interpolation,
) -> FloatArray:
    """The passing (..., k) at sizes between two sieves, the coarser of which is at `place`."""
    runs = _side_by_side(curve)
    upper = np.broadcast_to(place[:, None], (place.size, runs.shape[1]))
    found = passing_in(segments(sizes_um, runs, upper, rule), wanted_um[:, None], rule)
    return found.T.reshape(*curve.shape[:-1], wanted_um.size)


def percentiles(
    gradation: Gradation,
    shares: Sequence[float],
    interpolation: Interpolation = Interpolation.LOG_LINEAR,
) -> tuple[Percentile, ...]:
    """Give the sizes D(p) of one run, as numbers and as the text to print.

    Parameters
    ----------
    gradation : Gradation
        One run.
    shares : sequence of float
        Shares p asked for, 0 < p <= 1.
    interpolation : Interpolation
        How neighbouring points are joined.

    Returns
    -------
    tuple of Percentile
        In the order asked for. The text has three significant figures, or is
        '< smallest aperture' or '> largest aperture'.

    Raises
    ------
    OutOfRange
        When a share is not above 0 and at most 1.
    NotDeterminable
        When a batch of runs is given.

    Notes
    -----
    `size_um` stays unrounded; it is None outside the measured range.

    References
    ----------
    As for `size_at_passing`; three figures: common practice for sizes read off a chart.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([400, 100], [100.0, 200.0, 200.0], 500.0)
    >>> [d.text for d in percentiles(g, [0.1, 0.6, 0.9])]
    ['< 100 µm', '200 µm', '> 400 µm']
    """
    if gradation.passing.ndim != 1:
        raise NotDeterminable("Percentiles as text are given for one run at a time.")
    found = size_at_passing(gradation.apertures_um, gradation.passing, shares, interpolation)
    smallest = f"< {designation(gradation.apertures_um[-1])}"
    largest = f"> {designation(gradation.apertures_um[0])}"
    answers = []
    for number, share in enumerate(shares):
        if found.is_below[number] or found.is_above[number]:
            text = smallest if found.is_below[number] else largest
            answers.append(Percentile(share, None, text))
        else:
            size = float(found.size_um[number])
            answers.append(
                Percentile(share, size, size_text(size), bool(found.is_straight[number]))
            )
    return tuple(answers)


def percentile_name(share: float) -> str:
    """Give the name of a percentile: `d50` for a share of 0.5, `d2.5` for 0.025.

    Parameters
    ----------
    share : float
        Share passing, 0 to 1.

    Returns
    -------
    str
        The letter d and the percentage.

    Raises
    ------
    Nothing
        Any number has a name.

    Notes
    -----
    At most six significant figures of the percentage are kept.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> percentile_name(0.5)
    'd50'
    """
    return f"d{share * 100:g}"


def _fine_to_coarse(
    apertures_um: npt.ArrayLike, passing: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Both axes flipped, after refusing what is no cumulative curve."""
    apertures = np.array(apertures_um, dtype=np.float64, ndmin=1, copy=None)
    curve = np.array(passing, dtype=np.float64, ndmin=1, copy=None)
    if curve.shape[-1] != apertures.size:
        raise Impossible(
            f"{apertures.size} apertures need as many passings, but {curve.shape[-1]} were given."
        )
    if (apertures[1:] >= apertures[:-1]).any():
        raise Impossible("Give the apertures from coarse to fine, none twice.")
    if (curve[..., 1:] > curve[..., :-1] + NOISE).any():
        raise Impossible(
            "The passing rises towards a finer sieve, which no material does. Check the rows."
        )
    return apertures[::-1], curve[..., ::-1]
