"""What a worksheet compares its run with: power lines of dense packing, and planned shaking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from functools import partial
from typing import Any

from gradation.science.characteristics import Characteristic
from gradation.science.errors import NotDeterminable
from gradation.science.gradation import Gradation
from gradation.science.power_lines import PowerLine, departure
from gradation.science.shaker_settings import (
    SettingTolerances,
    ShakerSettings,
    compare_settings,
    describe_motion,
)
from gradation.science.shaking import amplitude_pp_mm, equal_acceleration_amplitude_mm
from gradation.science.worksheet_refusals import answered, pct, sieve_name
from gradation.science.worksheet_requests import PowerLineRequest, SettingRequest, ShakingRequest

MAINS_HZ = (50.0, 60.0)
"""The two mains frequencies in use: IEC 60038, clause 4.1 (from memory)."""


def power_lines_json(
    asked: Sequence[PowerLineRequest], curve: Gradation, found: Sequence[Characteristic]
) -> list[dict[str, Any]]:
    """Give how far a run departs from power lines of dense packing.

    Parameters
    ----------
    asked : sequence of PowerLineRequest
        exponents and largest sizes
    curve : Gradation
        one run
    found : sequence of Characteristic
        for the maximum size, which counts where no largest size is stated

    Returns
    -------
    list of dict
        for each line its rows and the summary of the departure [%], or the reason for none

    Raises
    ------
    WorksheetFaults
        when a line cannot be

    Notes
    -----
    Measured minus line: positive is finer than the line.

    References
    ----------
    As `power_lines.departure`.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from gradation.science.gradation import gradation
    >>> run = gradation([400, 100], [0.0, 40.0, 60.0], 100.0)
    >>> line = PowerLineRequest(Decimal("0.5"), Decimal(400))
    >>> round(power_lines_json([line], run, ())[0]["largest_departure_pct"], 6)
    10.0
    """
    sizes = {each.name: each for each in found}
    return [
        answered(f"$.power_lines[{number}]", partial(_departure, each, curve, sizes))
        for number, each in enumerate(asked)
    ]


def _departure(
    asked: PowerLineRequest, curve: Gradation, sizes: dict[str, Characteristic]
) -> dict[str, Any]:
    """One line beside the curve."""
    largest_um = None if asked.largest_um is None else float(asked.largest_um)
    if largest_um is None:
        maximum = sizes["maximum_size"]
        if maximum.value is None:
            raise NotDeterminable(f"Where the line ends is not known. {maximum.reason}")
        largest_um = maximum.value
    line = PowerLine(largest_um, float(asked.exponent))
    away = departure(curve.apertures_um, curve.passing, line)
    return {
        "exponent": line.exponent,
        "largest_um": sieve_name(largest_um),
        "rows": [
            {"aperture_um": sieve_name(float(size)), "line_pct": on_line, "departure_pct": apart}
            for size, on_line, apart in zip(
                away.apertures_um, pct(away.on_line), pct(away.difference), strict=True
            )
        ],
        "largest_departure_pct": 100.0 * float(away.largest),
        "largest_departure_at_um": sieve_name(float(away.largest_at_um)),
        "root_mean_square_pct": 100.0 * float(away.root_mean_square),
        "mean_pct": 100.0 * float(away.mean),
    }


def shaking_json(asked: ShakingRequest) -> dict[str, Any]:
    """Give what settings of a shaker do to the grains, and whether two of them are alike.

    Parameters
    ----------
    asked : ShakingRequest
        settings planned, found, or both

    Returns
    -------
    dict
        planned and actual: acceleration, throw number, flight, nearest resonance, amplitudes of
        equal acceleration on 50 and 60 Hz; comparison of the two, or null

    Raises
    ------
    OutOfRange
        for a setting no shaker can have

    Notes
    -----
    Figures of the motion need an acceleration, or an amplitude with its frequency, and a drive
    that throws; else they are null with the reason.

    References
    ----------
    As `shaker_settings.describe_motion` and `compare_settings`.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from gradation.science.shaker_settings import Drive
    >>> one = SettingRequest(Drive.VERTICAL_THROW, Decimal(1), mains_hz=Decimal(50))
    >>> round(shaking_json(ShakingRequest(actual=one))["actual"]["motion"]["throw_number"], 3)
    5.032
    """
    return {
        "planned": _setting_json(asked.planned),
        "actual": _setting_json(asked.actual),
        "comparison": _comparison(asked),
    }


def _setting_json(asked: SettingRequest | None) -> dict[str, Any] | None:
    """One setting with its motion."""
    if asked is None:
        return None
    settings = _settings(asked)
    acceleration = settings.known_acceleration_m_s2
    if acceleration is None:
        reason = "An amplitude says nothing without its frequency; record both."
        return {"drive": settings.drive.value, "motion": None, "reason": reason}
    hz = settings.frequency_hz or MAINS_HZ[0]  # any will do: the motion follows the acceleration
    amplitude_mm = float(amplitude_pp_mm(acceleration, hz))
    motion = describe_motion(
        amplitude_mm,
        hz,
        stroke_to_deck_deg=float(asked.stroke_to_deck_deg),
        deck_incline_deg=float(asked.deck_incline_deg),
    )
    equal = {
        f"{mains:g}": float(equal_acceleration_amplitude_mm(amplitude_mm, hz, mains))
        for mains in MAINS_HZ
    }
    return {
        "drive": settings.drive.value,
        "motion": asdict(motion) | {"equal_acceleration_pp_mm_at_hz": equal},
        "reason": None,
    }


def _settings(asked: SettingRequest) -> ShakerSettings:
    """A setting in floating point."""
    numbers = (
        asked.amplitude_pp_mm, asked.deck_hz, asked.acceleration_m_s2, asked.duration_s,
        asked.interval_s, asked.taps_per_min,
    )  # fmt: skip
    return ShakerSettings(asked.drive, *(None if n is None else float(n) for n in numbers))


def _comparison(asked: ShakingRequest) -> dict[str, Any] | None:
    """Whether the run was shaken as planned."""
    if asked.planned is None or asked.actual is None:
        return None
    allowed = float(asked.tolerance_pct) / 100.0
    found = compare_settings(
        _settings(asked.planned),
        _settings(asked.actual),
        SettingTolerances(allowed, allowed, allowed),
    )
    return {"comparable": found.comparable, "reasons": list(found.reasons)}
