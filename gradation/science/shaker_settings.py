"""Settings of a shaker: what they do to the grains, and whether two runs were shaken alike.

Public: `Drive`, `ShakerSettings`, `SettingTolerances`, `SettingsComparison`,
`compare_settings`, `Motion`, `describe_motion`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from gradation.science.errors import OutOfRange
from gradation.science.shaking import (
    Resonance,
    acceleration_in_g,
    flight_periods,
    nearest_resonance,
    peak_acceleration_m_s2,
    throw_number,
)


class Drive(StrEnum):
    """How the nest is moved."""

    VERTICAL_THROW = "vertical_throw"
    HORIZONTAL_CIRCULAR = "horizontal_circular"
    HORIZONTAL_AND_TAPPING = "horizontal_and_tapping"
    AIR_JET = "air_jet"
    SONIC = "sonic"
    BY_HAND = "by_hand"

    @property
    def words(self) -> str:
        """The drive as it reads inside a sentence."""
        return self.value.replace("_", " ")


@dataclass(frozen=True, slots=True)
class Motion:
    """What a setting of amplitude and frequency does to the grains.

    Parameters
    ----------
    acceleration_m_s2, acceleration_g : float
        peak acceleration of the deck [m/s2], and as multiple of standard gravity
    throw_number : float
        peak acceleration normal to the deck over gravity normal to it
    leaves_deck : bool
        whether grains are thrown at all (throw number above 1)
    flight_periods : float
        length of one flight in periods; 0 when nothing is thrown
    resonance : Resonance
        nearest statistical resonance
    """

    acceleration_m_s2: float
    acceleration_g: float
    throw_number: float
    leaves_deck: bool
    flight_periods: float
    resonance: Resonance


@dataclass(frozen=True, slots=True)
class ShakerSettings:
    """How one run was shaken; None where it was not recorded or does not apply.

    Parameters
    ----------
    drive : Drive
        how the nest was moved
    amplitude_pp_mm, frequency_hz : float | None
        peak-to-peak amplitude [mm] and frequency of the deck [Hz]
    acceleration_m_s2 : float | None
        peak acceleration [m/s2] where the shaker was set by it
    duration_s, interval_s : float | None
        time shaken [s], and time between pauses [s]; no interval is continuous shaking
    taps_per_min : float | None
        taps a minute of a tapping drive
    """

    drive: Drive
    amplitude_pp_mm: float | None = None
    frequency_hz: float | None = None
    acceleration_m_s2: float | None = None
    duration_s: float | None = None
    interval_s: float | None = None
    taps_per_min: float | None = None

    @property
    def known_acceleration_m_s2(self) -> float | None:
        """Acceleration as set, or from amplitude and frequency when both are recorded."""
        if self.acceleration_m_s2 is not None:
            return self.acceleration_m_s2
        if self.amplitude_pp_mm is None or self.frequency_hz is None:
            return None
        return float(peak_acceleration_m_s2(self.amplitude_pp_mm, self.frequency_hz))


@dataclass(frozen=True, slots=True)
class SettingTolerances:
    """How far two settings may lie apart and still count as the same.

    Parameters
    ----------
    acceleration, duration, taps : float
        largest difference as a share of the larger value; 0.05 is common practice
    """

    acceleration: float = 0.05
    duration: float = 0.05
    taps: float = 0.05


@dataclass(frozen=True, slots=True)
class SettingsComparison:
    """Whether two runs were shaken alike.

    Parameters
    ----------
    comparable : bool | None
        None when something needed to tell was not recorded
    reasons : tuple of str
        what differs or what is missing, as sentences; when comparable, what agrees
    """

    comparable: bool | None
    reasons: tuple[str, ...]


def describe_motion(
    amplitude_mm: float,
    frequency_hz: float,
    *,
    stroke_to_deck_deg: float = 90.0,
    deck_incline_deg: float = 0.0,
) -> Motion:
    """All figures of one setting: acceleration, throw number, flight, resonance.

    Parameters
    ----------
    amplitude_mm : float
        peak-to-peak amplitude [mm], >= 0
    frequency_hz : float
        frequency of the deck's motion [Hz], > 0
    stroke_to_deck_deg, deck_incline_deg : float
        angles as in `throw_number` [degrees]

    Returns
    -------
    Motion
        the figures

    Raises
    ------
    OutOfRange
        for a setting no shaker can have, as the single functions refuse it

    Notes
    -----
    Puts `peak_acceleration_m_s2`, `throw_number`, `flight_periods` and `nearest_resonance`
    side by side; adds no formula of its own.

    References
    ----------
    Those of the single functions.

    Examples
    --------
    >>> motion = describe_motion(1.0, 50.0)
    >>> round(motion.acceleration_g, 3), motion.leaves_deck, motion.resonance.periods
    (5.032, True, 2)
    """
    acceleration = float(peak_acceleration_m_s2(amplitude_mm, frequency_hz))
    thrown = float(
        throw_number(
            acceleration,
            stroke_to_deck_deg=stroke_to_deck_deg,
            deck_incline_deg=deck_incline_deg,
        )
    )
    return Motion(
        acceleration_m_s2=acceleration,
        acceleration_g=float(acceleration_in_g(acceleration)),
        throw_number=thrown,
        leaves_deck=thrown > 1.0,
        flight_periods=float(flight_periods(thrown)),
        resonance=nearest_resonance(thrown),
    )


def compare_settings(
    first: ShakerSettings,
    second: ShakerSettings,
    tolerances: SettingTolerances | None = None,
) -> SettingsComparison:
    """Whether two runs were shaken alike, and why or why not.

    Parameters
    ----------
    first, second : ShakerSettings
        the settings of the two runs
    tolerances : SettingTolerances, optional
        how far apart counts as the same; 5 % each by default

    Returns
    -------
    SettingsComparison
        verdict, with at least one reason

    Raises
    ------
    OutOfRange
        for a tolerance outside 0 to 1, or an amplitude or frequency no shaker can have

    Notes
    -----
    Drives of different kind are never comparable: they do not agree on the same material.
    Thrown nests are compared by acceleration, because equal amplitudes on 50 Hz and 60 Hz
    mains differ by 1.44 in acceleration. A difference found settles the matter even when
    something else was not recorded; otherwise a gap in the record leaves it open.

    References
    ----------
    `shaking.peak_acceleration_m_s2`; the 5 % is common practice.

    Examples
    --------
    >>> here = ShakerSettings(Drive.VERTICAL_THROW, 1.44, 50.0, duration_s=600)
    >>> there = ShakerSettings(Drive.VERTICAL_THROW, 1.44, 60.0, duration_s=600)
    >>> compare_settings(here, there).comparable
    False
    """
    allowed = tolerances or SettingTolerances()
    _check_tolerances(allowed)
    if first.drive != second.drive:
        sentence = (
            f"The drives differ: {first.drive.words} and {second.drive.words} do not separate "
            "the same material alike."
        )
        return SettingsComparison(comparable=False, reasons=(sentence,))
    differences = list(_differences(first, second, allowed))
    gaps = list(_gaps(first, second))
    if differences:
        return SettingsComparison(comparable=False, reasons=tuple(differences + gaps))
    if gaps:
        return SettingsComparison(comparable=None, reasons=tuple(gaps))
    return SettingsComparison(comparable=True, reasons=(_agreement(first, second),))


def _check_tolerances(allowed: SettingTolerances) -> None:
    for share in (allowed.acceleration, allowed.duration, allowed.taps):
        if not 0 <= share < 1:
            raise OutOfRange(
                f"A tolerance of {share:g} cannot be used; give a share from 0 to below 1, "
                "such as 0.05 for 5 %."
            )


def _differences(
    first: ShakerSettings, second: ShakerSettings, allowed: SettingTolerances
) -> Iterator[str]:
    yield from _acceleration_differs(first, second, allowed.acceleration)
    yield from _number_differs(
        ("Taps a minute", "", first.taps_per_min, second.taps_per_min), allowed.taps
    )
    yield from _number_differs(
        ("Time shaken", " s", first.duration_s, second.duration_s), allowed.duration
    )
    yield from _interval_differs(first.interval_s, second.interval_s, allowed.duration)


def _acceleration_differs(
    first: ShakerSettings, second: ShakerSettings, allowed: float
) -> Iterator[str]:
    one, other = first.known_acceleration_m_s2, second.known_acceleration_m_s2
    if one is None or other is None or _alike(one, other, allowed):
        return
    yield (
        f"The accelerations differ: {one:.1f} m/s² ({_throw(one)}) and {other:.1f} m/s² "
        f"({_throw(other)})."
    )
    if _same_amplitude_other_frequency(first, second):
        yield (
            f"Both were set to {first.amplitude_pp_mm:g} mm, but at {first.frequency_hz:g} Hz "
            f"and {second.frequency_hz:g} Hz; set the amplitude that gives the same acceleration."
        )


def _throw(acceleration_m_s2: float) -> str:
    thrown = float(throw_number(acceleration_m_s2))
    return f"throw number {thrown:.2f}" if thrown > 1 else "grains not thrown"


def _same_amplitude_other_frequency(first: ShakerSettings, second: ShakerSettings) -> bool:
    known = None not in (first.amplitude_pp_mm, first.frequency_hz, second.frequency_hz)
    return (
        known
        and first.amplitude_pp_mm == second.amplitude_pp_mm
        and first.frequency_hz != second.frequency_hz
    )


def _number_differs(
    setting: tuple[str, str, float | None, float | None], allowed: float
) -> Iterator[str]:
    name, unit, one, other = setting
    if one is not None and other is not None and not _alike(one, other, allowed):
        yield f"{name} differs: {one:g}{unit} and {other:g}{unit}."


def _interval_differs(one: float | None, other: float | None, allowed: float) -> Iterator[str]:
    if one is None and other is None:
        return
    if one is None or other is None:
        yield (
            "One run was shaken with pauses and the other without; grains settle anew in each "
            "pause."
        )
    elif not _alike(one, other, allowed):
        yield f"The interval between pauses differs: {one:g} s and {other:g} s."


def _gaps(first: ShakerSettings, second: ShakerSettings) -> Iterator[str]:
    runs = (("first", first), ("second", second))
    for name, settings in runs:
        if settings.drive == Drive.VERTICAL_THROW and settings.known_acceleration_m_s2 is None:
            yield (
                f"The acceleration of the {name} run is not known: an amplitude says nothing "
                "without its frequency. Record both, or the acceleration."
            )
        if settings.drive == Drive.HORIZONTAL_AND_TAPPING and settings.taps_per_min is None:
            yield f"The taps a minute of the {name} run were not recorded."
        if settings.duration_s is None:
            yield f"The time shaken of the {name} run was not recorded."


def _agreement(first: ShakerSettings, second: ShakerSettings) -> str:
    one, other = first.known_acceleration_m_s2, second.known_acceleration_m_s2
    if one is not None and other is not None:
        return (
            f"Same drive, time and acceleration within tolerance ({one:.1f} m/s² and "
            f"{other:.1f} m/s²)."
        )
    return "Same drive and time within tolerance."


def _alike(one: float, other: float, allowed: float) -> bool:
    return abs(one - other) <= allowed * max(abs(one), abs(other)) * (1 + 1e-12)
