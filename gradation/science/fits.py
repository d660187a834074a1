"""Fits of a model distribution to a measured curve: on paper, and weighted non-linear."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from gradation.science.density import NOISE, checked_curve
from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.models import (
    MODEL_NAMES,
    Model,
    ModelCurve,
    paper_from_share,
    share_from_paper,
)

LEAST_POINTS = 3  # two parameters: with two points every line fits and nothing is tested


class FitMethod(StrEnum):
    """How the parameters were found."""

    STRAIGHT_LINE = "straight_line"
    NON_LINEAR = "non_linear"


class Weighting(StrEnum):
    """Weights of the points in a non-linear fit."""

    EQUAL = "equal"
    PRECISION = "precision"


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A point that took no part in a fit, and why."""

    aperture_um: float
    passing: float
    reason: str


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted model: its curve, how good it is, and what was left out.

    `r2` compares passing shares, so fits of all models and both methods can be compared;
    `r2_on_paper` is the one read off the model's paper (nan for a non-linear fit). Residual =
    measured minus fitted passing share. `standard_errors` belong to (location [µm], slope).
    """

    curve: ModelCurve
    method: FitMethod
    weighting: Weighting
    r2: float
    r2_on_paper: float
    apertures_um: tuple[float, ...]
    residuals: tuple[float, ...]
    largest_residual: float
    largest_residual_at_um: float
    standard_errors: tuple[float, float]
    left_out: tuple[LeftOut, ...]

    @property
    def model(self) -> Model:
        """The fitted model."""
        return self.curve.model

    def statements(self) -> tuple[str, ...]:
        """What was left out, in words for the report."""
        return tuple(
            f"{point.aperture_um:g} µm, {100 * point.passing:.4g} % passing, left out: "
            f"{point.reason}"
            for point in self.left_out
        )


def _measured(
    apertures_um: ArrayLike, passing: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], list[LeftOut]]:
    apertures, shares = checked_curve(apertures_um, passing)
    if shares.ndim != 1:
        raise OutOfRange("A model is fitted to one run at a time.")
    is_known = np.isfinite(shares)
    missing = [
        LeftOut(float(aperture), float("nan"), "not weighed yet.")
        for aperture in apertures[~is_known]
    ]
    return apertures[is_known], shares[is_known], missing


def _is_between(shares: NDArray[np.float64]) -> NDArray[np.bool_]:
    inside: NDArray[np.bool_] = (shares > NOISE) & (shares < 1 - NOISE)
    return inside


def _refuse_too_few(model: Model, shares: NDArray[np.float64]) -> None:
    between = shares[_is_between(shares)]
    if between.size < LEAST_POINTS:
        raise NotDeterminable(
            f"The {MODEL_NAMES[model]} model needs at least {LEAST_POINTS} sieves with more than "
            f"0 % and less than 100 % passing; this run has {between.size}. Add sieves within "
            "the range of the material."
        )
    if np.ptp(between) <= NOISE:
        raise NotDeterminable(
            f"Passing is the same on all sieves within the curve, so the {MODEL_NAMES[model]} "
            "model has no slope. Add sieves where material is retained."
        )


def _r_squared(measured: NDArray[np.float64], residual: NDArray[np.float64]) -> float:
    spread = measured - np.mean(measured)
    return float(1.0 - np.sum(residual**2) / np.sum(spread**2))


def fit_straight_line(model: Model, apertures_um: ArrayLike, passing: ArrayLike) -> Fit:
    """The model whose line on its own paper lies nearest the measured points.

    Parameters
    ----------
    model : Model
        Which distribution.
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (n,)
        Passing shares of one run, 0-1; nan: not weighed yet.

    Returns
    -------
    Fit
        With R² on paper and in passing, the residuals, and the points left out with reasons.

    Raises
    ------
    NotDeterminable
        When fewer than three points lie between 0 and 100 %, or all have the same passing.
    Impossible
        When the numbers make no curve.

    Notes
    -----
    Ordinary least squares of y(Q3) on ln x, all points alike. Points at 0 or 100 % have no
    place on the paper (or, for GGS, none on the sloping line) and are left out. The paper
    stretches its ends, so small shares weigh heavily: compare the non-linear fit.

    References
    ----------
    DIN 66145 (RRSB), DIN 66143 (power), DIN 66144 (log-normal), from memory. Standard errors:
    textbook formulae of simple linear regression; that of the location by first-order
    propagation.

    Examples
    --------
    >>> fit = fit_straight_line(Model.GGS, [400, 200, 100, 50], [1.0, 0.5, 0.25, 0.125])
    >>> round(fit.curve.location_um), round(fit.curve.slope, 6), len(fit.left_out)
    (400, 1.0, 1)
    """
    apertures, shares, left_out = _measured(apertures_um, passing)
    _refuse_too_few(model, shares)
    between = _is_between(shares)
    left_out += [
        LeftOut(float(aperture), float(share), f"it has no place on {MODEL_NAMES[model]} paper.")
        for aperture, share in zip(apertures[~between], shares[~between], strict=True)
    ]
    log_size, ordinate = np.log(apertures[between]), paper_from_share(model, shares[between])
    line = _line(log_size, ordinate)
    curve = ModelCurve(model, float(np.exp(-line.intercept / line.slope)), line.slope)
    r2_on_paper = _r_squared(ordinate, ordinate - line.intercept - line.slope * log_size)
    return _fit(
        curve,
        _Points(apertures[between], shares[between], tuple(left_out)),
        _Found(FitMethod.STRAIGHT_LINE, Weighting.EQUAL, r2_on_paper, line.standard_errors(curve)),
    )


@dataclass(frozen=True, slots=True)
class _Line:
    slope: float
    intercept: float
    covariance: NDArray[np.float64]

    def standard_errors(self, curve: ModelCurve) -> tuple[float, float]:
        """Of location and slope; ln location = -intercept / slope."""
        gradient = np.array([self.intercept / self.slope**2, -1.0 / self.slope])
        variance = float(gradient @ self.covariance @ gradient)
        return (curve.location_um * float(np.sqrt(variance)), float(self.covariance[0, 0] ** 0.5))


def _line(abscissa: NDArray[np.float64], ordinate: NDArray[np.float64]) -> _Line:
    design = np.column_stack((abscissa, np.ones_like(abscissa)))
    (slope, intercept), *_ = np.linalg.lstsq(design, ordinate, rcond=None)
    residual = ordinate - design @ np.array([slope, intercept])
    variance = float(residual @ residual) / (abscissa.size - 2)
    covariance = np.asarray(variance * np.linalg.inv(design.T @ design), dtype=np.float64)
    return _Line(float(slope), float(intercept), covariance)


@dataclass(frozen=True, slots=True)
class _Points:
    apertures_um: NDArray[np.float64]
    passing: NDArray[np.float64]
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, slots=True)
class _Found:
    method: FitMethod
    weighting: Weighting
    r2_on_paper: float
    standard_errors: tuple[float, float]


def _fit(curve: ModelCurve, points: _Points, found: _Found) -> Fit:
    residual = points.passing - curve.passing(points.apertures_um)
    worst = int(np.argmax(np.abs(residual)))
    return Fit(
        curve=curve,
        method=found.method,
        weighting=found.weighting,
        r2=_r_squared(points.passing, residual),
        r2_on_paper=found.r2_on_paper,
        apertures_um=tuple(points.apertures_um.tolist()),
        residuals=tuple(residual.tolist()),
        largest_residual=float(residual[worst]),
        largest_residual_at_um=float(points.apertures_um[worst]),
        standard_errors=found.standard_errors,
        left_out=points.left_out,
    )


def precision_weights(passing: ArrayLike, *, least_share: float = 0.01) -> NDArray[np.float64]:
    """Weights that count a point as its repeatability deserves.

    Parameters
    ----------
    passing : array_like, (n,)
        Passing shares, 0-1.
    least_share : float
        Shares nearer to 0 or 1 than this weigh like one at this distance, 0 < value < 0.5.

    Returns
    -------
    ndarray, (n,)
        Weights of the squared residuals, 1 at 50 % passing.

    Raises
    ------
    OutOfRange
        When the least share lies outside its range.

    Notes
    -----
    The deviation of a passing value grows with √(Q3 (1 - Q3)), so w = 0.25 / (Q3 (1 - Q3)).
    The floor keeps points at 0 and 100 % from weighing without bound (our own choice).

    References
    ----------
    European cross-testing of aggregates, particle size distribution: reproducibility deviation
    proportional to √(X(100 - X)) with X the percentage passing.

    Examples
    --------
    >>> [round(float(weight), 2) for weight in precision_weights([0.5, 0.1, 0.0])]
    [1.0, 2.78, 25.25]
    """
    if not 0 < least_share < 0.5:
        raise OutOfRange("The least share for weights must lie between 0 and 50 %.")
    shares = np.clip(np.asarray(passing, dtype=np.float64), least_share, 1 - least_share)
    weights: NDArray[np.float64] = 0.25 / (shares * (1 - shares))
    return weights


def fit_non_linear(
    model: Model,
    apertures_um: ArrayLike,
    passing: ArrayLike,
    weighting: Weighting = Weighting.EQUAL,
) -> Fit:
    """The model whose curve lies nearest the measured passing shares, weighted.

    Parameters
    ----------
    model : Model
        Which distribution.
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (n,)
        Passing shares of one run, 0-1; nan: not weighed yet.
    weighting : Weighting
        Equal, or by the precision of each point.

    Returns
    -------
    Fit
        With R², the residuals and standard errors; points at 0 and 100 % take part.

    Raises
    ------
    NotDeterminable
        When fewer than three points lie between 0 and 100 %, all have the same passing, or the
        search finds no end.
    Impossible
        When the numbers make no curve.

    Notes
    -----
    Minimises Σ w (Q3 - Q3,model)² over ln location and ln slope, so both stay above 0. Started
    from the straight line on paper and from the point nearest 50 %; the best end
    counts. Standard errors: from the Jacobian, residual variance on n - 2, first-order.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 4.1.4.2 non-linear and 4.1.4.3 weighted
    least squares (from memory).

    Examples
    --------
    >>> fit = fit_non_linear(Model.GGS, [400, 200, 100, 50], [1.0, 0.5, 0.25, 0.125])
    >>> round(fit.curve.location_um, 3), round(fit.curve.slope, 6)
    (400.0, 1.0)
    """
    apertures, shares, left_out = _measured(apertures_um, passing)
    _refuse_too_few(model, shares)
    weights = np.ones_like(shares) if weighting is Weighting.EQUAL else precision_weights(shares)
    curve, standard_errors = _search(model, _Points(apertures, shares, ()), np.sqrt(weights))
    return _fit(
        curve,
        _Points(apertures, shares, tuple(left_out)),
        _Found(FitMethod.NON_LINEAR, weighting, float("nan"), standard_errors),
    )


def _starts(model: Model, points: _Points) -> Iterable[ModelCurve]:
    paper = fit_straight_line(model, points.apertures_um, points.passing).curve
    yield paper
    if model is Model.GGS:
        full = points.apertures_um[points.passing >= 1 - NOISE]
        yield ModelCurve(model, float(np.min(full, initial=points.apertures_um[0])), paper.slope)
    middle = int(np.argmin(np.abs(points.passing - 0.5)))
    yield ModelCurve(model, float(points.apertures_um[middle]), 2 * paper.slope)


def _search(
    model: Model, points: _Points, root_weights: NDArray[np.float64]
) -> tuple[ModelCurve, tuple[float, float]]:
    log_sizes = np.log(points.apertures_um)

    def weighted_residuals(parameters: NDArray[np.float64]) -> NDArray[np.float64]:
        log_location, log_slope = parameters
        fitted = share_from_paper(model, np.exp(log_slope) * (log_sizes - log_location))
        return root_weights * (points.passing - fitted)

    ends = [
        least_squares(
            weighted_residuals,
            np.log([start.location_um, start.slope]),
            xtol=1e-14,
            ftol=1e-14,
            gtol=1e-14,
        )
        for start in _starts(model, points)
    ]
    best = min(ends, key=lambda end: float(end.cost))
    if not best.success or not np.all(np.isfinite(best.x)):
        raise NotDeterminable(
            f"No end was found when fitting the {MODEL_NAMES[model]} model. Use the straight "
            "line on paper, or another model."
        )
    curve = ModelCurve(model, float(np.exp(best.x[0])), float(np.exp(best.x[1])))
    variance = 2 * float(best.cost) / (points.passing.size - 2)
    jacobian = np.asarray(best.jac, dtype=np.float64)
    covariance = variance * np.linalg.pinv(jacobian.T @ jacobian)
    errors = np.sqrt(np.diag(covariance))
    return curve, (curve.location_um * float(errors[0]), curve.slope * float(errors[1]))


def fits(
    apertures_um: ArrayLike,
    passing: ArrayLike,
    method: FitMethod = FitMethod.STRAIGHT_LINE,
    weighting: Weighting = Weighting.EQUAL,
) -> tuple[Fit, ...]:
    """All four models fitted to one run, the best R² in passing first.

    Parameters
    ----------
    apertures_um : array_like, (n,)
        Apertures, coarse to fine [µm].
    passing : array_like, (n,)
        Passing shares of one run, 0-1; nan: not weighed yet.
    method : FitMethod
        Straight line on paper, or non-linear.
    weighting : Weighting
        Weights of a non-linear fit.

    Returns
    -------
    tuple of Fit
        One for each model.

    Raises
    ------
    NotDeterminable
        When the curve holds too few points for any model.
    Impossible
        When the numbers make no curve.

    Notes
    -----
    R² in passing is comparable between models; R² on paper is not, as each paper stretches
    another part of the curve.

    References
    ----------
    DIN 66143, 66144 and 66145 for the papers (from memory).

    Examples
    --------
    >>> best = fits([400, 200, 100, 50], [1.0, 0.5, 0.25, 0.125])[0]
    >>> best.model.value
    'ggs'
    """
    found = [
        fit_straight_line(model, apertures_um, passing)
        if method is FitMethod.STRAIGHT_LINE
        else fit_non_linear(model, apertures_um, passing, weighting)
        for model in Model
    ]
    return tuple(sorted(found, key=lambda fit: -fit.r2))
