"""Motion of a sieve shaker: acceleration, throw, flight and resonance of the grains.

Amplitude is always peak to peak, as shakers are set and as it is read on the frame.
Frequency is that of the deck's motion, not of the mains, where the two differ. Whether two
runs were shaken alike is decided in `shaker_settings`.

Public: `peak_acceleration_m_s2`, `amplitude_pp_mm`, `acceleration_in_g`,
`equal_acceleration_amplitude_mm`, `throw_number`, `flight_periods`, `resonance_throw_number`,
`nearest_resonance`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradation.science.errors import OutOfRange

STANDARD_GRAVITY_M_S2 = 9.80665  # exact by definition, 3rd CGPM, 1901

_SERIES_BELOW_RAD = 0.3  # below it 1 - cos loses digits; five series terms keep 11 of them
_BISECTIONS = 60  # halves a bracket of some radians to the last bit of a double


@dataclass(frozen=True, slots=True)
class Resonance:
    """The statistical resonance nearest to a throw number.

    Parameters
    ----------
    periods : int
        whole periods of the deck that one flight lasts
    throw_number : float
        throw number at which it lasts exactly so long
    departure : float
        throw number asked about, less `throw_number`; positive when thrown harder
    """

    periods: int
    throw_number: float
    departure: float


def peak_acceleration_m_s2(
    amplitude_pp_mm: ArrayLike, frequency_hz: ArrayLike
) -> NDArray[np.float64]:
    """Peak acceleration of a deck that swings with an amplitude at a frequency.

    Parameters
    ----------
    amplitude_pp_mm : array_like, (...)
        peak-to-peak amplitude [mm], >= 0
    frequency_hz : array_like, (...)
        frequency of the deck's motion [Hz], > 0

    Returns
    -------
    ndarray, (...)
        peak acceleration [m/s2]

    Raises
    ------
    OutOfRange
        for a negative amplitude, a frequency of zero or below, or anything not finite

    Notes
    -----
    ``a = (2 pi f)^2 x_pp / 2``: simple harmonic motion swings to each side by half the
    peak-to-peak amplitude. Taking ``x_pp`` itself doubles the answer, the usual mistake.

    References
    ----------
    Kinematics of simple harmonic motion, any textbook of mechanics.

    Examples
    --------
    >>> print(round(float(peak_acceleration_m_s2(1.0, 50.0)), 3))
    49.348
    """
    amplitude = _at_least_zero(amplitude_pp_mm, "The amplitude", "mm peak to peak")
    frequency = _above_zero(frequency_hz, "The frequency", "Hz")
    return np.asarray((2 * pi * frequency) ** 2 * amplitude / 2000.0)


def amplitude_pp_mm(acceleration_m_s2: ArrayLike, frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """Peak-to-peak amplitude that gives a peak acceleration at a frequency.

    Parameters
    ----------
    acceleration_m_s2 : array_like, (...)
        peak acceleration [m/s2], >= 0
    frequency_hz : array_like, (...)
        frequency of the deck's motion [Hz], > 0

    Returns
    -------
    ndarray, (...)
        peak-to-peak amplitude [mm]

    Raises
    ------
    OutOfRange
        for a negative acceleration, a frequency of zero or below, or anything not finite

    Notes
    -----
    The inverse of `peak_acceleration_m_s2`: ``x_pp = 2 a / (2 pi f)^2``.

    References
    ----------
    Kinematics of simple harmonic motion, any textbook of mechanics.

    Examples
    --------
    >>> print(round(float(amplitude_pp_mm(49.348, 50.0)), 4))
    1.0
    """
    acceleration = _at_least_zero(acceleration_m_s2, "The acceleration", "m/s²")
    frequency = _above_zero(frequency_hz, "The frequency", "Hz")
    return np.asarray(acceleration * 2000.0 / (2 * pi * frequency) ** 2)


def acceleration_in_g(acceleration_m_s2: ArrayLike) -> NDArray[np.float64]:
    """Acceleration as a multiple of standard gravity.

    Parameters
    ----------
    acceleration_m_s2 : array_like, (...)
        acceleration [m/s2], >= 0

    Returns
    -------
    ndarray, (...)
        acceleration over standard gravity, a pure number

    Raises
    ------
    OutOfRange
        for a negative acceleration or one that is not finite

    Notes
    -----
    Divides by 9.80665 m/s2, not by the gravity of the place.

    References
    ----------
    3rd General Conference on Weights and Measures, 1901 (standard gravity).

    Examples
    --------
    >>> print(float(acceleration_in_g(19.6133)))
    2.0
    """
    acceleration = _at_least_zero(acceleration_m_s2, "The acceleration", "m/s²")
    return np.asarray(acceleration / STANDARD_GRAVITY_M_S2)


def equal_acceleration_amplitude_mm(
    amplitude_mm: ArrayLike, from_hz: ArrayLike, to_hz: ArrayLike
) -> NDArray[np.float64]:
    """Amplitude that gives at one frequency the acceleration another gave at another.

    Parameters
    ----------
    amplitude_mm : array_like, (...)
        peak-to-peak amplitude set at `from_hz` [mm], >= 0
    from_hz, to_hz : array_like, (...)
        the two frequencies [Hz], > 0; 50 and 60 for drives locked to the mains

    Returns
    -------
    ndarray, (...)
        peak-to-peak amplitude to set at `to_hz` [mm]

    Raises
    ------
    OutOfRange
        for a negative amplitude or a frequency of zero or below

    Notes
    -----
    ``x2 = x1 (f1 / f2)^2``. A drive locked to the mains swings 3000 times a minute on 50 Hz
    and 3600 times on 60 Hz, so the same amplitude accelerates 1.44 times as much there.

    References
    ----------
    Kinematics of simple harmonic motion, any textbook of mechanics.

    Examples
    --------
    >>> print(round(float(equal_acceleration_amplitude_mm(1.44, 50.0, 60.0)), 6))
    1.0
    """
    amplitude = _at_least_zero(amplitude_mm, "The amplitude", "mm peak to peak")
    first = _above_zero(from_hz, "The first frequency", "Hz")
    second = _above_zero(to_hz, "The second frequency", "Hz")
    return np.asarray(amplitude * (first / second) ** 2)


def throw_number(
    acceleration_m_s2: ArrayLike,
    *,
    stroke_to_deck_deg: ArrayLike = 90.0,
    deck_incline_deg: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Throw number: acceleration normal to the deck over gravity normal to the deck.

    Parameters
    ----------
    acceleration_m_s2 : array_like, (...)
        peak acceleration along the stroke [m/s2], >= 0
    stroke_to_deck_deg : array_like, (...)
        angle between stroke and deck [degrees], 0 < angle <= 90; 90 is a vertical throw
    deck_incline_deg : array_like, (...)
        slope of the deck [degrees], 0 <= slope < 90; 0 is a level deck

    Returns
    -------
    ndarray, (...)
        throw number, a pure number; grains leave the deck above 1

    Raises
    ------
    OutOfRange
        for a negative acceleration or an angle outside its range

    Notes
    -----
    ``K = a sin(beta) / (g cos(alpha))`` with ``beta`` the stroke angle to the deck and
    ``alpha`` the slope; on a level deck thrown vertically ``K = a / g``.

    References
    ----------
    Sloot and Kruyt, Powder Technology 87 (1996), theory of vibratory conveying.

    Examples
    --------
    >>> print(float(throw_number(29.41995)))
    3.0
    """
    acceleration = _at_least_zero(acceleration_m_s2, "The acceleration", "m/s²")
    stroke = _finite(stroke_to_deck_deg, "The stroke angle")
    incline = _finite(deck_incline_deg, "The slope of the deck")
    if np.any(stroke <= 0) or np.any(stroke > 90):
        raise OutOfRange(
            "The angle between stroke and deck must lie above 0 and up to 90 degrees; "
            "90 is a vertical throw on a level deck."
        )
    if np.any(incline < 0) or np.any(incline >= 90):
        raise OutOfRange("The slope of the deck must lie from 0 to below 90 degrees.")
    normal = acceleration * np.sin(np.radians(stroke))
    return np.asarray(normal / (STANDARD_GRAVITY_M_S2 * np.cos(np.radians(incline))))


