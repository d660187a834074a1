"""Whether one sieve gives other results than its sisters on the same materials.

Public: `Compared`, `Departure`, `departure`. Robust throughout: a few odd runs neither make a
sieve suspect nor hide that it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import erfc, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.propagation import FloatArray

MAD_FACTOR = 1.483  # ISO 13528:2015, clause C.2.2: 1 / 0.6745
U_FACTOR = 1.25  # ISO 13528:2015, equation 6: uncertainty of a robust mean
LEAST_OWN = 5  # runs of the sieve itself, and of its sisters on one material; ours


@dataclass(frozen=True, slots=True)
class Compared:
    """Results of one material: those of the sieve looked at, and those of its sisters."""

    own: ArrayLike
    sisters: ArrayLike


@dataclass(frozen=True, slots=True)
class Departure:
    """How far a sieve lies from its sisters over all materials they share.

    Parameters
    ----------
    own_runs, sister_runs : int
        runs compared
    materials : int
        materials with enough runs on either side
    median_difference : float
        median of own result minus the sisters' median of that material [unit of the results]
    standard : float
        standard uncertainty of that median [the same unit]
    z : float
        median difference over its uncertainty; infinite when nothing scatters
    p : float
        chance of a |z| at least as large if the sieve were like its sisters, 0 to 1
    """

    own_runs: int
    sister_runs: int
    materials: int
    median_difference: float
    standard: float
    z: float
    p: float


def departure(materials: Sequence[Compared], least_runs: int = LEAST_OWN) -> Departure:
    """Give how far one sieve's results lie from its sisters' on the same materials.

    Parameters
    ----------
    materials : sequence of Compared
        results (m,) and (k,) of each material, such as passing [%]
    least_runs : int, optional
        fewest runs of the sieve in all, and of its sisters on a material, >= 2; a material with
        fewer sister runs is left out

    Returns
    -------
    Departure
        counts, median difference with its standard uncertainty, z and p

    Raises
    ------
    NotDeterminable
        when too few runs are left to compare, or a result is not a number
    OutOfRange
        when fewer than two runs are asked for

    Notes
    -----
    With c_j the median of the sisters' N_j results on material j, each own result on it departs by
    d = x - c_j; the n departures of all materials give the median d*. Spreads s are 1.483 times
    the median absolute deviation, or sqrt(pi/2) times the mean one where more than half agree.
    u^2 = (1.25 s_d)^2 / n + sum (n_j/n)^2 (1.25 s_j)^2 / N_j, z = d* / u,
    p = erfc(|z| / sqrt(2)): the normal approximation, too bold for a dozen runs or fewer. Looking
    at many sieves at once needs a smaller p. Materials change over time: sieves used in
    different seasons differ for that reason too.

    References
    ----------
    ISO 13528:2015, C.2.2 (scaled median absolute deviation) and equation 6 (its uncertainty).

    Examples
    --------
    >>> sand = Compared(own=[52, 53, 54, 55, 56], sisters=[48, 49, 50, 51, 52])
    >>> found = departure([sand])
    >>> found.median_difference, round(found.z, 2), round(found.p, 4)
    (4.0, 3.41, 0.0006)
    """
    if least_runs < 2:
        raise OutOfRange("A comparison needs two runs or more on either side.")
    pairs = [_pair(each) for each in materials]
    kept = [(own, sisters) for own, sisters in pairs if own.size and sisters.size >= least_runs]
    count = sum(own.size for own, _ in kept)
    if count < least_runs:
        raise NotDeterminable(
            f"Too few runs to compare: {count} of this sieve on materials that its sisters sieved "
            f"{least_runs} times or more; at least {least_runs} are needed."
        )
    differences = np.concatenate([own - np.median(sisters) for own, sisters in kept])
    variance = _variance(differences) + sum(
        (own.size / count) ** 2 * _variance(sisters) for own, sisters in kept
    )
    middle, u = float(np.median(differences)), sqrt(variance)
    z = middle / u if u > 0 else float(np.copysign(np.inf, middle)) if middle else 0.0
    return Departure(
        own_runs=count,
        sister_runs=sum(sisters.size for _, sisters in kept),
        materials=len(kept),
        median_difference=middle,
        standard=u,
        z=z,
        p=erfc(abs(z) / sqrt(2)),
    )


def _pair(compared: Compared) -> tuple[FloatArray, FloatArray]:
    own = np.asarray(compared.own, dtype=np.float64).reshape(-1)
    sisters = np.asarray(compared.sisters, dtype=np.float64).reshape(-1)
    if not (np.isfinite(own).all() and np.isfinite(sisters).all()):
        raise NotDeterminable("A result is not a number; complete or leave out that run.")
    return own, sisters


def _variance(values: FloatArray) -> float:
    """Give the variance of the median of some values."""
    away = np.abs(values - np.median(values))
    spread = MAD_FACTOR * float(np.median(away)) or sqrt(pi / 2) * float(away.mean())
    return float((U_FACTOR * spread) ** 2 / values.size)
