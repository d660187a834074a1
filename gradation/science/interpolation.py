"""How a curve runs between two sieves: five rules, forwards and backwards.

Arrays here run fine to coarse, since all five rules are rising in that direction; callers
flip. Nothing here looks outside the measured range.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IndexArray = npt.NDArray[np.intp]
Slopes = tuple[FloatArray, FloatArray]

# Halving an interval 54 times leaves less than one unit in the last place of a double.
HALVINGS = 54


class Interpolation(StrEnum):
    """The paper on which neighbouring points are joined."""

    LOG_LINEAR = "log_linear"
    """Straight on passing over log aperture, as a chart is read."""
    LINEAR = "linear"
    """Straight on passing over aperture."""
    PCHIP_LOG = "pchip_log"
    """Monotone cubic on passing over log aperture."""
    LOG_PROBABILITY = "log_probability"
    """Straight on probability paper with a log size axis."""
    RRSB = "rrsb"
    """Straight on Rosin-Rammler-Sperling-Bennett paper: log log 1/(1-Q) over log size."""


PAPERS = (Interpolation.LOG_PROBABILITY, Interpolation.RRSB)


@dataclass(frozen=True, slots=True)
class Segments:
    """The two neighbouring points around each place asked for, and the slopes there."""

    sizes_um: tuple[FloatArray, FloatArray]
    abscissae: tuple[FloatArray, FloatArray]
    """The sizes as they stand on the paper: in µm for `linear`, else their logarithms."""
    passing: tuple[FloatArray, FloatArray]
    slopes: Slopes | None

    @property
    def touches_end(self) -> BoolArray:
        """Where one of the two points has 0 or 100 % passing, which no paper can show."""
        finer, coarser = self.passing
        return (finer <= 0.0) | (coarser >= 1.0)


def segments(
    sizes_um: FloatArray, passing: FloatArray, upper: IndexArray, rule: Interpolation
) -> Segments:
    """Give the segments that end at the points `upper`.

    Parameters
    ----------
    sizes_um : ndarray, (n,)
        Apertures [µm], fine to coarse.
    passing : ndarray, (n, m)
        Shares passing of m runs, not falling from fine to coarse.
    upper : ndarray of int, (k, m)
        Index of the coarser end of each segment, 1 to n-1.
    rule : Interpolation
        Slopes are made for `pchip_log` only.

    Returns
    -------
    Segments
        Arrays of shape (k, m).

    Raises
    ------
    IndexError
        When there are fewer than two points.

    Notes
    -----
    Runs stand side by side, so that a batch is worked through along its longest axis.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> s = segments(np.array([1.0, 2.0]), np.array([[0.2], [0.6]]), np.array([[1]]), "linear")
    >>> [end.item() for end in s.passing]
    [0.2, 0.6]
    """
    lower = upper - 1
    runs = passing.shape[1]
    place = upper * runs + np.arange(runs)
    places = (place - runs, place)
    abscissa = sizes_um if rule is Interpolation.LINEAR else np.log(sizes_um)
    slopes = None
    if rule is Interpolation.PCHIP_LOG:
        rates = _monotone_slopes(abscissa, passing.T).T
        slopes = _both(rates, places)
    return Segments(
        sizes_um=(sizes_um.take(lower), sizes_um.take(upper)),
        abscissae=(abscissa.take(lower), abscissa.take(upper)),
        passing=_both(passing, places),
        slopes=slopes,
    )


def _both(values: FloatArray, places: tuple[IndexArray, IndexArray]) -> Slopes:
    """The values at both ends of the segments."""
    row_by_row = values.ravel()
    return row_by_row.take(places[0]), row_by_row.take(places[1])


def size_in(segment: Segments, share: FloatArray, rule: Interpolation) -> FloatArray:
    """Give the size at which the curve reaches a share inside its segment.

    Parameters
    ----------
    segment : Segments
        Arrays (k, m); the passing must differ between the two ends.
    share : ndarray, (k, 1) or (k, m)
        Share passing, between the two ends.
    rule : Interpolation
        How the points are joined.

    Returns
    -------
    ndarray, (k, m)
        Size [µm], between the two apertures; exactly an aperture at its own passing.

    Raises
    ------
    Nothing
        Places without a segment give what their ends give; callers mask them.

    Notes
    -----
    With z the ordinate of the paper and a the abscissa (ln x, or x for `linear`):
    a = a0 + (z - z0)/(z1 - z0) (a1 - a0). z is Q3 itself; on probability paper the normal
    deviate of Q3; on RRSB paper ln(-ln(1 - Q3)). A segment that touches 0 or 100 % has no
    finite z on the two papers and is joined straight on log aperture instead. The cubic is
    inverted by halving its interval 54 times.

    References
    ----------
    DIN 66145 (RRSB paper; from memory); F. N. Fritsch and R. E. Carlson, SIAM J. Numer.
    Anal. 17 (1980) 238-246 for the monotone cubic.

    Examples
    --------
    >>> ends = np.array([[0.2], [0.6]])
    >>> s = segments(np.array([1.0, 4.0]), ends, np.array([[1]]), Interpolation.LOG_LINEAR)
    >>> size_in(s, np.array([[0.4]]), Interpolation.LOG_LINEAR).round(9).item()
    2.0
    """
    if segment.slopes is not None:
        along = _halve(segment, segment.slopes, share)
    else:
        start, end, wanted = _ordinates(segment, share, rule)
        along = (wanted - start) / (end - start)
    return _between_sizes(segment, along, rule)


def passing_in(segment: Segments, size_um: FloatArray, rule: Interpolation) -> FloatArray:
    """Give the share passing at a size inside its segment.

    Parameters
    ----------
    segment : Segments
        Arrays (k, m).
    size_um : ndarray, (k, 1) or (k, m)
        Size [µm], between the two apertures.
    rule : Interpolation
        How the points are joined.

    Returns
    -------
    ndarray, (k, m)
        Share passing, between those of the two ends.

    Raises
    ------
    Nothing
        Places without a segment give what their ends give; callers mask them.

    Notes
    -----
    The inverse of `size_in`.

    References
    ----------
    As for `size_in`.

    Examples
    --------
    >>> ends = np.array([[0.2], [0.6]])
    >>> s = segments(np.array([1.0, 4.0]), ends, np.array([[1]]), Interpolation.LOG_LINEAR)
    >>> passing_in(s, np.array([[2.0]]), Interpolation.LOG_LINEAR).round(9).item()
    0.4
    """
    along = _share_of_way(segment, size_um, rule)
    finer, coarser = segment.passing
    if segment.slopes is not None:
        return np.clip(_cubic(segment, segment.slopes, along), finer, coarser)
    straight = finer + along * (coarser - finer)
    if rule not in PAPERS:
        return straight
    with np.errstate(invalid="ignore"):
        start, end = _paper(finer, rule), _paper(coarser, rule)
        bent = _off_paper(start + along * (end - start), rule)
    return np.where(segment.touches_end, straight, bent)


def _ordinates(
    segment: Segments, share: FloatArray, rule: Interpolation
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Both ends and the wanted share on the ordinate of the paper."""
    finer, coarser = segment.passing
    if rule not in PAPERS:
        return finer, coarser, share
    wanted = np.broadcast_to(share, finer.shape)
    plain = segment.touches_end
    start, end, middle = (
        np.where(plain, value, _paper(value, rule)) for value in (finer, coarser, wanted)
    )
    return start, end, middle