def flight_periods(throw_numbers: ArrayLike) -> NDArray[np.float64]:
    """Length of a grain's flight, in periods of the deck, at a throw number.

    Parameters
    ----------
    throw_numbers : array_like, (...)
        throw number, >= 0

    Returns
    -------
    ndarray, (...)
        flight time over the period; 0 where the throw number does not exceed 1

    Raises
    ------
    OutOfRange
        for a negative throw number or one that is not finite

    Notes
    -----
    A grain resting on a deck ``A sin(w t)`` leaves when the deck falls away faster than
    gravity pulls, at the phase ``sin(p0) = 1/K``, and lands when its parabola meets the deck
    again. With ``T`` the phase flown (``2 pi n``), the ballistic equation is::

        sin(p0) + T cos(p0) - T^2 / (2 K) = sin(p0 + T)

    Put ``1/K = sin(p0)`` and it becomes ``sqrt(K^2 - 1) = F(T)`` with
    ``F = (T^2/2 + cos T - 1) / (T - sin T)``. The slope of ``F`` is the square
    ``(T cos(T/2) - 2 sin(T/2))^2`` over ``(T - sin T)^2``, never negative, so there is one
    landing and halving the bracket finds it. The grain is a point, air does not slow it, and
    it starts from rest on the deck; what it does after landing is not followed.

    References
    ----------
    The ballistic equation as in Sloot and Kruyt, Powder Technology 87 (1996).

    Examples
    --------
    >>> print(round(float(flight_periods(3.0)), 2))
    0.95
    """
    K = _at_least_zero(throw_numbers, "The throw number", "(a pure number)")
    wanted = np.sqrt(np.maximum(K, 1.0) ** 2 - 1.0)
    low = np.zeros_like(wanted)
    high = 2.0 * wanted + 2.0  # F(T) >= T/2 - 0.7 for every T, so F(high) > wanted
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        too_short = _flight_function(middle) < wanted
        low = np.where(too_short, middle, low)
        high = np.where(too_short, high, middle)
    return np.asarray(np.where(K > 1.0, (low + high) / 2 / (2 * pi), 0.0))


