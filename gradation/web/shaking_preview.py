"""What a setting of the shaker does to the grains, shown while it is typed; keeps nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from gradation.queries.shakings import drive_of
from gradation.science.errors import GradationError
from gradation.science.shaker_settings import Drive, Motion, describe_motion
from gradation.science.shaking import (
    STANDARD_GRAVITY_M_S2,
    amplitude_pp_mm,
    equal_acceleration_amplitude_mm,
)

__all__ = ["MotionShown", "Setting", "motion_shown"]

_MAINS_HZ = (50.0, 60.0)
_NEAR_RESONANCE = 0.05


@dataclass(frozen=True)
class Setting:
    """What is entered about the motion; None where nothing is, or it cannot be read yet."""

    motion: str = ""
    amplitude_mm: Decimal | None = None
    frequency_hz: Decimal | None = None
    acceleration_g: Decimal | None = None


@dataclass(frozen=True)
class MotionShown:
    """Figures of a setting by name, and what is to be said about it."""

    figures: tuple[tuple[str, str], ...] = ()
    sentences: tuple[str, ...] = ()


def motion_shown(setting: Setting) -> MotionShown:
    """Work out what the setting does, and what is missing to tell."""
    drive = drive_of(setting.motion)
    if drive is not None and drive is not Drive.VERTICAL_THROW:
        return MotionShown(sentences=(_other_drive(drive),))
    if setting.frequency_hz is None:
        return MotionShown(sentences=tuple(_without_frequency(setting)))
    try:
        amplitude = _amplitude(setting)
        if amplitude is None:
            return MotionShown()
        return _described(setting, amplitude, describe_motion(amplitude, _hz(setting)))
    except GradationError as error:
        return MotionShown(sentences=(str(error),))


def _other_drive(drive: Drive) -> str:
    return (
        f"Throw number and flight are worked out for a vertical throw; {drive.words} motion is "
        "compared by its time, and taps, alone."
    )


def _without_frequency(setting: Setting) -> Iterator[str]:
    if setting.amplitude_mm is not None:
        yield "An amplitude says nothing without its frequency. Enter both, or the acceleration."
    elif setting.acceleration_g is not None:
        yield "With the frequency, the amplitude that gives this acceleration is shown here."
    else:
        yield "With amplitude and frequency, what they do to the grains is shown here."


def _hz(setting: Setting) -> float:
    return float(setting.frequency_hz or 0)


def _amplitude(setting: Setting) -> float | None:
    """Amplitude as entered, or the one that gives the acceleration at this frequency."""
    if setting.amplitude_mm is not None:
        return float(setting.amplitude_mm)
    if setting.acceleration_g is None:
        return None
    return float(
        amplitude_pp_mm(float(setting.acceleration_g) * STANDARD_GRAVITY_M_S2, _hz(setting))
    )


def _described(setting: Setting, amplitude: float, motion: Motion) -> MotionShown:
    figures = [
        ("Amplitude, peak to peak", f"{amplitude:.2f} mm"),
        (
            "Acceleration, peak",
            f"{motion.acceleration_g:.2f} g ({motion.acceleration_m_s2:.1f} m/s²)",
        ),
        ("Throw number", f"{motion.throw_number:.2f}"),
        ("One flight lasts", _flight(motion)),
        ("Nearest resonance", _resonance(motion)),
        *(
            (f"The same at {mains:g} Hz", f"{_same(amplitude, _hz(setting), mains):.2f} mm")
            for mains in _MAINS_HZ
            if mains != _hz(setting)
        ),
    ]
    return MotionShown(tuple(figures), tuple(_said(setting, motion)))


def _flight(motion: Motion) -> str:
    return f"{motion.flight_periods:.2f} periods" if motion.leaves_deck else "grains stay down"


def _resonance(motion: Motion) -> str:
    at = motion.resonance
    many = "" if at.periods == 1 else "s"
    return f"{at.periods} period{many}, at throw number {at.throw_number:.2f}"


def _same(amplitude: float, from_hz: float, to_hz: float) -> float:
    return float(equal_acceleration_amplitude_mm(amplitude, from_hz, to_hz))


def _said(setting: Setting, motion: Motion) -> Iterator[str]:
    if not motion.leaves_deck:
        yield "Below 1 g the grains are not thrown; they only slide on the cloth."
    elif abs(motion.resonance.departure) <= _NEAR_RESONANCE * motion.resonance.throw_number:
        yield "Near a resonance: each throw meets the sieve at the same moment of its swing."
    if setting.acceleration_g is not None and setting.amplitude_mm is not None:
        yield (
            f"Entered: {setting.acceleration_g:f} g. From amplitude and frequency: "
            f"{motion.acceleration_g:.2f} g."
        )
