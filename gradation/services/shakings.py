"""Shakings: how the nest was really shaken, beside the plan; a correction is a revision."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import Equipment, Instrument, Run, Shaking, User
from gradation.policy import Action, require
from gradation.queries.shakings import compared, latest_shakings, shaker_of
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked, needs_reason, not_in_future

__all__ = ["Shaken", "correct_shaking", "record_shaking"]

_OF_A_RUN = ("portion__sample", "procedure_version__procedure")


@dataclass(frozen=True)
class Shaken:
    """One shaking as it was made; without a shaker, the one of the run is meant."""

    key: UUID
    minutes: Decimal
    amplitude_mm: Decimal | None = None
    acceleration_g: Decimal | None = None
    frequency_hz: Decimal | None = None
    interval_s: int | None = None
    taps_per_min: int | None = None
    shaker: Instrument | None = None
    began_at: datetime | None = None
    note: str = ""


def record_shaking(*, actor: User, run: Run, shaken: Shaken) -> Shaking:
    """Keep how the nest was shaken; a further shaking gets the next number.

    Technicians may, while the run is open or returned. The same key again gives back what was
    kept. Refuses (`Invalid`) settings the shaker does not have, and a shaking that differs from the
    procedure's plan without a note (field `note`). Ledger: shaking recorded.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        made = list(run.shakings.select_related("shaker"))
        known = next((row for row in made if row.key == shaken.key), None)
        if known is not None:
            return known
        _refuse_uneditable(run)
        shaking = _shaking(actor, run, shaken)
        shaking.number = max((row.number for row in made), default=0) + 1
        _check(shaking)
        cleaned(shaking).save(force_insert=True)
        ledger.write(actor=actor, action="shaking recorded", subject=shaking)
    return shaking


def correct_shaking(*, actor: User, run: Run, number: int, shaken: Shaken, reason: str) -> Shaking:
    """Replace what was kept of a shaking by a further revision; the earlier one stays readable.

    Technicians may, with a reason, while the run is open or returned. Refuses (`Conflict`) when
    there is no such shaking, and (`Invalid`) what `record_shaking` refuses. Ledger: shaking
    corrected, with what it was before.
    """
    require(actor, Action.RECORD_RUN)
    reason = needs_reason(reason, "correct the shaking")
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        made = list(run.shakings.select_related("shaker"))
        known = next((row for row in made if row.key == shaken.key), None)
        if known is not None:
            return known
        _refuse_uneditable(run)
        before = next((row for row in latest_shakings(made) if row.number == number), None)
        if before is None:
            msg = f"Run {run} has no shaking {number} to correct. Record it first."
            raise Conflict(msg, code="nothing-to-correct")
        shaking = _shaking(actor, run, shaken)
        shaking.number, shaking.revision, shaking.reason = number, before.revision + 1, reason
        _check(shaking)
        cleaned(shaking).save(force_insert=True)
        ledger.write(
            actor=actor,
            action="shaking corrected",
            subject=shaking,
            before=ledger.snapshot(before),
            reason=reason,
        )
    return shaking


def _refuse_uneditable(run: Run) -> None:
    if not run.is_editable:
        msg = f"Run {run} is {run.state}; shakings are recorded while it is open or returned."
        raise Conflict(msg)


def _shaking(actor: User, run: Run, shaken: Shaken) -> Shaking:
    return Shaking(
        run=run,
        shaker=shaken.shaker or shaker_of(run),
        began_at=shaken.began_at,
        minutes=shaken.minutes,
        amplitude_mm=shaken.amplitude_mm,
        acceleration_g=shaken.acceleration_g,
        frequency_hz=shaken.frequency_hz,
        interval_s=shaken.interval_s,
        taps_per_min=shaken.taps_per_min,
        note=shaken.note.strip(),
        key=shaken.key,
        made_at=clock.now(),
        made_by=actor,
    )


def _check(shaking: Shaking) -> None:
    faults = [*_impossible(shaking), *not_in_future("began_at", shaking.began_at, "The start")]
    if faults:
        raise Invalid(faults)
    found = compared(shaking.run.procedure_version, shaking)
    if found.comparable is False and not shaking.note:
        msg = (
            f"This is not as the procedure plans it. {' '.join(found.reasons)} Say why in a note; "
            "it goes with the run as a deviation."
        )
        raise Invalid.one("note", msg, code="deviation-note-missing")


def _impossible(shaking: Shaking) -> list[Fault]:
    """Say what no shaker, or not this one, can have done."""
    settings = {
        "minutes": shaking.minutes,
        "amplitude_mm": shaking.amplitude_mm,
        "acceleration_g": shaking.acceleration_g,
        "frequency_hz": shaking.frequency_hz,
        "interval_s": shaking.interval_s,
        "taps_per_min": shaking.taps_per_min,
    }
    faults = [
        Fault(name, "Enter a number above zero, or leave it empty.", "not-positive")
        for name, value in settings.items()
        if value is not None and value <= 0
    ]
    shaker = shaking.shaker
    if shaker is not None and shaker.kind != Equipment.Kind.SHAKER:
        faults.append(Fault("shaker", f"{shaker} is no shaker.", "not-a-shaker"))
    elif shaker is not None and shaking.amplitude_mm is not None:
        faults += _out_of_range(shaker, shaking.amplitude_mm)
    return faults


def _out_of_range(shaker: Instrument, amplitude_mm: Decimal) -> list[Fault]:
    least, most = shaker.amplitude_min_mm, shaker.amplitude_max_mm
    if (least is None or amplitude_mm >= least) and (most is None or amplitude_mm <= most):
        return []
    ends = " to ".join(f"{end.normalize():f}" for end in (least, most) if end is not None)
    msg = (
        f"Shaker {shaker.serial} is set from {ends} mm peak to peak, not "
        f"{amplitude_mm.normalize():f} mm. Read its setting again."
    )
    return [Fault("amplitude_mm", msg, "amplitude-out-of-range")]