def resonance_throw_number(periods: int) -> float:
    """Throw number at which one flight lasts a whole number of periods.

    Parameters
    ----------
    periods : int
        whole periods, >= 1

    Returns
    -------
    float
        throw number; 3.297 for one period

    Raises
    ------
    OutOfRange
        for fewer than one period

    Notes
    -----
    ``K = sqrt(1 + (n pi)^2)``: the ballistic equation of `flight_periods` at ``T = 2 pi n``,
    where ``cos T = 1`` and ``sin T = 0``. Grains thrown so are tossed afresh at each stroke
    ("statistical resonance"), the setting sieving seeks for ``n = 1``.

    References
    ----------
    Derived from the ballistic equation; the value 3.3 for one period is common practice.

    Examples
    --------
    >>> round(resonance_throw_number(1), 3)
    3.297
    """
    if periods < 1:
        raise OutOfRange("A resonance lasts one period of the deck or more; give 1, 2, 3, ...")
    return sqrt(1.0 + (periods * pi) ** 2)


def nearest_resonance(throw_number_set: float) -> Resonance:
    """The statistical resonance nearest to a throw number.

    Parameters
    ----------
    throw_number_set : float
        throw number, >= 0

    Returns
    -------
    Resonance
        whole periods, the throw number of that resonance, and the departure from it

    Raises
    ------
    OutOfRange
        for a negative throw number or one that is not finite

    Notes
    -----
    Nearest in throw number; halfway between two, the gentler one. Below the first resonance
    the first is nearest, even when nothing is thrown.

    References
    ----------
    `resonance_throw_number`.

    Examples
    --------
    >>> nearest = nearest_resonance(5.0)
    >>> nearest.periods, round(nearest.throw_number, 3), round(nearest.departure, 3)
    (2, 6.362, -1.362)
    """
    K = float(_at_least_zero(throw_number_set, "The throw number", "(a pure number)"))
    below = max(1, int(sqrt(max(K * K - 1.0, 0.0)) / pi))
    candidates = [(n, resonance_throw_number(n)) for n in (below, below + 1)]
    periods, at = min(candidates, key=lambda candidate: abs(K - candidate[1]))
    return Resonance(periods=periods, throw_number=at, departure=K - at)


def _flight_function(T: NDArray[np.float64]) -> NDArray[np.float64]:
    """F(T) of the ballistic equation, by its series where the closed form loses digits."""
    large = np.maximum(T, _SERIES_BELOW_RAD)
    closed = (large**2 / 2 + np.cos(large) - 1) / (large - np.sin(large))
    s = T**2
    above = 1 / 24 - s * (1 / 720 - s * (1 / 40320 - s * (1 / 3628800 - s / 479001600)))
    below = 1 / 6 - s * (1 / 120 - s * (1 / 5040 - s * (1 / 362880 - s / 39916800)))
    return np.where(T < _SERIES_BELOW_RAD, T * above / below, closed)


def _finite(value: ArrayLike, name: str) -> NDArray[np.float64]:
    numbers = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(numbers)):
        raise OutOfRange(f"{name} must be a number; look at what was entered and enter it again.")
    return numbers


def _at_least_zero(value: ArrayLike, name: str, unit: str) -> NDArray[np.float64]:
    numbers = _finite(value, name)
    if np.any(numbers < 0):
        raise OutOfRange(f"{name} cannot be negative; enter it in {unit}.")
    return numbers


def _above_zero(value: ArrayLike, name: str, unit: str) -> NDArray[np.float64]:
    numbers = _finite(value, name)
    if np.any(numbers <= 0):
        raise OutOfRange(f"{name} must be above zero; enter it in {unit}.")
    return numbers