def _paper(share: FloatArray, rule: Interpolation) -> FloatArray:
    """The ordinate on which the share stands on its paper; infinite at 0 and 100 %."""
    if rule is Interpolation.RRSB:
        with np.errstate(divide="ignore"):
            return np.asarray(np.log(-np.log1p(-share)))
    from scipy.special import ndtri  # here, because scipy doubles the start-up time

    return np.asarray(ndtri(share), dtype=np.float64)


def _off_paper(ordinate: FloatArray, rule: Interpolation) -> FloatArray:
    """The share that stands at an ordinate of the paper."""
    if rule is Interpolation.RRSB:
        return np.asarray(-np.expm1(-np.exp(ordinate)))
    from scipy.special import ndtr  # here, because scipy doubles the start-up time

    return np.asarray(ndtr(ordinate), dtype=np.float64)


def _share_of_way(segment: Segments, size_um: FloatArray, rule: Interpolation) -> FloatArray:
    """How far along the abscissa the size lies between the two apertures, 0 to 1."""
    start, end = segment.abscissae
    place = size_um if rule is Interpolation.LINEAR else np.log(size_um)
    return np.asarray(np.clip((place - start) / (end - start), 0.0, 1.0))


def _between_sizes(segment: Segments, along: FloatArray, rule: Interpolation) -> FloatArray:
    """The size a share of the way along the abscissa, exactly an aperture at its ends."""
    low, high = segment.abscissae
    size_um = low + along * (high - low)
    if rule is not Interpolation.LINEAR:
        np.exp(size_um, out=size_um)
    start, end = segment.sizes_um
    np.copyto(size_um, start, where=along <= 0.0)
    np.copyto(size_um, end, where=along >= 1.0)
    return size_um


