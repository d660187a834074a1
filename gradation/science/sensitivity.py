"""What a result would have been with other apertures, and whether a verdict would have changed.

Public: `passing_at_nominal`, `Shift`, `aperture_shift`, `Flips`, `verdict_flips`. Used when a sieve
is found out of tolerance after results were issued. Which points a mistake moves at all is in
`error_landing`; the same gradation at measured apertures is in `effective_apertures`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.decisions import DecisionRule, Decisions, Limits, Outcome, decide
from gradation.science.errors import Impossible, NotDeterminable, OutOfRange
from gradation.science.propagation import FloatArray


@dataclass(frozen=True)
class AtNominal:
    """Passing at the nominal apertures, and which of it had to be extended beyond the sieves."""

    passing: FloatArray
    extended: NDArray[np.bool_]


@dataclass(frozen=True)
class Shift:
    """Passing as recorded and as it would be with the true apertures, at the nominal sizes."""

    recorded: FloatArray
    corrected: FloatArray
    extended: NDArray[np.bool_]

    @property
    def change(self) -> FloatArray:
        """Give corrected minus recorded passing, (..., n), as a share."""
        return self.corrected - self.recorded

    def margins(self, limits: Limits) -> tuple[FloatArray, FloatArray]:
        """Give the margin to the nearer limit before and after, (..., n); negative outside."""
        before, after = (
            np.minimum(values - limits.lower_array, limits.upper_array - values)
            for values in (self.recorded, self.corrected)
        )
        return before, after


@dataclass(frozen=True)
class Flips:
    """Verdicts before and after a change, line by line and run by run."""

    before: Decisions
    after: Decisions

    @property
    def changed(self) -> NDArray[np.bool_]:
        """Say where the statement of conformity would be another one."""
        return np.asarray(self.before.outcomes != self.after.outcomes, dtype=np.bool_)

    @property
    def withdrawn(self) -> NDArray[np.bool_]:
        """Say where a statement 'conforms' would no longer be made."""
        stood = self.before.outcomes == Outcome.CONFORMS
        return np.asarray(stood & (self.after.outcomes != Outcome.CONFORMS), dtype=np.bool_)


def passing_at_nominal(
    apertures_um: ArrayLike, true_apertures_um: ArrayLike, passing: ArrayLike
) -> AtNominal:
    """Give the passing at nominal apertures when the sieves really had others.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        nominal apertures, coarse to fine [µm], > 0, n >= 2
    true_apertures_um : array_like, (n,)
        what the apertures really were [µm], > 0, still falling
    passing : array_like, (..., n)
        recorded passing, 0 to 1: the curve at the true apertures

    Returns
    -------
    AtNominal
        passing (..., n) at the nominal sizes, 0 to 1, and (n,) whether it was extended

    Raises
    ------
    NotDeterminable
        with a single sieve
    Impossible
        when the true apertures are not positive or do not fall from coarse to fine

    Notes
    -----
    Complete sieving: the recorded value of sieve i is Q3 at its true aperture. The curve through
    those points is read at the nominal ones, straight on log aperture. A nominal size beyond the
    true ones is reached by prolonging the last segment; `extended` marks it. A sieve whose true
    and nominal aperture agree keeps its value exactly.

    References
    ----------
    Reasoning from complete sieving (common practice); effective apertures beside nominal ones:
    ISO 2591-1 and ISO 9276-1 (from memory).

    Examples
    --------
    The 200 µm sieve really opens to 210 µm: it let too much through.

    >>> passing_at_nominal([400, 200, 100], [400, 210, 100], [0.9, 0.5, 0.1]).passing.round(3)
    array([0.9  , 0.474, 0.1  ])
    """
    nominal, true = _checked(apertures_um, true_apertures_um)
    values = np.asarray(passing, dtype=np.float64)
    wanted, known = np.log(nominal), np.log(true)
    # Segment k joins points k and k+1; sizes beyond either end use the outermost segment.
    segment = np.clip(np.searchsorted(-known, -wanted) - 1, 0, nominal.size - 2)
    place = (wanted - known[segment]) / (known[segment + 1] - known[segment])
    upper, lower = values[..., segment], values[..., segment + 1]
    read = np.clip(upper + place * (lower - upper), 0.0, 1.0)
    read = np.where(nominal == true, values, read)
    return AtNominal(read, (nominal > true[0]) | (nominal < true[-1]))


def _checked(nominal: ArrayLike, true: ArrayLike) -> tuple[FloatArray, FloatArray]:
    first = np.asarray(nominal, dtype=np.float64)
    second = np.asarray(true, dtype=np.float64)
    if first.size < 2:
        raise NotDeterminable("One sieve shows no slope of the curve. Use at least two sieves.")
    if not (np.all(second > 0) and np.all(np.diff(second) < 0)):
        raise Impossible(
            "The true apertures must be above zero and fall from coarse to fine. Check the "
            "measured apertures on the sieves' cards."
        )
    return first, second


def aperture_shift(
    apertures_um: ArrayLike, passing: ArrayLike, position: int, offset_um: float
) -> Shift:
    """Give how a result changes if one sieve's aperture was off by a given amount.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        nominal apertures, coarse to fine [µm]
    passing : array_like, (..., n)
        recorded passing, 0 to 1; leading axes are runs on the same nest
    position : int
        row of the sieve, 0 for the coarsest [pure number]
    offset_um : float
        true minus nominal aperture [µm]; positive for a worn, oversize sieve

    Returns
    -------
    Shift
        recorded and corrected passing (..., n), and where the curve had to be extended

    Raises
    ------
    OutOfRange
        when there is no such row
    Impossible
        when the offset carries the aperture past a neighbour's
    NotDeterminable
        with a single sieve

    Notes
    -----
    Only the sieve's own cumulative point changes; with complete sieving the others stand. D-values
    move through that point: read them from the corrected passing.

    References
    ----------
    As `passing_at_nominal`; `data/error_landing.csv`, row oversize_sieve.

    Examples
    --------
    >>> aperture_shift([400, 200, 100], [0.9, 0.5, 0.1], 1, 10.0).change.round(3).tolist()
    [0.0, -0.026, 0.0]
    """
    nominal = np.asarray(apertures_um, dtype=np.float64)
    if not 0 <= position < nominal.size:
        raise OutOfRange(f"There is no sieve in row {position + 1} of a nest of {nominal.size}.")
    true = nominal.copy()
    true[position] += offset_um
    found = passing_at_nominal(nominal, true, passing)
    recorded = np.asarray(passing, dtype=np.float64)
    # The corrected point is read between its true place and a neighbour; the rest is untouched.
    own = np.arange(nominal.size) == position
    return Shift(recorded, np.where(own, found.passing, recorded), found.extended & own)


def verdict_flips(
    before: ArrayLike, after: ArrayLike, standard: ArrayLike, limits: Limits, rule: DecisionRule
) -> Flips:
    """Give the verdicts before and after a correction, to see which would be another one.

    Parameters
    ----------
    before, after : array_like, (..., k)
        values as recorded and as corrected, k lines [unit of the limits]
    standard : array_like, broadcastable to (..., k)
        standard uncertainties [the same unit], >= 0
    limits : Limits
        limits of the k lines [the same unit]
    rule : DecisionRule
        the rule under which the results were issued

    Returns
    -------
    Flips
        decisions (..., k) of both, with `changed` and `withdrawn`

    Raises
    ------
    OutOfRange
        when an uncertainty is negative

    Notes
    -----
    Same limits, same rule, same uncertainty on both sides, so that a change is due to the values.

    References
    ----------
    ISO/IEC 17025:2017, 7.10 (significance of nonconforming work); ILAC-G8:09/2019, 4.2.

    Examples
    --------
    >>> flips = verdict_flips([0.10], [0.07], 0.0, Limits(lower=0.08), DecisionRule())
    >>> flips.withdrawn.tolist()
    [True]
    """
    return Flips(decide(before, standard, limits, rule), decide(after, standard, limits, rule))
