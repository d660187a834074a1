"""The linear programme behind `blend`: its data, how it is set up and solved."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gradation.science.apertures import designation
from gradation.science.errors import Impossible, NotDeterminable

FloatArray = NDArray[np.float64]

NOISE = 1e-7  # feasibility tolerance of the solver, as share passing
RIDGE = 1e-6  # shifts a share by some 1e-12, far below any weighing


@dataclass(frozen=True, slots=True)
class Stockpile:
    """One material to blend.

    Parameters
    ----------
    name : str
        its name in the sentences
    passing : tuple of float
        share passing at each aperture, coarse to fine, 0 to 1
    share_min, share_max : float
        bounds of its share of the blend, 0 to 1
    """

    name: str
    passing: tuple[float, ...]
    share_min: float = 0.0
    share_max: float = 1.0


@dataclass(frozen=True, slots=True)
class BlendLimits:
    """Envelope of the blend.

    Parameters
    ----------
    apertures_um : tuple of float
        apertures [um], coarse to fine
    lower, upper : tuple of (float or None)
        least and largest share passing at each; None where there is no limit
    """

    apertures_um: tuple[float, ...]
    lower: tuple[float | None, ...]
    upper: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Binding:
    """A limit that holds the blend back, in words.

    Parameters
    ----------
    aperture_um : float | None
        aperture of the limit; None for a bound of a share
    limit : float
        share passing, or share of the stockpile
    sentence : str
        the limit as it is read
    """

    aperture_um: float | None
    limit: float
    sentence: str


@dataclass(frozen=True, slots=True)
class Problem:
    """Rows `A s <= b` of the envelope, with who they are; bounds of the shares beside them."""

    stockpiles: tuple[Stockpile, ...]
    passing: FloatArray
    rows: FloatArray
    bounds: FloatArray
    rigid: NDArray[np.bool_]
    bindings: tuple[Binding, ...]
    share_bounds: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Optimum:
    """Solution of one linear programme.

    Parameters
    ----------
    shares : ndarray, (k,)
        shares, tidied: none below 0, adding to 1
    slack : float
        the variable beside the shares; nan when there was none
    limit_prices, low_prices, high_prices : ndarray
        marginals of the envelope's rows and of the bounds of the shares
    """

    shares: FloatArray
    slack: float
    limit_prices: FloatArray
    low_prices: FloatArray
    high_prices: FloatArray


def make_problem(stockpiles: Sequence[Stockpile], limits: BlendLimits) -> Problem:
    """Rows of the linear programme of an envelope.

    Parameters
    ----------
    stockpiles : sequence of Stockpile
        materials with the bounds of their shares
    limits : BlendLimits
        envelope

    Returns
    -------
    Problem
        one row for each limit that could be broken

    Raises
    ------
    Impossible
        for gradations, limits or bounds that cannot be

    Notes
    -----
    Rows read ``A s <= b``; a lower limit is turned about. Limits at or beyond 0 and 100 %
    on the open side give no row; a row is rigid when its line can be met only exactly.

    References
    ----------
    D.-Y. Lee (1973), Highway Research Record 441.

    Examples
    --------
    >>> coarse, fine = Stockpile("Coarse", (1.0, 0.3)), Stockpile("Fine", (1.0, 0.9))
    >>> band = BlendLimits((9500, 4750), (None, 0.45), (None, 0.75))
    >>> problem = make_problem([coarse, fine], band)
    >>> problem.bounds.tolist(), problem.rigid.tolist()
    ([-0.45, 0.75], [False, False])
    """
    _check_stockpiles(stockpiles, limits)
    passing = np.array([pile.passing for pile in stockpiles], dtype=np.float64)
    rows, bounds, rigid, bindings = [], [], [], []
    for j, (lower, upper) in enumerate(zip(limits.lower, limits.upper, strict=True)):
        exact = lower is not None and (lower >= 1 or (upper is not None and upper <= lower))
        for limit, side in ((lower, -1.0), (upper, 1.0)):
            if limit is None or (side < 0 and limit <= 0) or (side > 0 and limit >= 1):
                continue
            rows.append(side * passing[:, j])
            bounds.append(side * limit)
            rigid.append(exact)
            bindings.append(_line(limits.apertures_um[j], limit, side))
    return Problem(
        stockpiles=tuple(stockpiles),
        passing=passing,
        rows=np.array(rows, dtype=np.float64).reshape(len(rows), len(stockpiles)),
        bounds=np.array(bounds, dtype=np.float64),
        rigid=np.array(rigid, dtype=np.bool_),
        bindings=tuple(bindings),
        share_bounds=tuple((pile.share_min, pile.share_max) for pile in stockpiles),
    )


def _check_stockpiles(stockpiles: Sequence[Stockpile], limits: BlendLimits) -> None:
    n = len(limits.apertures_um)
    if not stockpiles or n == 0:
        raise Impossible("A blend needs at least one stockpile and one aperture.")
    if len(limits.lower) != n or len(limits.upper) != n:
        raise Impossible("The envelope needs a lower and an upper entry at each aperture.")
    for pile in stockpiles:
        _check_stockpile(pile, n)
    for aperture, lower, upper in zip(limits.apertures_um, limits.lower, limits.upper, strict=True):
        if lower is not None and upper is not None and lower > upper:
            raise Impossible(
                f"At {designation(aperture)} the lower limit lies above the upper limit; look at "
                "the specification."
            )
    if sum(pile.share_min for pile in stockpiles) > 1 + NOISE:
        raise Impossible("The least shares of the stockpiles add to more than 100 %; lower them.")
    if sum(pile.share_max for pile in stockpiles) < 1 - NOISE:
        raise Impossible("The largest shares of the stockpiles add to less than 100 %; raise them.")


def _check_stockpile(pile: Stockpile, apertures: int) -> None:
    if len(pile.passing) != apertures:
        raise Impossible(
            f"{pile.name} has {len(pile.passing)} values for {apertures} apertures of the envelope."
        )
    if not all(0 <= value <= 1 for value in pile.passing):
        raise Impossible(f"{pile.name} has a passing outside 0 to 100 %.")
    if not 0 <= pile.share_min <= pile.share_max <= 1:
        raise Impossible(
            f"The bounds of the share of {pile.name} are crossed or outside 0 to 100 %."
        )


def best_share(problem: Problem, goal: FloatArray) -> Optimum:
    """Shares within the envelope with the least weighted sum.

    Parameters
    ----------
    problem : Problem
        what `make_problem` gave
    goal : ndarray, (k,)
        weight of each share

    Returns
    -------
    Optimum
        shares and the price of every limit

    Raises
    ------
    NotDeterminable
        when the solver gives up

    Notes
    -----
    Least ``goal . s`` with ``A s <= b``, ``sum(s) = 1`` and bounds on ``s``.

    References
    ----------
    D.-Y. Lee (1973), Highway Research Record 441.

    Examples
    --------
    >>> coarse, fine = Stockpile("Coarse", (1.0, 0.3)), Stockpile("Fine", (1.0, 0.9))
    >>> band = BlendLimits((9500, 4750), (None, 0.45), (None, 0.75))
    >>> problem = make_problem([coarse, fine], band)
    >>> best_share(problem, np.array([1.0, 0.0])).shares.round(4).tolist()
    [0.25, 0.75]
    """
    return _solve(problem, goal, np.zeros((problem.bounds.size, 0)), [])


def largest_slack(problem: Problem, loosened: FloatArray, largest: float) -> Optimum:
    """Shares with the largest distance to a set of rows.

    Parameters
    ----------
    problem : Problem
        what `make_problem` gave
    loosened : ndarray, (rows,)
        1 for rows that take part, 0 for rows kept as they are
    largest : float
        distance beyond which there is no need to go

    Returns
    -------
    Optimum
        shares, the distance `slack`, and the price of every limit

    Raises
    ------
    NotDeterminable
        when the solver gives up

    Notes
    -----
    Largest ``t`` with ``A s + t <= b`` in the rows marked. Negative when they cannot all be
    kept: by how much each must give way.

    References
    ----------
    D.-Y. Lee (1973), Highway Research Record 441.

    Examples
    --------
    >>> coarse, fine = Stockpile("Coarse", (1.0, 0.3)), Stockpile("Fine", (1.0, 0.9))
    >>> band = BlendLimits((9500, 4750), (None, 0.45), (None, 0.75))
    >>> problem = make_problem([coarse, fine], band)
    >>> round(largest_slack(problem, np.ones(2), 1.0).slack, 4)
    0.15
    """
    cost = np.append(np.zeros(len(problem.stockpiles)), -1.0)
    return _solve(problem, cost, loosened[:, np.newaxis], [(-2.0, largest)])


def least_largest_departure(problem: Problem, aimed: FloatArray) -> FloatArray:
    """Shares within the envelope whose largest departure from a target is least.

    Parameters
    ----------
    problem : Problem
        what `make_problem` gave
    aimed : ndarray, (n,)
        share passing aimed at; nan where none is

    Returns
    -------
    ndarray, (k,)
        shares

    Raises
    ------
    NotDeterminable
        when the solver gives up

    Notes
    -----
    Least ``d`` with ``-d <= sum(s_i P_ij) - T_j <= d`` and the rows of the envelope.

    References
    ----------
    D.-Y. Lee (1973), Highway Research Record 441.

    Examples
    --------
    >>> coarse, fine = Stockpile("Coarse", (1.0, 0.3)), Stockpile("Fine", (1.0, 0.9))
    >>> band = BlendLimits((9500, 4750), (None, 0.45), (None, 0.75))
    >>> problem = make_problem([coarse, fine], band)
    >>> least_largest_departure(problem, np.array([1.0, 0.6])).round(4).tolist()
    [0.5, 0.5]
    """
    wanted = ~np.isnan(aimed)
    columns, goals = problem.passing[:, wanted].T, aimed[wanted]
    rows = np.vstack([columns, -columns, problem.rows])
    slack = np.append(np.full(2 * goals.size, -1.0), np.zeros(problem.bounds.size))
    bounds = np.concatenate([goals, -goals, problem.bounds])
    wider = replace(problem, rows=rows, bounds=bounds)
    cost = np.append(np.zeros(len(problem.stockpiles)), 1.0)
    return _solve(wider, cost, slack[:, np.newaxis], [(0.0, 1.0)]).shares


def least_squares(problem: Problem, aimed: FloatArray) -> FloatArray:
    """Shares within the envelope with the least sum of squared departures from a target.

    Parameters
    ----------
    problem : Problem
        what `make_problem` gave
    aimed : ndarray, (n,)
        share passing aimed at; nan where none is

    Returns
    -------
    ndarray, (k,)
        shares

    Raises
    ------
    NotDeterminable
        when the solver gives up

    Notes
    -----
    ``min sum((sum(s_i P_ij) - T_j)^2)``: convex, solved exactly by the method of least
    distance. Where several blends are equally near, the most even shares.

    References
    ----------
    Lawson and Hanson, Solving Least Squares Problems (1974), chapter 23.

    Examples
    --------
    >>> coarse, fine = Stockpile("Coarse", (1.0, 0.3)), Stockpile("Fine", (1.0, 0.9))
    >>> band = BlendLimits((9500, 4750), (None, 0.45), (None, 0.75))
    >>> problem = make_problem([coarse, fine], band)
    >>> least_squares(problem, np.array([1.0, 0.6])).round(4).tolist()
    [0.5, 0.5]
    """
    k = len(problem.stockpiles)
    even = np.full(k, 1 / k)
    if k == 1:
        return even
    # shares adding to 1 are 1/k each plus any move in the directions that keep the sum
    moves = np.linalg.svd(np.ones((1, k)))[2][1:].T
    wanted = ~np.isnan(aimed)
    columns = problem.passing[:, wanted].T
    low, high = np.array(problem.share_bounds).T
    rows = np.vstack([problem.rows, np.eye(k), -np.eye(k)])
    room = np.concatenate([problem.bounds, high, -low]) + NOISE - rows @ even
    away = aimed[wanted] - columns @ even
    return _tidied(even + moves @ _least_squares_within(columns @ moves, away, rows @ moves, room))


def _least_squares_within(C: FloatArray, d: FloatArray, A: FloatArray, b: FloatArray) -> FloatArray:
    """Least ``|C x - d|`` with ``A x <= b``, by way of the least distance to a polyhedron.

    Lawson and Hanson, Solving Least Squares Problems (1974), chapter 23: with ``C = QR`` and
    ``z = R x - Q'd`` it is the shortest ``z`` with ``G z >= h``, found by non-negative least
    squares. A trace of ridge makes ``R`` invertible and the answer the shortest of equals.
    """
    from scipy.optimize import nnls

    n = C.shape[1]
    Q, R = np.linalg.qr(np.vstack([C, RIDGE * np.eye(n)]))
    shifted = Q.T @ np.append(d, np.zeros(n))
    G = -np.linalg.solve(R.T, A.T).T
    h = -b - G @ shifted
    stacked = np.vstack([G.T, h])
    unit = np.append(np.zeros(n), 1.0)
    weights, _ = nnls(stacked, unit)
    residual = stacked @ weights - unit
    return np.asarray(np.linalg.solve(R, shifted - residual[:-1] / residual[-1]))


def _tidied(shares: Iterable[float]) -> FloatArray:
    """Shares without the solver's noise: none below 0, adding to 1."""
    parts = np.clip(np.asarray(list(shares), dtype=np.float64), 0.0, 1.0)
    return np.asarray(parts / parts.sum())


