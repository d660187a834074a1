"""The law of propagation of uncertainty, for any measurement with a formula.

Public: `propagate`, `covariance_from`, `correlation_of`, `effective_degrees_of_freedom`,
`coverage_factor`, `expand`. The gradation's own budget (`uncertainty`) stands on these; they know
nothing of sieves.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.errors import OutOfRange

FloatArray = NDArray[np.float64]
Model = Callable[[FloatArray], ArrayLike]

# Five-point stencil for a first derivative: error of order h^4 (Abramowitz & Stegun 1964, 25.3.6).
_STENCIL = ((-2.0, 1.0), (-1.0, -8.0), (1.0, 8.0), (2.0, -1.0))


@dataclass(frozen=True)
class Propagated:
    """Outputs of a measurement model with their joint uncertainty (m outputs, k inputs)."""

    values: FloatArray
    covariance: FloatArray
    sensitivities: FloatArray
    contributions: FloatArray

    @property
    def standard(self) -> FloatArray:
        """Give the standard uncertainty of each output."""
        return np.sqrt(np.clip(np.diagonal(self.covariance), 0.0, None))

    @property
    def correlation(self) -> FloatArray:
        """Give the correlation matrix of the outputs."""
        return correlation_of(self.covariance)


@dataclass(frozen=True)
class Expanded:
    """An expanded uncertainty with the coverage it claims."""

    standard: float
    coverage_factor: float
    confidence: float
    degrees_of_freedom: float

    @property
    def expanded(self) -> float:
        """Give U = k u, in the unit of the standard uncertainty."""
        return self.coverage_factor * self.standard


def correlation_of(covariance: FloatArray) -> FloatArray:
    """Give the correlation matrix that belongs to a covariance matrix.

    Parameters
    ----------
    covariance : ndarray, (..., m, m)
        covariance matrix [square of the quantity's unit], diagonal >= 0

    Returns
    -------
    ndarray, (..., m, m)
        correlation coefficients, -1 to 1 [pure number]

    Raises
    ------
    Nothing.

    Notes
    -----
    r_ij = u_ij / (u_i u_j). A quantity without uncertainty correlates with nothing: its
    coefficients are 0, its own is 1.

    References
    ----------
    JCGM 100:2008, 5.2.2, equation (14).

    Examples
    --------
    >>> correlation_of(np.array([[4.0, 3.0], [3.0, 9.0]])).round(2).tolist()
    [[1.0, 0.5], [0.5, 1.0]]
    """
    standard = np.sqrt(np.clip(np.diagonal(covariance, axis1=-2, axis2=-1), 0.0, None))
    scale = standard[..., :, None] * standard[..., None, :]
    coefficients: FloatArray = np.divide(
        covariance, scale, out=np.zeros_like(covariance), where=scale > 0
    )
    size = covariance.shape[-1]
    coefficients[..., np.arange(size), np.arange(size)] = 1.0
    return coefficients


def covariance_from(standard: ArrayLike, correlation: ArrayLike | None = None) -> FloatArray:
    """Give the covariance matrix of standard uncertainties and, if any, their correlations.

    Parameters
    ----------
    standard : array_like, (k,)
        standard uncertainties [unit of each quantity], >= 0
    correlation : array_like, (k, k), optional
        correlation coefficients [pure number], -1 to 1; independent when left out

    Returns
    -------
    ndarray, (k, k)
        covariance matrix [square of the units]

    Raises
    ------
    OutOfRange
        when a standard uncertainty is negative or not finite

    Notes
    -----
    u_ij = r_ij u_i u_j.

    References
    ----------
    JCGM 100:2008, 5.2.2, equation (14).

    Examples
    --------
    >>> covariance_from([2.0, 3.0], [[1.0, 0.5], [0.5, 1.0]]).tolist()
    [[4.0, 3.0], [3.0, 9.0]]
    """
    u = np.asarray(standard, dtype=np.float64)
    if not np.all(np.isfinite(u)) or np.any(u < 0):
        raise OutOfRange(
            "A standard uncertainty must be zero or a positive number. Check the budget."
        )
    r = np.eye(u.size) if correlation is None else np.asarray(correlation, dtype=np.float64)
    return np.asarray(u[:, None] * r * u[None, :], dtype=np.float64)


def jacobian(function: Model, values: FloatArray, standard: FloatArray) -> FloatArray:
    """Give the sensitivity coefficients of a model at a point, by numerical differentiation.

    Parameters
    ----------
    function : callable
        takes an ndarray (k,) and gives one value or an array (m,)
    values : ndarray, (k,)
        input estimates, each in its own unit
    standard : ndarray, (k,)
        standard uncertainties of the inputs [their units]; they set the step

    Returns
    -------
    ndarray, (m, k)
        partial derivatives [output unit per input unit]

    Raises
    ------
    Nothing.

    Notes
    -----
    Five-point central stencil, error of fourth order in the step h. h is 1/1000 of the standard
    uncertainty, but not below what double precision can resolve, so that the slope is taken where
    the input really lies. An input at 0 with no uncertainty is stepped by 1e-3 of one unit.

    References
    ----------
    JCGM 100:2008, 5.1.3 and its note 2; Abramowitz & Stegun (1964), 25.3.6.

    Examples
    --------
    >>> at, u = np.array([2.0, 5.0]), np.array([0.1, 0.1])
    >>> jacobian(lambda x: x[0] * x[1], at, u).round(9).tolist()
    [[5.0, 2.0]]
    """
    steps = np.maximum(1e-3 * standard, np.finfo(np.float64).eps ** 0.2 * np.abs(values))
    steps = np.where(steps > 0, steps, 1e-3)
    columns = [_derivative(function, values, position, h) for position, h in enumerate(steps)]
    return np.stack(columns, axis=-1)


def _derivative(function: Model, values: FloatArray, position: int, step: float) -> FloatArray:
    total: FloatArray = np.zeros(1)
    for offset, weight in _STENCIL:
        moved = values.copy()
        moved[position] += offset * step
        total = total + weight * np.atleast_1d(np.asarray(function(moved), dtype=np.float64))
    return np.asarray(total / (12.0 * step), dtype=np.float64)


def propagate(
    function: Model,
    values: ArrayLike,
    covariance: ArrayLike,
    *,
    sensitivities: ArrayLike | None = None,
) -> Propagated:
    """Give the outputs of a measurement model with their covariance.

    Parameters
    ----------
    function : callable
        takes an ndarray (k,) and gives one value or an array (m,)
    values : array_like, (k,)
        input estimates, each in its own unit
    covariance : array_like, (k, k)
        covariance of the inputs [square of their units]
    sensitivities : array_like, (m, k), optional
        partial derivatives when they are known in closed form; numerical when left out

    Returns
    -------
    Propagated
        values (m,), covariance (m, m), sensitivities (m, k), and contributions |c_i| u(x_i) (m, k)

    Raises
    ------
    OutOfRange
        when the covariance is not a finite (k, k) matrix

    Notes
    -----
    u_y = C u_x C^T, first order. Contributions add in squares to the variance only where the inputs
    are independent. A model strongly curved within one standard uncertainty needs `montecarlo`.

    References
    ----------
    JCGM 100:2008, 5.1.2 equation (10), 5.2.2 equation (13); JCGM 102:2011, 6.2 (several outputs).

    Examples
    --------
    A share retained of 125 g in 500 g, each mass good to 0.1 g:

    >>> result = propagate(lambda m: m[0] / m[1], [125.0, 500.0], np.diag([0.01, 0.01]))
    >>> result.values.tolist(), result.standard.round(6).tolist()
    ([0.25], [0.000206])
    """
    x = np.asarray(values, dtype=np.float64)
    u = np.asarray(covariance, dtype=np.float64)
    if u.shape != (x.size, x.size) or not np.all(np.isfinite(u)):
        raise OutOfRange(f"The covariance must be a finite {x.size} by {x.size} matrix.")
    standard = np.sqrt(np.clip(np.diagonal(u), 0.0, None))
    if sensitivities is None:
        slopes = jacobian(function, x, standard)
    else:
        slopes = np.atleast_2d(np.asarray(sensitivities, dtype=np.float64))
    outputs = np.atleast_1d(np.asarray(function(x), dtype=np.float64))
    return Propagated(outputs, slopes @ u @ slopes.T, slopes, np.abs(slopes) * standard)


def effective_degrees_of_freedom(contributions: ArrayLike, degrees_of_freedom: ArrayLike) -> float:
    """Give the degrees of freedom of a combined standard uncertainty.

    Parameters
    ----------
    contributions : array_like, (k,)
        |c_i| u(x_i) of independent inputs [unit of the output], >= 0
    degrees_of_freedom : array_like, (k,)
        degrees of freedom of each, > 0, infinity allowed [pure number]

    Returns
    -------
    float
        effective degrees of freedom [pure number]; infinity when no finite one contributes

    Raises
    ------
    OutOfRange
        when a number of degrees of freedom is not positive

    Notes
    -----
    Welch-Satterthwaite: nu_eff = u_c^4 / sum(u_i^4 / nu_i). For independent inputs only. The
    result is not truncated here; `coverage_factor` does that.

    References
    ----------
    JCGM 100:2008, G.4.1, equation (G.2b).

    Examples
    --------
    >>> round(effective_degrees_of_freedom([3.0, 4.0], [4.0, float("inf")]), 2)
    30.86
    """
    u = np.asarray(contributions, dtype=np.float64)
    nu = np.asarray(degrees_of_freedom, dtype=np.float64)
    if np.any(nu <= 0):
        raise OutOfRange("Degrees of freedom must be above zero. Check the number of repetitions.")
    spread = float(np.sum(u**4 / nu))
    return float("inf") if spread == 0 else float(np.sum(u**2) ** 2 / spread)


def coverage_factor(confidence: float, degrees_of_freedom: float = float("inf")) -> float:
    """Give the factor k that turns a standard into an expanded uncertainty.

    Parameters
    ----------
    confidence : float
        two-sided level of confidence, above 0 and below 1, e.g. 0.95 [pure number]
    degrees_of_freedom : float, optional
        effective degrees of freedom, >= 1; infinity gives the normal factor [pure number]

    Returns
    -------
    float
        coverage factor [pure number]

    Raises
    ------
    OutOfRange
        when the confidence is not between 0 and 1, or fewer than one degree of freedom is left

    Notes
    -----
    Student's t at the truncated number of degrees of freedom (the next lower integer).

    References
    ----------
    JCGM 100:2008, G.4.1 and table G.2.

    Examples
    --------
    >>> round(coverage_factor(0.95), 2), round(coverage_factor(0.99, 16.7), 2)
    (1.96, 2.92)
    """
    from scipy.stats import t  # here, because it takes longest to load of all

    if not 0.0 < confidence < 1.0:
        raise OutOfRange("The level of confidence must lie between 0 and 1, for example 0.95.")
    if not degrees_of_freedom >= 1.0:
        raise OutOfRange(
            "Fewer than one degree of freedom is left. Repeat the measurement more often."
        )
    return float(t.ppf(0.5 + confidence / 2.0, np.floor(degrees_of_freedom)))


def expand(
    standard: float, confidence: float, degrees_of_freedom: float = float("inf")
) -> Expanded:
    """Give the expanded uncertainty at a level of confidence.

    Parameters
    ----------
    standard : float
        combined standard uncertainty [unit of the result], >= 0
    confidence : float
        two-sided level of confidence, above 0 and below 1 [pure number]
    degrees_of_freedom : float, optional
        effective degrees of freedom [pure number], >= 1

    Returns
    -------
    Expanded
        U = k u with its factor and confidence

    Raises
    ------
    OutOfRange
        as `coverage_factor`

    Notes
    -----
    U = t_p(nu_eff) u_c(y).

    References
    ----------
    JCGM 100:2008, 6.2.1 equation (18), G.6.4.

    Examples
    --------
    >>> round(expand(32.0, 0.99, 16.0).expanded)
    93
    """
    factor = coverage_factor(confidence, degrees_of_freedom)
    return Expanded(float(standard), factor, confidence, float(degrees_of_freedom))
