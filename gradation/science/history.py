"""What a material usually looks like, by robust statistics, and runs that do not.

Public: `Recorded`, `History`, `history_of`, `no_history`, `Unlike`, `unlike_history`. The mistakes
that could explain an unusual run are in `plausibility`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.errors import Impossible, OutOfRange
from gradation.science.propagation import FloatArray

# Median absolute deviation to standard deviation of a normal: 1 / Phi^-1(3/4), exact value.
_MAD_TO_SD = 1.482602218505602
# Fewer runs say nothing about spread: the median deviation of 8 values is still off by a quarter.
FEWEST_RUNS = 8
# The least spread believed, so that eight lucky runs do not make every later one suspicious.
# Tuned on the development seeds of tests/load/fingerprint_rates.py, common practice otherwise.
_LEAST_ROOT = 0.003
_LEAST_PASSING = 0.003
_LEAST_LOSS = 0.0005
_LEAST_WASH = 0.001
_LEAST_TARE_G = 0.05
# Weight of the pooled spread beside a row's own, in runs.
_POOLED_RUNS = 6.0


@dataclass(frozen=True)
class Recorded:
    """Masses as recorded, net: one run, or several of one nest (leading axes ...)."""

    apertures_um: FloatArray
    masses_g: FloatArray
    dry_mass_g: FloatArray
    washed_dry_mass_g: FloatArray | None = None
    tares_g: FloatArray | None = None
    resolution_g: float = 0.1

    @property
    def washed_g(self) -> FloatArray:
        """Give the mass shaken: after washing where there was a wash, (...)."""
        return self.dry_mass_g if self.washed_dry_mass_g is None else self.washed_dry_mass_g

    @property
    def passing(self) -> FloatArray:
        """Give passing on the initial dry mass, (..., n)."""
        cumulative = np.cumsum(self.masses_g[..., :-1], axis=-1)
        return np.asarray(1.0 - cumulative / self.dry_mass_g[..., None], dtype=np.float64)


@dataclass(frozen=True)
class Spread:
    """A usual value with its usual spread; an infinite spread says nothing is known."""

    centre: FloatArray
    scale: FloatArray

    def z(self, values: FloatArray) -> FloatArray:
        """Give how far values lie from the usual one, in usual spreads."""
        return np.asarray((values - self.centre) / self.scale, dtype=np.float64)


@dataclass(frozen=True)
class History:
    """What a material's accepted runs on one nest usually give."""

    runs: int
    root: Spread
    passing: Spread
    loss: Spread
    wash: Spread
    tare: Spread


@dataclass(frozen=True)
class Unlike:
    """Runs compared with the history: robust z of each passing value, and which stand out."""

    z: FloatArray
    is_unlike: NDArray[np.bool_]

    @property
    def row(self) -> NDArray[np.intp]:
        """Give the row that stands out most, coarse to fine, (...)."""
        return np.asarray(np.argmax(np.abs(self.z), axis=-1), dtype=np.intp)


def root_shares(recorded: Recorded) -> FloatArray:
    """Give the square roots of the shares retained, on which spread is about the same everywhere.

    Parameters
    ----------
    recorded : Recorded
        one run or several

    Returns
    -------
    ndarray, (..., n+1)
        root of mass over initial dry mass, pan last [pure number]; negative masses count as 0

    Raises
    ------
    Nothing.

    Notes
    -----
    Counts and shares have a variance proportional to themselves; their root has not.

    References
    ----------
    Variance-stabilising transformation: M. S. Bartlett, Supplement to the Journal of the Royal
    Statistical Society 3 (1936) 68.

    Examples
    --------
    >>> run = Recorded(np.array([500.0]), np.array([25.0, 75.0]), np.array(100.0))
    >>> root_shares(run).round(3).tolist()
    [0.5, 0.866]
    """
    shares = recorded.masses_g / recorded.dry_mass_g[..., None]
    return np.asarray(np.sqrt(np.maximum(shares, 0.0)), dtype=np.float64)


def loss_share(recorded: Recorded) -> FloatArray:
    """Give the sieving loss as a share of the mass shaken.

    Parameters
    ----------
    recorded : Recorded
        one run or several

    Returns
    -------
    ndarray, (...)
        loss, positive when mass is missing [pure number]

    Raises
    ------
    Nothing.

    Notes
    -----
    (shaken - sum of fractions) / shaken.

    References
    ----------
    As `gradation.gradation`.

    Examples
    --------
    >>> loss_share(Recorded(np.array([500.0]), np.array([25.0, 74.0]), np.array(100.0))).item()
    0.01
    """
    shaken = recorded.washed_g
    return np.asarray((shaken - recorded.masses_g.sum(axis=-1)) / shaken, dtype=np.float64)


def wash_share(recorded: Recorded) -> FloatArray:
    """Give the mass washed out as a share of the initial dry mass.

    Parameters
    ----------
    recorded : Recorded
        one run or several

    Returns
    -------
    ndarray, (...)
        wash loss [pure number]; 0 for runs without a mass after washing

    Raises
    ------
    Nothing.

    Notes
    -----
    (dry before - dry after) / dry before.

    References
    ----------
    As `gradation.gradation`.

    Examples
    --------
    >>> washed = np.array(96.0)
    >>> run = Recorded(np.array([500.0]), np.array([25.0, 71.0]), np.array(100.0), washed)
    >>> round(wash_share(run).item(), 9)
    0.04
    """
    return np.asarray(1.0 - recorded.washed_g / recorded.dry_mass_g, dtype=np.float64)


