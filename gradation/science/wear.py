"""Wear of a sieve: the trend of its aperture or tare, and when it leaves its limits.

Public: `wear_trend`, `forecast_uses`, `forecast_dates` and their results. Uses count from any
zero; what matters is that all checks of a sieve count from the same one.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from math import isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.errors import NotDeterminable, OutOfRange

FARTHEST_DAYS = 36_525  # a century: a sieve forecast to outlive it is not forecast at all


@dataclass(frozen=True, slots=True)
class WearTrend:
    """Straight line through the checks of one sieve.

    Parameters
    ----------
    checks : int
        number of checks
    mean_uses, mean_value : float
        point the line turns about: mean of the uses and of the values
    per_use : float
        change of the value per use
    per_use_low, per_use_high : float | None
        confidence interval of that change; None with two checks, which leave no freedom
    residual_sd : float | None
        scatter about the line; None with two checks
    uses_spread : float
        sum of squares of the uses about their mean
    t_value : float | None
        Student factor of the interval
    """

    checks: int
    mean_uses: float
    mean_value: float
    per_use: float
    per_use_low: float | None
    per_use_high: float | None
    residual_sd: float | None
    uses_spread: float
    t_value: float | None

    @property
    def is_shown(self) -> bool:
        """Whether the checks show a change: the interval of the slope leaves zero out."""
        low, high = self.per_use_low, self.per_use_high
        return low is not None and high is not None and (low > 0 or high < 0)

    def value_at(self, uses: float) -> float:
        """Value on the line after so many uses."""
        return self.mean_value + self.per_use * (uses - self.mean_uses)

    def half_width_at(self, uses: float) -> float:
        """Half the confidence band of the line after so many uses; 0 with two checks."""
        return _band_half_width(self, uses)


@dataclass(frozen=True, slots=True)
class WearForecast:
    """After how many uses the trend leaves the limits.

    Parameters
    ----------
    limit : float | None
        limit it is heading for; None when it heads for none
    uses : float | None
        uses at which the line reaches it
    earliest_uses, latest_uses : float | None
        interval of those uses; no latest when the trend is not shown
    already_outside : bool
        whether the line is beyond the limit now
    sentence : str
        the forecast in words
    """

    limit: float | None
    uses: float | None
    earliest_uses: float | None
    latest_uses: float | None
    already_outside: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class DateForecast:
    """The forecast as dates; None where there is none, or it lies over a century ahead."""

    expected: date | None
    earliest: date | None
    latest: date | None


@dataclass(frozen=True, slots=True)
class WearLimits:
    """WearLimits of the value watched.

    Parameters
    ----------
    lower, upper : float | None
        None where there is none on that side
    unit : str
        unit for the sentences, such as 'µm'
    """

    lower: float | None
    upper: float | None
    unit: str = "µm"


def wear_trend(uses: ArrayLike, values: ArrayLike, *, confidence: float = 0.95) -> WearTrend:
    """Straight-line trend of a sieve's aperture or tare against its uses.

    Parameters
    ----------
    uses : array_like, (n,)
        uses counted at each check, >= 0, not all equal, n >= 2
    values : array_like, (n,)
        mean aperture [um] or tare [g] found at each check
    confidence : float
        of the interval, between 0 and 1

    Returns
    -------
    WearTrend
        the line, with the interval of its slope from three checks on

    Raises
    ------
    NotDeterminable
        for fewer than two checks, lengths that differ, or all checks at the same use
    OutOfRange
        for a confidence outside 0 to 1 or a value that is not a number

    Notes
    -----
    Least squares, each check with the same weight:
    ``b = sum((x - xm)(y - ym)) / sum((x - xm)^2)``, ``s^2 = sum(residual^2) / (n - 2)``, slope
    interval ``b -+ t s / sqrt(sum((x - xm)^2))``. Wear is taken as even; a change of material
    bends it, and then only the checks since the change should be given.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 4.4.3 (straight-line fit).

    Examples
    --------
    >>> trend = wear_trend([0, 100, 200, 300], [125.0, 126.1, 126.9, 128.0])
    >>> round(trend.per_use, 4), trend.is_shown
    (0.0098, True)
    """
    x, y = _checked_series(uses, values, confidence)
    spread = float(np.sum((x - x.mean()) ** 2))
    slope = float(np.sum((x - x.mean()) * (y - y.mean())) / spread)
    residual_sd, t = _scatter(x, y, slope, confidence)
    half = None if residual_sd is None or t is None else t * residual_sd / sqrt(spread)
    return WearTrend(
        checks=int(x.size),
        mean_uses=float(x.mean()),
        mean_value=float(y.mean()),
        per_use=slope,
        per_use_low=None if half is None else slope - half,
        per_use_high=None if half is None else slope + half,
        residual_sd=residual_sd,
        uses_spread=spread,
        t_value=t,
    )


def forecast_uses(trend: WearTrend, limits: WearLimits, uses_now: float) -> WearForecast:
    """After how many uses a sieve leaves its limits, if it goes on wearing as it has.

    Parameters
    ----------
    trend : WearTrend
        line through its checks
    limits : WearLimits
        lower and upper limit of the value
    uses_now : float
        uses counted so far, >= 0

    Returns
    -------
    WearForecast
        uses, their interval, and the sentence

    Raises
    ------
    OutOfRange
        for a negative or not finite count of uses

    Notes
    -----
    The line reaches the limit ``L`` at ``x = xm + (L - ym) / b``. The interval is where the
    confidence band of the line, ``s t sqrt(1/n + (x - xm)^2 / sum((x - xm)^2))`` to either
    side, reaches it (Fieller): the roots of a quadratic in ``x``. When the slope's interval
    holds zero there is no latest use, only an earliest; then no use is expected either, and a
    line that is not certain puts no sieve outside: only the mean of its checks does.
    A straight line foretells nothing beyond even wear: check before the earliest use.

    References
    ----------
    Draper and Smith, Applied Regression Analysis, 3rd ed., section 3.2 (inverse regression).

    Examples
    --------
    >>> trend = wear_trend([0, 100, 200, 300], [125.0, 126.1, 126.9, 128.0])
    >>> forecast = forecast_uses(trend, WearLimits(119.2, 130.8), uses_now=300)
    >>> round(forecast.uses)
    589
    """
    if not (isfinite(uses_now) and uses_now >= 0):
        raise OutOfRange("The count of uses so far cannot be negative; look at the sieve's card.")
    limit = limits.upper if trend.per_use > 0 else limits.lower
    now = trend.value_at(uses_now)
    is_certain = trend.checks <= 2 or trend.is_shown
    if _is_outside(trend.mean_value, limits) or (is_certain and _is_outside(now, limits)):
        sentence = (
            f"By its trend the sieve is already outside its limits ({now:.2f} {limits.unit})."
        )
        return WearForecast(limit, None, None, None, already_outside=True, sentence=sentence)
    earliest = _earliest(trend, limits, uses_now)
    if limit is None or trend.per_use == 0 or not is_certain:
        sentence = _no_trend_sentence(earliest, uses_now)
        return WearForecast(None, None, earliest, None, already_outside=False, sentence=sentence)
    expected = trend.mean_uses + (limit - trend.mean_value) / trend.per_use
    latest = _band_meets(trend, limit, -1.0 if trend.per_use > 0 else 1.0)
    sentence = _forecast_sentence(limit, limits.unit, (expected, earliest, latest))
    return WearForecast(limit, expected, earliest, latest, already_outside=False, sentence=sentence)


def forecast_dates(
    forecast: WearForecast, uses_now: float, today: date, uses_per_day: float
) -> DateForecast:
    """The forecast of uses turned into dates at a given rate of use.

    Parameters
    ----------
    forecast : WearForecast
        forecast in uses
    uses_now : float
        uses counted so far
    today : date
        day on which that count stands
    uses_per_day : float
        rate of use, > 0

    Returns
    -------
    DateForecast
        last whole day before the use is reached; never before `today`

    Raises
    ------
    OutOfRange
        for a rate of zero or below

    Notes
    -----
    ``days = (uses - uses now) / rate``, cut to whole days so that the date is on the safe
    side. Uncertainty of the rate is not in the interval.

    References
    ----------
    Arithmetic only.

    Examples
    --------
    >>> forecast = WearForecast(130.8, 588.0, 500.0, None, False, "")
    >>> forecast_dates(forecast, 300.0, date(2026, 1, 1), 2.0).expected
    datetime.date(2026, 5, 25)
    """
    if not (isfinite(uses_per_day) and uses_per_day > 0):
        raise OutOfRange("The rate of use must be above zero uses a day to give a date.")

    def day_of(uses: float | None) -> date | None:
        if uses is None:
            return None
        days = max(0.0, (uses - uses_now) / uses_per_day)
        return None if days > FARTHEST_DAYS else today + timedelta(days=int(days))

    return DateForecast(
        expected=day_of(forecast.uses),
        earliest=day_of(forecast.earliest_uses),
        latest=day_of(forecast.latest_uses),
    )


def _checked_series(
    uses: ArrayLike, values: ArrayLike, confidence: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x = np.asarray(uses, dtype=np.float64)
    y = np.asarray(values, dtype=np.float64)
    if not 0 < confidence < 1:
        raise OutOfRange("The confidence must lie between 0 and 1, such as 0.95.")
    if x.ndim != 1 or x.shape != y.shape or x.size < 2:
        raise NotDeterminable("A trend needs two checks or more, each with its count of uses.")
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(y)) and np.all(x >= 0)):
        raise OutOfRange("A check has no proper count of uses or no value; complete its record.")
    if np.all(x == x[0]):
        raise NotDeterminable(
            "All checks were made at the same count of uses, so no wear can be seen between them."
        )
    return x, y


def _scatter(
    x: NDArray[np.float64], y: NDArray[np.float64], slope: float, confidence: float
) -> tuple[float | None, float | None]:
    from scipy.special import stdtrit

    freedom = x.size - 2
    if freedom == 0:
        return None, None
    residuals = y - y.mean() - slope * (x - x.mean())
    residual_sd = sqrt(float(np.sum(residuals**2)) / freedom)
    return residual_sd, float(stdtrit(freedom, (1 + confidence) / 2))


def _is_outside(value: float, limits: WearLimits) -> bool:
    return (limits.upper is not None and value > limits.upper) or (
        limits.lower is not None and value < limits.lower
    )


def _earliest(trend: WearTrend, limits: WearLimits, uses_now: float) -> float | None:
    edges = [(limits.upper, 1.0), (limits.lower, -1.0)]
    found: list[float] = []
    for limit, side in edges:
        if limit is None or trend.residual_sd is None:
            continue
        if side * (trend.value_at(uses_now) - limit) + _band_half_width(trend, uses_now) >= 0:
            return uses_now
        met = _band_meets(trend, limit, side)
        if met is not None:
            found.append(max(met, uses_now))
    return min(found, default=None)


def _band_half_width(trend: WearTrend, uses: float) -> float:
    if trend.residual_sd is None or trend.t_value is None:
        return 0.0
    away = (uses - trend.mean_uses) ** 2 / trend.uses_spread
    return trend.t_value * trend.residual_sd * sqrt(1 / trend.checks + away)


def _band_meets(trend: WearTrend, limit: float, side: float) -> float | None:
    """Uses at which the upper (+1) or lower (-1) edge of the line's band reaches a limit."""
    if trend.residual_sd is None or trend.t_value is None:
        return None
    ts = trend.t_value * trend.residual_sd
    m, b = trend.mean_value - limit, trend.per_use
    a = b * b - ts * ts / trend.uses_spread
    roots = _real_roots(a, 2 * m * b, m * m - ts * ts / trend.checks)
    ahead = [d for d in roots if d > 0 and side * (m + b * d) <= 1e-9 * abs(m)]
    return trend.mean_uses + max(ahead) if ahead else None


