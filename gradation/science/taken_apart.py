"""Why two benches differ on one sample: the difference of each passing, taken apart.

Public: `BenchRuns`, `PointApart`, `take_apart`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import nan, sqrt

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import Impossible, NotDeterminable
from gradation.science.propagation import FloatArray
from gradation.science.rounding import Rounding, reported_passing
from gradation.science.sensitivity import passing_at_nominal

CONFIDENCE = 0.95


class Rest(StrEnum):
    """What is left of a difference once the known parts are taken off."""

    WITHIN = "within division"
    NOT_EXPLAINED = "not explained"
    NOT_KNOWN = "division not known"


@dataclass(frozen=True)
class BenchRuns:
    """The runs of one bench or laboratory on its portions of the sample.

    `passing` (k, n) as shares, one row a run; `measured_um` (k, n) the mean apertures of each run's
    sieves as measured, NaN where a sieve was not; `rounding` the rule by which the bench reports.
    """

    passing: FloatArray
    measured_um: FloatArray
    rounding: Rounding


@dataclass(frozen=True)
class PointApart:
    """One aperture: the difference (second less first) and its parts, all in percentage points.

    NaN where the records say nothing of a part. `division_pct` is a half-width, not a shift.
    """

    aperture_um: float
    first_pct: float
    second_pct: float
    difference_pct: float
    sieve_pct: float
    rounding_pct: float
    rest_pct: float
    division_pct: float
    rest: Rest


def take_apart(
    apertures_um: ArrayLike, first: BenchRuns, second: BenchRuns
) -> tuple[PointApart, ...]:
    """Difference of each passing between two benches, taken apart as far as the records allow.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        nominal apertures both used, coarse to fine [µm], n >= 2
    first, second : BenchRuns
        runs of both on portions of one sample

    Returns
    -------
    tuple of PointApart
        one for each aperture

    Raises
    ------
    NotDeterminable
        with a single sieve, or a bench without a run
    Impossible
        when the rows do not fit the apertures, or measured apertures do not fall

    Notes
    -----
    Means over a bench's runs are compared as they are reported:

    - sieve: what the recorded passing of each run exceeds the passing at nominal apertures by
      (`passing_at_nominal`), mean of the second less mean of the first; unmeasured neighbours
      count as nominal, an unmeasured sieve of any run gives NaN;
    - rounding: the difference as reported less the unrounded one;
    - division: ``t s_p sqrt(1/k_1 + 1/k_2)`` at 95 %, ``s_p`` pooled within benches with
      ``k_1 + k_2 - 2`` degrees of freedom: division, sieving and weighing of replicates together;
      NaN when no bench repeated;
    - rest: difference less rounding less sieve (where known).

    References
    ----------
    ISO 2591-1 (measured apertures to compare sieves; from memory); pooled two-sample t interval:
    NIST/SEMATECH e-Handbook, section 1.3.5.3. The order of the parts is common practice.

    Examples
    --------
    >>> one = BenchRuns(np.array([[0.9, 0.50]]), np.array([[400.0, 200.0]]), Rounding(1))
    >>> two = BenchRuns(np.array([[0.9, 0.53]]), np.array([[400.0, 210.0]]), Rounding(1))
    >>> point = take_apart([400.0, 200.0], one, two)[1]
    >>> round(point.difference_pct, 1), round(point.sieve_pct, 1), point.rest.value
    (3.0, 2.8, 'division not known')
    """
    nominal = np.asarray(apertures_um, dtype=np.float64)
    for bench in (first, second):
        _check(nominal, bench)
    means = [100 * bench.passing.mean(axis=0) for bench in (first, second)]
    reported = [
        np.array([float(reported_passing(float(p), b.rounding, float(um))) for p, um in zip(
            mean, nominal, strict=True)])
        for mean, b in zip(means, (first, second), strict=True)
    ]  # fmt: skip
    shift = _sieve_shift(nominal, second) - _sieve_shift(nominal, first)
    whole = reported[1] - reported[0]
    rounding = whole - (means[1] - means[0])
    rest = whole - rounding - np.nan_to_num(shift)
    division = _division(first, second)
    columns = (nominal, *reported, whole, shift, rounding, rest, division)
    return tuple(_point([float(column[i]) for column in columns]) for i in range(nominal.size))


def _point(values: list[float]) -> PointApart:
    aperture_um, first, second, whole, shift, rounding, rest, division = values
    return PointApart(
        aperture_um=aperture_um,
        first_pct=first,
        second_pct=second,
        difference_pct=whole,
        sieve_pct=shift,
        rounding_pct=rounding,
        rest_pct=rest,
        division_pct=division,
        rest=_rest(rest, division),
    )


def _check(nominal: FloatArray, bench: BenchRuns) -> None:
    if bench.passing.ndim != 2 or bench.passing.shape[0] == 0:
        raise NotDeterminable("Each bench needs at least one run of the sample.")
    if bench.passing.shape[1] != nominal.size or bench.measured_um.shape != bench.passing.shape:
        raise Impossible("Both benches must have a passing at each aperture compared.")


def _sieve_shift(nominal: FloatArray, bench: BenchRuns) -> FloatArray:
    """Percentage points that a bench's passing is high by, because of its apertures."""
    shifts = []
    for passing, measured in zip(bench.passing, bench.measured_um, strict=True):
        known = np.isfinite(measured)
        real = np.where(known, measured, nominal)
        shift = 100 * (passing - passing_at_nominal(nominal, real, passing).passing)
        shifts.append(np.where(known, shift, nan))
    return np.asarray(np.mean(shifts, axis=0))


def _division(first: BenchRuns, second: BenchRuns) -> FloatArray:
    from scipy.special import stdtrit

    counts = [bench.passing.shape[0] for bench in (first, second)]
    freedom = sum(counts) - 2
    if freedom < 1:
        return np.full(first.passing.shape[1], nan)
    squares = sum(
        ((100 * (bench.passing - bench.passing.mean(axis=0))) ** 2).sum(axis=0)
        for bench in (first, second)
    )
    t = float(stdtrit(freedom, (1 + CONFIDENCE) / 2))
    return np.asarray(t * np.sqrt(squares / freedom) * sqrt(sum(1 / count for count in counts)))


def _rest(rest: float, division: float) -> Rest:
    if np.isnan(division):
        return Rest.NOT_KNOWN
    return Rest.WITHIN if abs(rest) <= division + 1e-9 else Rest.NOT_EXPLAINED