def _spread(values: FloatArray, least: float, pooled: bool = True) -> Spread:
    """Give median and robust spread over the runs (first axis)."""
    centre = np.median(values, axis=0)
    scale = _MAD_TO_SD * np.median(np.abs(values - centre), axis=0)
    if pooled and scale.size > 1:
        runs = values.shape[0]
        common = np.median(scale)
        scale = np.sqrt((runs * scale**2 + _POOLED_RUNS * common**2) / (runs + _POOLED_RUNS))
    return Spread(np.asarray(centre), np.asarray(np.maximum(scale, least)))


def _unknown(*shape: int) -> Spread:
    return Spread(np.zeros(shape), np.full(shape, np.inf))


def history_of(recorded: Recorded) -> History:
    """Give what a material usually looks like, from its accepted runs.

    Parameters
    ----------
    recorded : Recorded
        r runs of one material on one nest, r >= 8, masses (r, n+1) [g]

    Returns
    -------
    History
        medians and robust spreads of retained (as roots), passing, loss, wash loss and tares

    Raises
    ------
    OutOfRange
        with fewer than eight runs
    Impossible
        when a mass is missing or a dry mass is not above zero

    Notes
    -----
    Median and 1.4826 x median absolute deviation, so that a few bad runs in the history do no
    harm. Each row's spread is drawn towards that of all rows with the weight of six runs, and never
    below what weighing and dividing always leave. Without washed masses the wash loss is unknown.

    References
    ----------
    Median and median absolute deviation: ISO 13528:2015, annex C.2. The pooling is ours.

    Examples
    --------
    >>> masses = np.array([[20.0 + k % 3, 80.0 - k % 3] for k in range(9)])
    >>> usual = history_of(Recorded(np.array([500.0]), masses, np.full(9, 100.0)))
    >>> usual.runs, usual.passing.centre.round(2).tolist(), usual.passing.scale.round(4).tolist()
    (9, [0.79], [0.0148])
    """
    runs = recorded.masses_g.shape[0] if recorded.masses_g.ndim == 2 else 1
    if runs < FEWEST_RUNS:
        raise OutOfRange(f"At least {FEWEST_RUNS} accepted runs are needed to know what is usual.")
    if not (np.all(np.isfinite(recorded.masses_g)) and np.all(recorded.dry_mass_g > 0)):
        raise Impossible("The history holds a run with a missing mass. Leave that run out.")
    rows = recorded.masses_g.shape[-1]
    washed = recorded.washed_dry_mass_g is not None
    tares = recorded.tares_g
    return History(
        runs,
        _spread(root_shares(recorded), _LEAST_ROOT),
        _spread(recorded.passing, _LEAST_PASSING),
        _spread(loss_share(recorded), _LEAST_LOSS),
        _spread(wash_share(recorded), _LEAST_WASH) if washed else _unknown(),
        _unknown(rows) if tares is None else _spread(tares, _LEAST_TARE_G, pooled=False),
    )


def no_history(sieves: int, loss_tolerance: float) -> History:
    """Give what is expected of a material without a history: only that mass is not lost.

    Parameters
    ----------
    sieves : int
        number of sieves n [pure number]
    loss_tolerance : float
        the procedure's tolerance on the loss, as a share, > 0

    Returns
    -------
    History
        no expectation of shape, wash or tare; a loss about zero, spread a third of the tolerance

    Raises
    ------
    OutOfRange
        when the tolerance is not above zero

    Notes
    -----
    A tolerance is taken as three spreads (common practice).

    References
    ----------
    The procedure's own tolerance.

    Examples
    --------
    >>> round(no_history(5, 0.003).loss.scale.item(), 6)
    0.001
    """
    if not loss_tolerance > 0:
        raise OutOfRange("The tolerance on the loss must be above zero.")
    loss = Spread(np.zeros(()), np.array(loss_tolerance / 3.0))
    rows = sieves + 1
    return History(0, _unknown(rows), _unknown(sieves), loss, _unknown(), _unknown(rows))


def unlike_history(passing: ArrayLike, history: History, limit: float = 5.5) -> Unlike:
    """Give how far runs lie from what their material usually gives.

    Parameters
    ----------
    passing : array_like, (..., n)
        passing on the initial dry mass, 0 to 1
    history : History
        what is usual
    limit : float, optional
        robust z beyond which a run stands out, > 0 [pure number]

    Returns
    -------
    Unlike
        z (..., n) and whether any exceeds the limit (...)

    Raises
    ------
    OutOfRange
        when the limit is not above zero

    Notes
    -----
    z = (passing - median) / robust spread. A warning to look, not a verdict: material changes. The
    limit is wide because spreads from a few dozen runs are themselves uncertain and a nest has many
    points; tests/load/fingerprint_rates.py prints the rate of false alarms.

    References
    ----------
    Robust z-scores: ISO 13528:2015, 9.4. The limit is ours.

    Examples
    --------
    >>> masses = np.array([[20.0 + k % 3, 80.0 - k % 3] for k in range(9)])
    >>> usual = history_of(Recorded(np.array([500.0]), masses, np.full(9, 100.0)))
    >>> unlike_history([[0.80], [0.60]], usual).is_unlike.tolist()
    [False, True]
    """
    if not limit > 0:
        raise OutOfRange("The limit for standing out must be above zero.")
    z = history.passing.z(np.asarray(passing, dtype=np.float64))
    return Unlike(z, np.asarray((np.abs(z) > limit).any(axis=-1), dtype=np.bool_))