def bindings_of(problem: Problem, optimum: Optimum) -> tuple[Binding, ...]:
    """Limits that hold an optimum where it is.

    Parameters
    ----------
    problem : Problem
        what `make_problem` gave
    optimum : Optimum
        a solution of it

    Returns
    -------
    tuple of Binding
        limits of the envelope, then bounds of shares

    Raises
    ------
    ValueError
        when the optimum belongs to another problem

    Notes
    -----
    A limit binds when it has a price: moving it would move the result. Shares that cannot go
    below nothing or above everything are not named, nor is a limit kept on which all stockpiles
    pass alike: no share has anything to do with it, and its price means nothing.

    References
    ----------
    D.-Y. Lee (1973), Highway Research Record 441.

    Examples
    --------
    >>> coarse, fine = Stockpile("Coarse", (1.0, 0.3)), Stockpile("Fine", (1.0, 0.9))
    >>> band = BlendLimits((9500, 4750), (None, 0.45), (None, 0.75))
    >>> problem = make_problem([coarse, fine], band)
    >>> [b.sentence for b in bindings_of(problem, best_share(problem, np.array([1.0, 0.0])))]
    ['at most 75 % passing 4.75 mm']
    """
    alike = np.ptp(problem.rows, axis=1) <= NOISE
    kept = problem.rows @ optimum.shares <= problem.bounds + NOISE
    priced = (np.abs(optimum.limit_prices) > NOISE) & ~(alike & kept)
    held = [binding for binding, dear in zip(problem.bindings, priced, strict=True) if dear]
    for pile, low, high in zip(
        problem.stockpiles, optimum.low_prices, optimum.high_prices, strict=True
    ):
        if abs(low) > NOISE and pile.share_min > 0:
            held.append(_share_bound(pile, pile.share_min, "at least"))
        if abs(high) > NOISE and pile.share_max < 1:
            held.append(_share_bound(pile, pile.share_max, "at most"))
    return tuple(held)


