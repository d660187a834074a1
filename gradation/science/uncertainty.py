"""Measurement uncertainty of every passing value of a gradation, with the covariance between them.

Public: `Balance`, `SplitUncertainty`, `Weighings`, `passing_uncertainty`, `counting_covariance`,
`slope_per_um`, `split_uncertainty`. D-values are in `size_uncertainty`, general propagation in
`propagation`. The uncertainty of sampling is not in this budget: the test result speaks for the
portion tested.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.gradation import Basis, Gradation
from gradation.science.propagation import FloatArray, correlation_of


@dataclass(frozen=True)
class Balance:
    """What a balance adds to each reading."""

    readability_g: float
    repeatability_g: float = 0.0
    linearity_g: float = 0.0
    scale_relative: float = 0.0
    calibration_g: float = 0.0

    @property
    def reading_variance(self) -> float:
        """Give the variance of one reading [g^2]; the scale factor, common to all, is apart.

        Readability d and linearity error l are rectangular: d^2/12 and l^2/3 (JCGM 100:2008,
        4.3.7 and F.2.2.1). The standard uncertainty of the calibration is taken as each
        reading's own.
        """
        by_reading = self.readability_g**2 / 12 + self.repeatability_g**2
        return by_reading + self.linearity_g**2 / 3 + self.calibration_g**2


@dataclass(frozen=True)
class SplitUncertainty:
    """Relative standard uncertainty of the factor by which a reduced part was scaled up."""

    below_um: float
    relative: float


@dataclass(frozen=True)
class Weighings:
    """How the masses of a run came about."""

    balance: Balance
    dry_balance: Balance | None = None
    cumulative: bool = False
    increments: int | tuple[int, ...] = 1
    factors: tuple[float, ...] = ()
    splits: tuple[SplitUncertainty, ...] = ()
    starts: tuple[int, ...] = ()
    """Rows at which cumulative masses start anew, as below a split or in the pan."""


@dataclass(frozen=True)
class PassingUncertainty:
    """Passing values with the covariance each independent source gives them."""

    gradation: Gradation
    sources: tuple[str, ...]
    covariances: tuple[FloatArray, ...] = field(repr=False)

    @property
    def covariance(self) -> FloatArray:
        """Give the covariance of the passing values, (..., n, n)."""
        return np.asarray(sum(self.covariances), dtype=np.float64)

    @property
    def standard(self) -> FloatArray:
        """Give the standard uncertainty of each passing value, (..., n), as a share."""
        return root_diagonal(self.covariance)

    @property
    def correlation(self) -> FloatArray:
        """Give the correlation of the passing values, (..., n, n)."""
        return correlation_of(self.covariance)

    def contribution(self, source: str) -> FloatArray:
        """Give the standard uncertainty one source alone would leave, (..., n)."""
        return root_diagonal(self.covariances[self.sources.index(source)])


def split_uncertainty(
    below_um: float, passing_g: float, reduced_g: float, balance: Balance
) -> SplitUncertainty:
    """Give what the weighings of a reduction add to the factor it is scaled up by.

    Parameters
    ----------
    below_um : float
        aperture of the sieve that separated [µm]
    passing_g, reduced_g : float
        mass that passed it, and part of it that was sieved on [g], > 0
    balance : Balance
        the balance both were weighed on

    Returns
    -------
    SplitUncertainty
        relative standard uncertainty of passing / reduced

    Raises
    ------
    OutOfRange
        when a mass is not above zero

    Notes
    -----
    Two readings each, with the tare: (u_F / F)^2 = 2 v (1/P^2 + 1/R^2), v the variance of a
    reading. How fairly the part stands for the whole is not in it: state that on its own.

    References
    ----------
    JCGM 100:2008, 5.1.6 (relative variances of a quotient add).

    Examples
    --------
    >>> round(split_uncertainty(4750, 300.0, 150.0, Balance(0.1)).relative, 6)
    0.000304
    """
    if not (passing_g > 0 and reduced_g > 0):
        raise OutOfRange("The masses of a split must be above zero. Check what was weighed.")
    readings = 2.0 * balance.reading_variance
    relative = float(np.sqrt(readings / passing_g**2 + readings / reduced_g**2))
    return SplitUncertainty(below_um, relative)


def root_diagonal(covariance: FloatArray) -> FloatArray:
    """Give standard uncertainties from a covariance matrix.

    Parameters
    ----------
    covariance : ndarray, (..., m, m)
        covariance [square of the unit]

    Returns
    -------
    ndarray, (..., m)
        standard uncertainties [the unit]

    Raises
    ------
    Nothing.

    Notes
    -----
    The root of the diagonal; binary noise below zero counts as zero, NaN stays NaN.

    References
    ----------
    JCGM 100:2008, 2.3.1 (standard uncertainty as a standard deviation).

    Examples
    --------
    >>> root_diagonal(np.array([[4.0, 1.0], [1.0, 9.0]])).tolist()
    [2.0, 3.0]
    """
    variances = np.diagonal(covariance, axis1=-2, axis2=-1)
    return np.asarray(np.sqrt(np.maximum(variances, 0.0)), dtype=np.float64)


def slope_per_um(apertures_um: ArrayLike, passing: ArrayLike) -> FloatArray:
    """Give how steeply the curve rises at each sieve.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        apertures, coarse to fine [µm], > 0
    passing : array_like, (..., n)
        share finer than each aperture, 0 to 1

    Returns
    -------
    ndarray, (..., n)
        change of passing for a change of aperture [1/µm], >= 0 for a curve that never rises
        towards the fine side

    Raises
    ------
    NotDeterminable
        with a single sieve, since one point has no slope

    Notes
    -----
    dQ3/dx = (dQ3 / d ln x) / x, with dQ3 / d ln x the mean of the slopes to both neighbours,
    weighted by the distance to the other one (second-order difference on unequal steps); at the
    two ends the slope to the only neighbour.

    References
    ----------
    ISO 9276-1 (density as slope of the cumulative distribution; from memory). Weights: quadratic
    through three points, any text on finite differences.

    Examples
    --------
    >>> slope_per_um([400.0, 200.0, 100.0], [0.9, 0.5, 0.1]).round(5).tolist()
    [0.00144, 0.00289, 0.00577]
    """
    apertures = np.asarray(apertures_um, dtype=np.float64)
    shares = np.asarray(passing, dtype=np.float64)
    if apertures.size < 2:
        raise NotDeterminable("One sieve shows no slope of the curve. Use at least two sieves.")
    per_log = np.gradient(shares, np.log(apertures), axis=-1)
    return np.asarray(per_log / apertures, dtype=np.float64)


def counting_covariance(standard: ArrayLike, passing: ArrayLike) -> FloatArray:
    """Give the covariance of passing values that scatter from portion to portion.

    Parameters
    ----------
    standard : array_like, (..., n) or scalar
        repeatability standard deviation of each passing value, as a share, >= 0
    passing : array_like, (..., n)
        share finer than each aperture, 0 to 1, coarse to fine

    Returns
    -------
    ndarray, (..., n, n)
        covariance [pure number]

    Raises
    ------
    OutOfRange
        when a standard deviation is negative

    Notes
    -----
    Correlation of grains counted into classes (multinomial): for x_i > x_j
    r_ij = sqrt(Q_j (1 - Q_i) / (Q_i (1 - Q_j))). Neighbouring points move together, distant ones
    hardly. A passing of exactly 0 or 1 correlates with nothing. With replicate runs at hand, take
    their own sample covariance instead (`numpy.cov`).

    References
    ----------
    Covariance of cumulative multinomial shares, Q_j (1 - Q_i) / N: textbook result on counts
    (the Brownian bridge). That repeatability of sieving follows it is an assumption of ours;
    the s_R of sands growing as sqrt(X (100 - X)) speaks for it: European cross-testing of
    aggregates, particle-size summary (projects.bre.co.uk/aggregate/GAtest).

    Examples
    --------
    >>> counting_covariance([0.01, 0.01], [0.8, 0.5]).round(7).tolist()
    [[0.0001, 5e-05], [5e-05, 0.0001]]
    """
    shares = np.clip(np.asarray(passing, dtype=np.float64), 0.0, 1.0)
    u = np.broadcast_to(np.asarray(standard, dtype=np.float64), shares.shape)
    if np.any(u < 0):
        raise OutOfRange("A repeatability standard deviation cannot be negative.")
    free = (shares > 0) & (shares < 1)
    odds = np.where(free, shares, 0.5) / (1.0 - np.where(free, shares, 0.5))
    root = np.sqrt(odds)
    ratio = root[..., :, None] / root[..., None, :]
    both = free[..., :, None] & free[..., None, :]
    correlation = np.where(both, np.minimum(ratio, 1.0 / ratio), np.eye(shares.shape[-1]))
    return np.asarray(u[..., :, None] * correlation * u[..., None, :], dtype=np.float64)


def passing_uncertainty(
    gradation: Gradation,
    weighings: Weighings,
    *,
    aperture_u_um: ArrayLike = 0.0,
    repeatability: ArrayLike = 0.0,
) -> PassingUncertainty:
    """Give the uncertainty of every passing value of a run, or of many, source by source.

    Parameters
    ----------
    gradation : Gradation
        one run or a batch (leading axes ...), n sieves, effective masses in grams
    weighings : Weighings
        balances, kind of entry, increments and splits behind the masses
    aperture_u_um : array_like, (n,) or scalar, optional
        standard uncertainty of each sieve's aperture from its own check [µm], >= 0
    repeatability : array_like, (..., n, n) or scalar 0, optional
        covariance of passing between portions at one bench [pure number], see
        `counting_covariance`

    Returns
    -------
    PassingUncertainty
        covariance (..., n, n) of each source: 'fraction readings', 'dry mass readings',
        'balance scale', 'splits', 'apertures', 'repeatability'

    Raises
    ------
    OutOfRange
        when an aperture's uncertainty is negative
    NotDeterminable
        when a single sieve has an aperture uncertainty, as its curve has no slope

    Notes
    -----
    u_Q = J u_m J^T over the masses m, with dQ_i/dR_j = -[j <= i]/B (initial dry mass B = M1),
    plus C_i/B where B is the sum of fractions; dQ_i/dM1 = C_i/B. Readings are independent; a
    scale error common to all masses cancels in the shares when one balance weighed them all. The
    aperture adds (slope x u(aperture))^2 to its own point only: with complete sieving a cumulative
    point depends on its own sieve alone. Budgets that already contain a component in the
    repeatability must leave it out elsewhere.

    References
    ----------
    JCGM 100:2008, 5.1.2 and 5.2.2; JCGM 102:2011, 6.2. Sources of a sieving budget: common
    practice.

    Examples
    --------
    500 g on a balance read to 0.1 g, half of it passing:

    >>> from gradation.science.gradation import gradation
    >>> run = gradation([1000, 500], [100.0, 150.0, 250.0], 500.0)
    >>> result = passing_uncertainty(run, Weighings(Balance(0.1)))
    >>> (100 * result.standard).round(4).tolist()
    [0.0083, 0.0122]
    """
    slopes = _mass_slopes(gradation)
    masses = _mass_covariances(gradation, weighings)
    sources = {name: slopes @ u @ np.swapaxes(slopes, -1, -2) for name, u in masses.items()}
    sources["apertures"] = _aperture_covariance(gradation, aperture_u_um)
    sources["repeatability"] = _as_matrix(repeatability, gradation.passing.shape)
    return PassingUncertainty(gradation, tuple(sources), tuple(sources.values()))


def _as_matrix(covariance: ArrayLike, shape: tuple[int, ...]) -> FloatArray:
    given = np.asarray(covariance, dtype=np.float64)
    return np.broadcast_to(given, (*shape, shape[-1]))


def _aperture_covariance(gradation: Gradation, aperture_u_um: ArrayLike) -> FloatArray:
    u = np.broadcast_to(np.asarray(aperture_u_um, dtype=np.float64), gradation.apertures_um.shape)
    if np.any(u < 0):
        raise OutOfRange(
            "The uncertainty of an aperture cannot be negative. Check the sieve's card."
        )
    if not u.any():
        return np.zeros((*gradation.passing.shape, u.size))
    shift = slope_per_um(gradation.apertures_um, gradation.passing) * u
    return np.asarray(shift[..., :, None] ** 2 * np.eye(u.size), dtype=np.float64)


def _masses(gradation: Gradation) -> FloatArray:
    """Lay fractions, pan, dry mass and washed dry mass in one row, (..., n+3); absent ones 0."""
    dry = np.nan_to_num(gradation.dry_mass_g)
    washed = gradation.washed_dry_mass_g
    after = np.zeros_like(dry) if washed is None else np.asarray(washed)
    return np.concatenate([gradation.retained_g, dry[..., None], after[..., None]], axis=-1)


def _mass_slopes(gradation: Gradation) -> FloatArray:
    """Give the slopes of passing by the masses of `_masses`, (..., n, n+3)."""
    count = gradation.apertures_um.size
    share = (gradation.cumulative_retained / gradation.base_g[..., None])[..., None]
    own = -np.tri(count, count + 1) / gradation.base_g[..., None, None]
    none = np.zeros_like(share)
    if gradation.basis is Basis.INITIAL_DRY:
        return np.concatenate([own, share, none], axis=-1)
    washed = share if gradation.washed_dry_mass_g is not None else none
    return np.concatenate([own + share, washed, -washed], axis=-1)


def _mass_covariances(gradation: Gradation, weighings: Weighings) -> dict[str, FloatArray]:
    masses = _masses(gradation)
    dry_balance = weighings.dry_balance or weighings.balance
    present = masses[..., -2:] > 0
    fractions = np.zeros((masses.shape[-1],) * 2)
    fractions[:-2, :-2] = _fraction_covariance(masses.shape[-1] - 2, weighings)
    dry = np.zeros_like(masses)
    dry[..., -2:] = 2.0 * dry_balance.reading_variance * present
    return {
        "fraction readings": fractions,
        "dry mass readings": dry[..., :, None] * np.eye(masses.shape[-1]),
        "balance scale": _scale_covariance(masses, weighings),
        "splits": _split_covariance(gradation, masses, weighings.splits),
    }


def _fraction_covariance(count: int, weighings: Weighings) -> FloatArray:
    """Give the covariance of the fractions from their readings: each net mass needs two."""
    variance = weighings.balance.reading_variance
    if weighings.cumulative:
        # One receiver, tared once: its tare reading is common and drops out of all differences.
        begins = np.isin(np.arange(count), weighings.starts)
        series = begins.cumsum()
        readings = variance * (np.eye(count) + (series[:, None] == series))
        difference = np.eye(count) - np.where(begins, 0.0, 1.0)[:, None] * np.eye(count, k=-1)
        own = difference @ readings @ difference.T
    else:
        increments = np.broadcast_to(np.asarray(weighings.increments, dtype=np.float64), count)
        own = np.diag(2.0 * variance * increments)
    factors = np.asarray(weighings.factors or np.ones(count), dtype=np.float64)
    return np.asarray(factors[:, None] * own * factors[None, :], dtype=np.float64)


def _scale_covariance(masses: FloatArray, weighings: Weighings) -> FloatArray:
    """Give the covariance from the balances' scale factors, common to all masses of a balance."""
    scale = weighings.balance.scale_relative
    if weighings.dry_balance is None:
        return scale**2 * masses[..., :, None] * masses[..., None, :]
    first, second = masses.copy(), masses.copy()
    first[..., -2:], second[..., :-2] = 0.0, 0.0
    other = weighings.dry_balance.scale_relative
    return np.asarray(
        scale**2 * first[..., :, None] * first[..., None, :]
        + other**2 * second[..., :, None] * second[..., None, :],
        dtype=np.float64,
    )


def _split_covariance(
    gradation: Gradation, masses: FloatArray, splits: tuple[SplitUncertainty, ...]
) -> FloatArray:
    total = np.zeros((*masses.shape, masses.shape[-1]))
    for split in splits:
        below = np.append(gradation.apertures_um < split.below_um, [True, False, False])
        moved = masses * below * split.relative
        total = total + moved[..., :, None] * moved[..., None, :]
    return total
