"""Shakings of a run: what the procedure plans, what was done, and whether it is the same."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal

from gradation.models import Equipment, Instrument, ProcedureVersion, Run, Shaking
from gradation.science.errors import GradationError
from gradation.science.shaker_settings import (
    Drive,
    SettingsComparison,
    SettingTolerances,
    ShakerSettings,
    compare_settings,
)
from gradation.science.shaking import (
    STANDARD_GRAVITY_M_S2,
    amplitude_pp_mm,
    equal_acceleration_amplitude_mm,
)

__all__ = [
    "Plan",
    "Summary",
    "compared",
    "drive_of",
    "latest_shakings",
    "plan_of",
    "prefilled",
    "same_motion_note",
    "settings_of",
    "shaker_of",
    "shaking_minutes",
    "summary_of",
]

#: Words of a motion as procedures and shakers' cards write it, in the order they are looked for.
_DRIVES = (
    ("hand", Drive.BY_HAND),
    ("jet", Drive.AIR_JET),
    ("sonic", Drive.SONIC),
    ("tap", Drive.HORIZONTAL_AND_TAPPING),
    ("vertical", Drive.VERTICAL_THROW),
    ("throw", Drive.VERTICAL_THROW),
    ("vibrat", Drive.VERTICAL_THROW),
    ("horizontal", Drive.HORIZONTAL_CIRCULAR),
    ("circular", Drive.HORIZONTAL_CIRCULAR),
)
#: The comparison speaks of two runs; here one of them is the plan.
_WORDS = (("the first run", "the procedure's plan"), ("the second run", "this shaking"))


@dataclass(frozen=True)
class Plan:
    """How the nest is to be shaken; None where the procedure leaves it open."""

    motion: str = ""
    minutes: Decimal | None = None
    amplitude_mm: Decimal | None = None
    acceleration_g: Decimal | None = None
    frequency_hz: Decimal | None = None
    interval_s: int | None = None
    taps_per_min: int | None = None

    @property
    def is_open(self) -> bool:
        """Say whether the procedure says nothing about shaking."""
        return self == Plan()


def plan_of(procedure: ProcedureVersion) -> Plan:
    """Give what a procedure says about shaking."""
    return Plan(
        motion=procedure.shaking_motion,
        minutes=procedure.shaking_minutes,
        amplitude_mm=procedure.shaking_amplitude_mm,
        acceleration_g=procedure.shaking_acceleration_g,
        frequency_hz=procedure.shaking_frequency_hz,
        interval_s=procedure.shaking_interval_s,
        taps_per_min=procedure.shaking_taps_per_min,
    )


def prefilled(run: Run, shaker: Instrument | None) -> Plan:
    """Give what is to be confirmed: the plan, at the rates of the shaker that stands there."""
    plan = plan_of(run.procedure_version)
    if shaker is None:
        return plan
    frequency_hz = plan.frequency_hz if shaker.frequency_hz is None else shaker.frequency_hz
    taps = plan.taps_per_min if shaker.taps_per_min is None else shaker.taps_per_min
    return replace(plan, frequency_hz=frequency_hz, taps_per_min=taps)


def shaker_of(run: Run) -> Instrument | None:
    """Give the first shaker among the instruments of a run."""
    instruments = (row.instrument for row in run.instruments.all())
    return next((item for item in instruments if item.kind == Equipment.Kind.SHAKER), None)


def latest_shakings(shakings: Iterable[Shaking]) -> list[Shaking]:
    """Keep the newest revision of each shaking, in the order they were made."""
    latest: dict[int, Shaking] = {}
    for row in sorted(shakings, key=lambda each: (each.number, each.revision)):
        latest[row.number] = row
    return list(latest.values())


def shaking_minutes(shakings: Iterable[Shaking]) -> Decimal | None:
    """Add up the minutes shaken; None when no shaking was recorded."""
    minutes = [row.minutes for row in latest_shakings(shakings)]
    return sum(minutes, Decimal(0)) if minutes else None


@dataclass(frozen=True)
class Summary:
    """What the shakings of a run add to it when it is handed over."""

    minutes: Decimal | None
    notes: tuple[str, ...]


def summary_of(run: Run, said_minutes: Decimal | None = None) -> Summary:
    """Give the minutes shaken, all shakings together, and the notes of those unlike the plan.

    Where no shaking was recorded, what was said at the hand-over counts.
    """
    latest = latest_shakings(run.shakings.all())
    minutes = shaking_minutes(latest)
    notes = tuple(f"Shaking {row.number}: {row.note}" for row in latest if row.note)
    return Summary(said_minutes if minutes is None else minutes, notes)


def drive_of(motion: str) -> Drive | None:
    """Read the kind of drive out of the words for a motion; None when they say none."""
    words = motion.lower()
    return next((drive for word, drive in _DRIVES if word in words), None)


def compared(procedure: ProcedureVersion, shaking: Shaking) -> SettingsComparison:
    """Say whether a shaking was as the procedure plans it, and why or why not.

    A further shaking may take as long as it needs: its time is not compared.
    """
    plan = plan_of(procedure)
    if plan.is_open:
        return SettingsComparison(None, ("The procedure says nothing about shaking.",))
    planned, done = _drives(procedure, shaking)
    if planned is None or done is None:
        said = "How the nest is moved is not said, neither by the procedure nor by the shaker."
        return SettingsComparison(None, (said,))
    minutes = plan.minutes if shaking.number == 1 else shaking.minutes
    tolerance = float(procedure.shaking_tolerance_pct) / 100
    try:
        found = compare_settings(
            _settings(planned, replace(plan, minutes=minutes)),
            _settings(done, _done(shaking)),
            SettingTolerances(tolerance, tolerance, tolerance),
        )
    except GradationError as error:
        return SettingsComparison(None, (str(error),))
    return SettingsComparison(found.comparable, tuple(_in_words(each) for each in found.reasons))


def _drives(procedure: ProcedureVersion, shaking: Shaking) -> tuple[Drive | None, Drive | None]:
    """Give both drives; where one of them is not known, it is taken to be the other."""
    planned = drive_of(procedure.shaking_motion)
    done = drive_of(shaking.shaker.motion) if shaking.shaker else None
    return planned or done, done or planned


def _done(shaking: Shaking) -> Plan:
    return Plan(
        minutes=shaking.minutes,
        amplitude_mm=shaking.amplitude_mm,
        acceleration_g=shaking.acceleration_g,
        frequency_hz=shaking.frequency_hz,
        interval_s=shaking.interval_s,
        taps_per_min=shaking.taps_per_min,
    )


def _settings(drive: Drive, plan: Plan) -> ShakerSettings:
    return ShakerSettings(
        drive,
        amplitude_pp_mm=_float(plan.amplitude_mm),
        frequency_hz=_float(plan.frequency_hz),
        acceleration_m_s2=None
        if plan.acceleration_g is None
        else float(plan.acceleration_g) * STANDARD_GRAVITY_M_S2,
        duration_s=None if plan.minutes is None else 60 * float(plan.minutes),
        interval_s=_float(plan.interval_s),
        taps_per_min=_float(plan.taps_per_min),
    )


def _float(value: Decimal | int | None) -> float | None:
    return None if value is None else float(value)


def _in_words(reason: str) -> str:
    for was, now in _WORDS:
        reason = reason.replace(was, now)
    return reason


def same_motion_note(run: Run, shaker: Instrument | None) -> str:
    """Say which amplitude gives the planned acceleration on a shaker of another frequency."""
    plan = plan_of(run.procedure_version)
    if shaker is None or shaker.frequency_hz is None:
        return ""
    if plan.acceleration_g is not None:
        acceleration = float(plan.acceleration_g) * STANDARD_GRAVITY_M_S2
        wanted_mm = float(amplitude_pp_mm(acceleration, float(shaker.frequency_hz)))
    elif plan.amplitude_mm is None or plan.frequency_hz in {None, shaker.frequency_hz}:
        return ""
    else:
        wanted_mm = float(
            equal_acceleration_amplitude_mm(
                float(plan.amplitude_mm), float(plan.frequency_hz or 0), float(shaker.frequency_hz)
            )
        )
    return (
        f"Shaker {shaker.serial} runs at {shaker.frequency_hz.normalize():f} Hz: "
        f"{wanted_mm:.2f} mm peak to peak gives the planned acceleration."
    )


def settings_of(run: Run) -> ShakerSettings | None:
    """Give how a run was shaken: its first setting over all its time; None when not recorded."""
    shakings = latest_shakings(run.shakings.all())
    if not shakings:
        return None
    first = shakings[0]
    plan = replace(_done(first), minutes=shaking_minutes(shakings))
    drive = (drive_of(first.shaker.motion) if first.shaker else None) or drive_of(
        run.procedure_version.shaking_motion
    )
    return None if drive is None else _settings(drive, plan)
