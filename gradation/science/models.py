"""Model distributions with two parameters: RRSB, GGS, log-normal and log-logistic.

Each is a straight line on its own paper: y(Q3) = slope (ln x - ln location). So one dataclass
holds all four, and a fit on paper is a straight line.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, ndtr, ndtri

from gradation.science.errors import OutOfRange


class Model(StrEnum):
    """The model distributions."""

    RRSB = "rrsb"
    GGS = "ggs"
    LOG_NORMAL = "log_normal"
    LOG_LOGISTIC = "log_logistic"


MODEL_NAMES = {
    Model.RRSB: "Rosin-Rammler-Sperling-Bennett (RRSB)",
    Model.GGS: "Gates-Gaudin-Schuhmann (GGS)",
    Model.LOG_NORMAL: "log-normal",
    Model.LOG_LOGISTIC: "log-logistic",
}


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter as a report names it."""

    symbol: str
    meaning: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class ModelCurve:
    """A model with its two parameters; gives passing for any size and size for any passing.

    Parameters
    ----------
    model : Model
        Which distribution.
    location_um : float
        RRSB x' (63.2 % passing), GGS k (100 % passing), else the median [µm], > 0.
    slope : float
        RRSB n, GGS m, log-normal 1/s with s the deviation of ln x, log-logistic b; > 0 [-].
    """

    model: Model
    location_um: float
    slope: float

    def __post_init__(self) -> None:
        """Refuse parameters that make no distribution."""
        if not (0 < self.location_um < np.inf and 0 < self.slope < np.inf):
            raise OutOfRange("Both parameters of a model distribution must be above 0.")

    def passing(self, size_um: ArrayLike) -> NDArray[np.float64]:
        """Passing share at each size [µm]; 0 at size 0."""
        sizes = np.asarray(size_um, dtype=np.float64)
        if np.any(sizes < 0):
            raise OutOfRange("A size must not be below 0 µm.")
        with np.errstate(divide="ignore"):
            on_paper = self.slope * (np.log(sizes) - np.log(self.location_um))
        return share_from_paper(self.model, on_paper)

    def size_at_passing(self, passing: ArrayLike) -> NDArray[np.float64]:
        """Size [µm] at each passing share; infinite at 1 where the model has no largest size."""
        shares = np.asarray(passing, dtype=np.float64)
        if np.any((shares < 0) | (shares > 1)):
            raise OutOfRange("A passing share must lie from 0 to 100 %.")
        size: NDArray[np.float64] = self.location_um * np.exp(
            paper_from_share(self.model, shares) / self.slope
        )
        return size

    def parameters(self) -> tuple[Parameter, ...]:
        """The two parameters under the names of the trade."""
        location, slope = self.location_um, self.slope
        if self.model is Model.RRSB:
            return (
                Parameter("x'", "size at 63.2 % passing", location, "µm"),
                Parameter("n", "uniformity exponent", slope, ""),
            )
        if self.model is Model.GGS:
            return (
                Parameter("k", "size at 100 % passing", location, "µm"),
                Parameter("m", "distribution exponent", slope, ""),
            )
        median = Parameter("x50", "median size", location, "µm")
        if self.model is Model.LOG_NORMAL:
            spread = float(np.exp(1 / slope))
            return (median, Parameter("s_g", "geometric standard deviation", spread, ""))
        return (median, Parameter("b", "exponent", slope, ""))