def _real_roots(a: float, b: float, c: float) -> tuple[float, ...]:
    """Roots of ``a d^2 + b d + c``, which are real.

    Where the line meets the limit it is nothing or less: the band has met the limit before. Where
    a forecast begins, and far along a line that is certain, it is more.
    """
    if a == 0:
        return () if b == 0 else (-c / b,)
    inside = b * b - 4 * a * c
    if inside <= 1e-12 * b * b:
        inside = 0.0  # checks exactly on a line: the double root, despite binary noise
    half = -(b + (sqrt(inside) if b >= 0 else -sqrt(inside))) / 2
    return (half / a, c / half) if half != 0 else (0.0,)


def _no_trend_sentence(earliest: float | None, uses_now: float) -> str:
    if earliest is None:
        return "The checks show no wear that would take the sieve out of its limits."
    if earliest <= uses_now:
        return (
            "The checks show no certain wear, but at the present count of uses they are too few or "
            "too far back to say that the sieve is inside its limits: measure it again."
        )
    return (
        "The checks show no certain wear; within their uncertainty the sieve stays inside its "
        f"limits up to {earliest:.0f} uses at least."
    )


def _forecast_sentence(
    limit: float, unit: str, uses: tuple[float, float | None, float | None]
) -> str:
    expected, earliest, latest = uses
    text = f"At this rate of wear the sieve reaches {limit:.2f} {unit} after {expected:.0f} uses"
    if earliest is None or latest is None:
        return f"{text}; two checks give no interval, so check it well before."
    return f"{text} (between {earliest:.0f} and {latest:.0f})."