def _solve(
    problem: Problem,
    cost: FloatArray,
    extra: FloatArray,
    extra_bounds: Sequence[tuple[float, float]],
) -> Optimum:
    from scipy.optimize import linprog

    k = len(problem.stockpiles)
    sums = np.append(np.ones((1, k)), np.zeros((1, extra.shape[1])), axis=1)
    solved = linprog(
        cost,
        A_ub=np.hstack([problem.rows, extra]),
        b_ub=problem.bounds,
        A_eq=sums,
        b_eq=[1.0],
        bounds=[*problem.share_bounds, *extra_bounds],
        method="highs",
    )
    if solved.x is None:
        raise NotDeterminable(f"The search for shares did not settle: {solved.message}")
    return Optimum(
        shares=_tidied(solved.x[:k]),
        slack=float(solved.x[k]) if extra_bounds else float("nan"),
        limit_prices=np.asarray(solved.ineqlin.marginals, dtype=np.float64),
        low_prices=np.asarray(solved.lower.marginals[:k], dtype=np.float64),
        high_prices=np.asarray(solved.upper.marginals[:k], dtype=np.float64),
    )


def _share_bound(pile: Stockpile, limit: float, words: str) -> Binding:
    return Binding(None, limit, f"{words} {100 * limit:g} % of {pile.name}")


def _line(aperture_um: float, limit: float, side: float) -> Binding:
    words = "at most" if side > 0 else "at least"
    sentence = f"{words} {100 * limit:g} % passing {designation(aperture_um)}"
    return Binding(aperture_um, limit, sentence)