def paper_from_share(model: Model, passing: ArrayLike) -> NDArray[np.float64]:
    """Ordinate of passing on the model's own paper.

    Parameters
    ----------
    model : Model
        Which paper.
    passing : array_like, (...)
        Passing shares, 0-1.

    Returns
    -------
    ndarray, (...)
        y [-]; -inf at 0; at 1 +inf, or 0 on GGS paper.

    Raises
    ------
    OutOfRange
        When a share lies outside 0-1.

    Notes
    -----
    RRSB: y = ln(-ln(1 - Q3)). GGS: y = ln Q3. Log-normal: y = Φ⁻¹(Q3). Log-logistic:
    y = ln(Q3 / (1 - Q3)). Each is linear in ln x for its model.

    References
    ----------
    DIN 66145 (RRSB grid), DIN 66143 (power grid), DIN 66144 (log-normal grid), all from
    memory; the log-logistic line follows from its formula.

    Examples
    --------
    >>> round(float(paper_from_share(Model.LOG_LOGISTIC, 0.5)), 6)
    0.0
    """
    shares = np.asarray(passing, dtype=np.float64)
    if np.any((shares < 0) | (shares > 1)):
        raise OutOfRange("A passing share must lie from 0 to 100 %.")
    with np.errstate(divide="ignore"):
        if model is Model.RRSB:
            ordinate = np.log(-np.log1p(-shares))
        elif model is Model.GGS:
            ordinate = np.log(shares)
        elif model is Model.LOG_NORMAL:
            ordinate = ndtri(shares)
        else:
            ordinate = logit(shares)
    return np.asarray(ordinate, dtype=np.float64)


def share_from_paper(model: Model, ordinate: ArrayLike) -> NDArray[np.float64]:
    """Passing share that belongs to an ordinate on the model's own paper.

    Parameters
    ----------
    model : Model
        Which paper.
    ordinate : array_like, (...)
        y [-]; on GGS paper everything above 0 is 100 % passing.

    Returns
    -------
    ndarray, (...)
        Passing shares, 0-1.

    Raises
    ------
    GradationError
        Never; nan stays nan.

    Notes
    -----
    RRSB: Q3 = 1 - exp(-exp y). GGS: Q3 = exp y, at most 1. Log-normal: Q3 = Φ(y).
    Log-logistic: Q3 = 1 / (1 + exp(-y)).

    References
    ----------
    DIN 66145, DIN 66143, DIN 66144, all from memory.

    Examples
    --------
    >>> round(float(share_from_paper(Model.RRSB, 0.0)), 3)
    0.632
    """
    y = np.asarray(ordinate, dtype=np.float64)
    with np.errstate(over="ignore"):
        if model is Model.RRSB:
            share = -np.expm1(-np.exp(y))
        elif model is Model.GGS:
            share = np.exp(np.minimum(y, 0.0))
        elif model is Model.LOG_NORMAL:
            share = ndtr(y)
        else:
            share = expit(y)
    return np.asarray(share, dtype=np.float64)


def log_normal_mean_diameter(
    mass_median_um: float, geometric_deviation: float, p: float, q: float
) -> float:
    """Mean diameter D[p,q] of a log-normal mass distribution.

    Parameters
    ----------
    mass_median_um : float
        Median of the mass distribution [µm], > 0.
    geometric_deviation : float
        Geometric standard deviation s_g [-], >= 1.
    p, q : float
        Powers of the moment-ratio notation.

    Returns
    -------
    float
        D[p,q] [µm].

    Raises
    ------
    OutOfRange
        When the median is not above 0 or the deviation is below 1.

    Notes
    -----
    D[p,q] = x50 exp((p + q - 6) ln² s_g / 2) with x50 the mass median; equal to the count
    median times exp((p + q) ln² s_g / 2).

    References
    ----------
    T. Hatch and S. P. Choate, J. Franklin Inst. 207 (1929) 369; W. C. Hinds, Aerosol
    Technology, ch. 4 (both from memory).

    Examples
    --------
    >>> round(log_normal_mean_diameter(4.23, 2.0, 3, 2), 2)
    3.33
    """
    if not (0 < mass_median_um < np.inf and 1 <= geometric_deviation < np.inf):
        raise OutOfRange(
            "A log-normal distribution needs a median above 0 µm and a geometric deviation of "
            "1 or more."
        )
    spread = np.log(geometric_deviation) ** 2
    return float(mass_median_um * np.exp((p + q - 6) * spread / 2))
