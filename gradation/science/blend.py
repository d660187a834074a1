"""Blends of stockpiles: shares that meet an envelope, or come nearest to a target.

Shares and passing run from 0 to 1; every array of passing has the apertures last, coarse to
fine. A stockpile's own gradation is taken as exact: a margin found here is that of the means.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.blend_programme import (
    NOISE,
    Binding,
    BlendLimits,
    FloatArray,
    Optimum,
    Problem,
    Stockpile,
    best_share,
    bindings_of,
    largest_slack,
    least_largest_departure,
    least_squares,
    make_problem,
)
from gradation.science.errors import Impossible, NotDeterminable, UnknownName

__all__ = [
    "Binding",
    "BlendLimits",
    "BlendSolution",
    "Nearness",
    "ShareRange",
    "Stockpile",
    "blend_passing",
    "meet_envelope",
    "nearest_target",
    "share_range",
    "weighted_mean_passing",
]


class Nearness(StrEnum):
    """What 'nearest to the target' means."""

    LARGEST_DEPARTURE = "largest_departure"
    LEAST_SQUARES = "least_squares"


@dataclass(frozen=True, slots=True)
class BlendSolution:
    """Outcome of a search for shares.

    Parameters
    ----------
    exists : bool
        whether a blend meets every limit
    shares : tuple of float
        shares in the order of the stockpiles; empty when none exists
    passing : tuple of float
        share passing of that blend; empty when none exists
    margin : float
        smallest distance to a limit that could be broken; when none exists, by how much the
        best attempt breaks its limits (negative); nan when no such limit was given
    departure : float
        largest distance from the target; nan without a target
    binding : tuple of Binding
        what holds the margin down, or what cannot be met together
    sentence : str
        the outcome in words
    """

    exists: bool
    shares: tuple[float, ...]
    passing: tuple[float, ...]
    margin: float
    departure: float
    binding: tuple[Binding, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class ShareRange:
    """Range of one stockpile's share over all blends that meet the envelope.

    Parameters
    ----------
    exists : bool
        whether any blend meets the envelope
    smallest, largest : float
        the range; nan when none exists
    held_by_smallest, held_by_largest : tuple of Binding
        what ends the range on either side, or what cannot be met together
    """

    exists: bool
    smallest: float
    largest: float
    held_by_smallest: tuple[Binding, ...]
    held_by_largest: tuple[Binding, ...]


def blend_passing(passing: ArrayLike, shares: ArrayLike) -> FloatArray:
    """Share passing of a blend.

    Parameters
    ----------
    passing : array_like, (k, n)
        share passing of k stockpiles at n apertures
    shares : array_like, (..., k)
        shares of the stockpiles, each >= 0, adding to 1; batch axes allowed

    Returns
    -------
    ndarray, (..., n)
        share passing of each blend

    Raises
    ------
    Impossible
        for a share below zero, shares that do not add to 1, or numbers that do not match

    Notes
    -----
    ``P = sum(share_i P_i)`` by mass. Shares may miss 1 by 1e-6, the rounding of a
    percentage typed to four decimals; they are not stretched.

    References
    ----------
    Asphalt Institute MS-2, chapter on blending aggregates; arithmetic of mixtures by mass.

    Examples
    --------
    >>> blend_passing([[1.0, 0.3], [1.0, 0.9]], [0.5, 0.5]).tolist()
    [1.0, 0.6]
    """
    table = np.asarray(passing, dtype=np.float64)
    parts = np.asarray(shares, dtype=np.float64)
    if table.ndim != 2 or parts.ndim == 0 or parts.shape[-1] != table.shape[0]:
        raise Impossible("Each stockpile of the blend needs one share and one gradation.")
    if not np.all(parts >= 0) or not np.all(np.abs(parts.sum(axis=-1) - 1) <= 1e-6):
        raise Impossible("The shares of a blend cannot be negative and must add to 100 %.")
    return np.asarray(parts @ table)


def weighted_mean_passing(masses_g: ArrayLike, passing: ArrayLike) -> FloatArray:
    """Mean gradation of increments, each counting by its mass.

    Parameters
    ----------
    masses_g : array_like, (..., k)
        dry mass of each increment [g], >= 0, not all 0
    passing : array_like, (..., k, n)
        share passing (or percent) of each increment

    Returns
    -------
    ndarray, (..., n)
        mean, as if the increments had been sieved together

    Raises
    ------
    Impossible
        for a negative mass, masses that are all zero, or numbers that do not match

    Notes
    -----
    ``P = sum(m_i P_i) / sum(m_i)``; the plain mean counts a small increment as much as a
    large one.

    References
    ----------
    Conservation of mass: equal to pooling the masses retained before dividing.

    Examples
    --------
    >>> weighted_mean_passing([500.0, 1500.0], [[0.25], [0.75]]).tolist()
    [0.625]
    """
    masses = np.asarray(masses_g, dtype=np.float64)
    table = np.asarray(passing, dtype=np.float64)
    if table.ndim < 2 or masses.ndim == 0 or masses.shape[-1] != table.shape[-2]:
        raise Impossible("Each increment needs one mass and one gradation.")
    total = masses.sum(axis=-1)
    if not np.all(masses >= 0) or not np.all(total > 0):
        raise Impossible("The mass of an increment cannot be negative, nor all of them zero.")
    weights = masses / total[..., np.newaxis]
    return np.asarray(np.einsum("...k,...kn->...n", weights, table))


def meet_envelope(stockpiles: Sequence[Stockpile], limits: BlendLimits) -> BlendSolution:
    """Shares that meet an envelope with the largest smallest margin.

    Parameters
    ----------
    stockpiles : sequence of Stockpile
        materials with the bounds of their shares
    limits : BlendLimits
        envelope

    Returns
    -------
    BlendSolution
        shares, margin and what holds it; or plainly that none exists, and the limits that
        cannot be met together

    Raises
    ------
    Impossible
        for gradations or bounds that cannot be

    Notes
    -----
    Linear programme: largest ``t`` with ``L_j + t <= sum(s_i P_ij) <= U_j - t``,
    ``sum(s_i) = 1``, bounds on ``s_i``. Limits belong to the envelope. No margin is asked of a
    limit nothing can break (at least 0 %, at most 100 %) nor of one met only exactly (100 to
    100 %), for they would pin ``t`` to zero. Whether any blend exists is found first, by
    loosening all limits alike.

    References
    ----------
    D.-Y. Lee (1973), Highway Research Record 441 (blending as a linear programme).

    Examples
    --------
    >>> coarse = Stockpile("Coarse", (1.0, 0.3, 0.0))
    >>> fine = Stockpile("Fine", (1.0, 1.0, 0.1))
    >>> band = BlendLimits((9500, 4750, 75), (1.0, 0.55, 0.02), (1.0, 0.75, 0.08))
    >>> found = meet_envelope([coarse, fine], band)
    >>> [round(share, 3) for share in found.shares], round(found.margin, 3)
    ([0.5, 0.5], 0.03)
    """
    problem = make_problem(stockpiles, limits)
    conflict = _conflict(problem)
    if conflict is not None:
        return conflict
    soft = (~problem.rigid).astype(np.float64)
    if not soft.any():
        return _solution(problem, best_share(problem, np.zeros(len(stockpiles))))
    return _solution(problem, largest_slack(problem, soft, largest=1.0))


def nearest_target(
    stockpiles: Sequence[Stockpile],
    target: Sequence[float | None],
    limits: BlendLimits,
    nearness: Nearness = Nearness.LEAST_SQUARES,
) -> BlendSolution:
    """Shares whose blend comes nearest to a target, inside an envelope.

    Parameters
    ----------
    stockpiles : sequence of Stockpile
        materials with the bounds of their shares
    target : sequence of (float or None)
        share passing aimed at, at the apertures of the limits; None where none is aimed at
    limits : BlendLimits
        envelope to stay inside; limits of None for none
    nearness : Nearness
        least sum of squares, or least largest departure

    Returns
    -------
    BlendSolution
        shares, margin to the envelope and departure from the target; or that none exists

    Raises
    ------
    Impossible
        for gradations, bounds or a target that cannot be
    NotDeterminable
        when no target was given

    Notes
    -----
    Squares: ``min sum((sum(s_i P_ij) - T_j)^2)``, a convex problem solved by the method of
    least distance. Largest departure: linear programme ``min d`` with
    ``-d <= sum(s_i P_ij) - T_j <= d``. Both keep the envelope and the bounds.

    References
    ----------
    D.-Y. Lee (1973), Highway Research Record 441; Lawson and Hanson (1974), chapter 23.

    Examples
    --------
    >>> coarse, fine = Stockpile("Coarse", (1.0, 0.3)), Stockpile("Fine", (1.0, 0.9))
    >>> free = BlendLimits((9500, 4750), (None, None), (None, None))
    >>> found = nearest_target([coarse, fine], (1.0, 0.45), free)
    >>> [round(share, 4) for share in found.shares]
    [0.75, 0.25]
    """
    problem = make_problem(stockpiles, limits)
    aimed = _checked_target(target, problem)
    conflict = _conflict(problem)
    if conflict is not None:
        return conflict
    if nearness is Nearness.LARGEST_DEPARTURE:
        shares = least_largest_departure(problem, aimed)
    else:
        shares = least_squares(problem, aimed)
    passing = shares @ problem.passing
    departure = float(np.nanmax(np.abs(passing - aimed)))
    return BlendSolution(
        exists=True,
        shares=tuple(shares.tolist()),
        passing=tuple(passing.tolist()),
        margin=_margin(problem, shares),
        departure=departure,
        binding=(),
        sentence=f"The blend departs from the target by at most {100 * departure:.1f} points.",
    )


def share_range(stockpiles: Sequence[Stockpile], limits: BlendLimits, name: str) -> ShareRange:
    """Range of one stockpile's share over all blends that meet the envelope.

    Parameters
    ----------
    stockpiles : sequence of Stockpile
        materials with the bounds of their shares
    limits : BlendLimits
        envelope
    name : str
        stockpile asked about

    Returns
    -------
    ShareRange
        smallest and largest share, and the limits that end the range

    Raises
    ------
    Impossible
        for gradations or bounds that cannot be
    UnknownName
        when no stockpile has that name

    Notes
    -----
    Two linear programmes, least and largest ``s_i`` within the limits. With three stockpiles
    or more not every share in the range goes with every share of the others.

    References
    ----------
    D.-Y. Lee (1973), Highway Research Record 441.

    Examples
    --------
    >>> coarse, fine = Stockpile("Coarse", (1.0, 0.3)), Stockpile("Fine", (1.0, 0.9))
    >>> band = BlendLimits((9500, 4750), (None, 0.45), (None, 0.75))
    >>> found = share_range([coarse, fine], band, "Coarse")
    >>> round(found.smallest, 4), round(found.largest, 4)
    (0.25, 0.75)
    """
    names = [pile.name for pile in stockpiles]
    if name not in names:
        raise UnknownName(f"No stockpile is called {name!r}. There are: {', '.join(names)}.")
    problem = make_problem(stockpiles, limits)
    conflict = _conflict(problem)
    if conflict is not None:
        return ShareRange(False, np.nan, np.nan, conflict.binding, conflict.binding)
    goal = np.zeros(len(names))
    goal[names.index(name)] = 1.0
    least, most = best_share(problem, goal), best_share(problem, -goal)
    return ShareRange(
        exists=True,
        smallest=float(least.shares @ goal),
        largest=float(most.shares @ goal),
        held_by_smallest=bindings_of(problem, least),
        held_by_largest=bindings_of(problem, most),
    )


def _checked_target(target: Sequence[float | None], problem: Problem) -> FloatArray:
    if len(target) != problem.passing.shape[1]:
        raise Impossible("The target needs an entry at each aperture of the envelope.")
    aimed = np.array([np.nan if value is None else value for value in target], dtype=np.float64)
    if np.all(np.isnan(aimed)):
        raise NotDeterminable("No target was given, so no blend is nearest to it.")
    if np.nanmin(aimed) < 0 or np.nanmax(aimed) > 1:
        raise Impossible("The target has a passing outside 0 to 100 %.")
    return aimed


def _conflict(problem: Problem) -> BlendSolution | None:
    """The outcome 'none exists', or None when some blend meets every limit."""
    tried = largest_slack(problem, np.ones(problem.bounds.size), largest=0.0)
    if tried.slack >= -NOISE:
        return None
    binding = bindings_of(problem, tried)
    together = "; ".join(each.sentence for each in binding)
    sentence = (
        f"No blend of these stockpiles meets the envelope: the best attempt misses by "
        f"{-100 * tried.slack:.1f} points. Not to be met together: {together}."
        f"{_also_missed(problem, tried, binding)}"
    )
    return BlendSolution(False, (), (), tried.slack, np.nan, binding, sentence)


def _also_missed(problem: Problem, tried: Optimum, named: tuple[Binding, ...]) -> str:
    short = problem.rows @ tried.shares - problem.bounds > NOISE
    others = [
        each.sentence
        for each, missed in zip(problem.bindings, short, strict=True)
        if missed and each not in named
    ]
    return f" It also misses: {'; '.join(others)}." if others else ""


def _solution(problem: Problem, optimum: Optimum) -> BlendSolution:
    binding = bindings_of(problem, optimum)
    held = f" Held by: {'; '.join(each.sentence for each in binding)}." if binding else ""
    margin = _margin(problem, optimum.shares)
    reach = "" if np.isnan(margin) else f" with at least {100 * margin:.1f} points to every limit"
    return BlendSolution(
        exists=True,
        shares=tuple(optimum.shares.tolist()),
        passing=tuple((optimum.shares @ problem.passing).tolist()),
        margin=margin,
        departure=np.nan,
        binding=binding,
        sentence=f"The blend meets the envelope{reach}.{held}",
    )


def _margin(problem: Problem, shares: FloatArray) -> float:
    room = problem.bounds - problem.rows @ shares
    soft = room[~problem.rigid]
    return float(soft.min()) if soft.size else float("nan")