def _cubic(segment: Segments, slopes: Slopes, along: FloatArray) -> FloatArray:
    """The cubic through both ends with their slopes (Hermite form)."""
    finer, coarser = segment.passing
    width = segment.abscissae[1] - segment.abscissae[0]
    rest = 1.0 - along
    return np.asarray(
        finer * (1.0 + 2.0 * along) * rest * rest
        + coarser * along * along * (3.0 - 2.0 * along)
        + width * along * rest * (slopes[0] * rest - slopes[1] * along)
    )


def _halve(segment: Segments, slopes: Slopes, share: FloatArray) -> FloatArray:
    """How far along the abscissa the cubic reaches the share, 0 to 1."""
    low = np.zeros_like(segment.passing[0])
    high = np.ones_like(low)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        is_below = _cubic(segment, slopes, middle) < share
        low = np.where(is_below, middle, low)
        high = np.where(is_below, high, middle)
    return np.where(share >= segment.passing[1], 1.0, high)


def _monotone_slopes(abscissa: FloatArray, passing: FloatArray) -> FloatArray:
    """Slopes at the points that keep the cubic from overshooting."""
    widths = np.diff(abscissa)
    rises = np.diff(passing, axis=-1) / widths
    slopes = np.empty_like(passing)
    if widths.size == 1:
        slopes[...] = rises
        return slopes
    before, after = rises[..., :-1], rises[..., 1:]
    weight_before = 2.0 * widths[1:] + widths[:-1]
    weight_after = widths[1:] + 2.0 * widths[:-1]
    with np.errstate(divide="ignore"):
        mean = (weight_before + weight_after) / (weight_before / before + weight_after / after)
    slopes[..., 1:-1] = np.where((before > 0) & (after > 0), mean, 0.0)
    slopes[..., 0] = _end_slope(widths[0], widths[1], rises[..., 0], rises[..., 1])
    slopes[..., -1] = _end_slope(widths[-1], widths[-2], rises[..., -1], rises[..., -2])
    return slopes


def _end_slope(
    width: np.float64, next_width: np.float64, rise: FloatArray, next_rise: FloatArray
) -> FloatArray:
    """One-sided three-point slope at an end, cut so that the cubic stays monotone."""
    slope = ((2.0 * width + next_width) * rise - width * next_rise) / (width + next_width)
    slope = np.asarray(np.where(slope <= 0, 0.0, slope))
    is_too_steep = (next_rise <= 0) & (slope > 3.0 * rise)
    return np.where(is_too_steep, 3.0 * rise, slope)
