"""Weighing: readings of a run come in singly and are kept at once; a correction is a revision."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Run, User, Weighing
from gradation.policy import Action, require
from gradation.queries.readings import current_weighing
from gradation.science.errors import GradationError
from gradation.science.quantities import parse_mass_g
from gradation.services import clock, ledger
from gradation.services.checking import locked, needs_reason

__all__ = ["Reading", "correct_weighing", "record_weighing"]

Slot = Weighing.Slot

#: Read with a run, because every reading names them.
_OF_A_RUN = ("portion__sample", "procedure_version__procedure")


@dataclass(frozen=True)
class Reading:
    """One reading as it came in: text, not yet a number. With a tare, `text` is the gross mass."""

    slot: str
    text: str
    key: UUID
    position: int = 0
    increment: int = 1
    tare_text: str = ""
    source: str = Weighing.Source.TYPED


def record_weighing(*, actor: User, run: Run, reading: Reading) -> Weighing:
    """Keep one reading of a run, at once.

    Technicians may, while the run is open or returned. The same key again gives back the reading
    already kept. Refuses (`Invalid`) what is no mass, a gross mass below its tare, a dry mass after
    washing above the one before; refuses (`Conflict`) a place that already has another reading: a
    correction needs a reason. Ledger: reading recorded.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        known = run.weighings.filter(key=reading.key).first()
        if known is not None:
            return known
        _refuse_uneditable(run)
        present = current_weighing(run, reading.slot, reading.position, reading.increment)
        if present is not None:
            _refuse_second_value(present, reading)
        weighing = _weighing(actor, run, reading)
        weighing.save(force_insert=True)
        ledger.write(actor=actor, action="reading recorded", subject=weighing)
    return weighing


def correct_weighing(*, actor: User, run: Run, reading: Reading, reason: str) -> Weighing:
    """Replace a reading by a further revision; the earlier value stays readable.

    Technicians may, with a reason, while the run is open or returned. Refuses (`Conflict`) when
    there is nothing to correct. Ledger: reading corrected, with the value before.
    """
    require(actor, Action.RECORD_RUN)
    reason = needs_reason(reason, "correct the reading")
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        known = run.weighings.filter(key=reading.key).first()
        if known is not None:
            return known
        _refuse_uneditable(run)
        present = current_weighing(run, reading.slot, reading.position, reading.increment)
        if present is None:
            msg = "There is no reading here yet. Enter it; a correction replaces an earlier one."
            raise Conflict(msg, code="nothing-to-correct")
        weighing = _weighing(actor, run, reading)
        weighing.revision = present.revision + 1
        weighing.reason = reason
        weighing.save(force_insert=True)
        ledger.write(
            actor=actor,
            action="reading corrected",
            subject=weighing,
            before=ledger.snapshot(present),
            reason=reason,
        )
    return weighing


def _refuse_uneditable(run: Run) -> None:
    if not run.is_editable:
        msg = f"Run {run} is {run.state}; readings are made while it is open or returned."
        raise Conflict(msg)


def _refuse_second_value(present: Weighing, reading: Reading) -> None:
    msg = (
        f"{present.mass_as_entered} g was already recorded here by {present.made_by}. You entered "
        f"{reading.text}. Keep the first, or correct it with a reason."
    )
    raise Conflict(msg, code="reading-clash")


def _weighing(actor: User, run: Run, reading: Reading) -> Weighing:
    """Turn the text of a reading into a row, or refuse it beside its field."""
    gross = _mass("text", reading.text)
    tare = _mass("tare_text", reading.tare_text) if reading.tare_text.strip() else None
    net = gross if tare is None else gross - tare
    if net < 0:
        msg = f"Gross {gross} g is below tare {tare} g. Check both, and which sieve was weighed."
        raise Invalid.one("text", msg, code="gross-below-tare")
    _check_place(run, reading)
    _check_washing(run, reading, net)
    return Weighing(
        run=run,
        slot=reading.slot,
        position=reading.position,
        increment=reading.increment,
        mass_g=net,
        gross_g=None if tare is None else gross,
        tare_g=tare,
        entered_text=reading.text.strip()[:40],
        decimals=_decimals(net),
        source=reading.source,
        key=reading.key,
        made_at=clock.now(),
        made_by=actor,
    )


#: What the column holds: twelve figures, four of them decimals.
_LARGEST_G, _MOST_DECIMALS = Decimal(10) ** 8, 4


def _mass(field: str, text: str) -> Decimal:
    try:
        mass = parse_mass_g(text)
    except GradationError as error:
        raise Invalid.one(field, str(error), code="not-a-mass") from error
    if mass >= _LARGEST_G:
        msg = f"{text} g is more than any balance here weighs. Check the unit and the digits."
        raise Invalid.one(field, msg, code="too-large")
    if _decimals(mass) > _MOST_DECIMALS:
        msg = f"{text} g has more than {_MOST_DECIMALS} decimals. Enter what the balance shows."
        raise Invalid.one(field, msg, code="too-many-decimals")
    return mass


def _decimals(mass: Decimal) -> int:
    return max(0, -int(mass.as_tuple().exponent))


def _check_place(run: Run, reading: Reading) -> None:
    if reading.slot not in set(Slot):
        msg = f"{reading.slot} is nothing that is weighed in a run."
        raise Invalid.one("slot", msg, code="unknown-slot")
    expected = reading.position > 0
    if (reading.slot == Slot.FRACTION) != expected:
        msg = "A fraction has its place in the nest; other masses have none."
        raise Invalid.one("position", msg, code="no-such-place")
    if expected and not run.places.filter(position=reading.position).exists():
        msg = f"Run {run} has no sieve at place {reading.position}."
        raise Invalid.one("position", msg, code="no-such-place")
    if reading.slot == Slot.WASHED_DRY_MASS and not run.procedure_version.wash:
        msg = f"{run.procedure_version} has no washing. Note a deviation if it was washed."
        raise Invalid.one("slot", msg, code="not-washed")


def _check_washing(run: Run, reading: Reading, net: Decimal) -> None:
    other_slot = {
        Slot.DRY_MASS.value: Slot.WASHED_DRY_MASS,
        Slot.WASHED_DRY_MASS.value: Slot.DRY_MASS,
    }.get(reading.slot)
    other = current_weighing(run, other_slot) if other_slot else None
    if other is None:
        return
    before, after = (net, other.mass_g) if reading.slot == Slot.DRY_MASS else (other.mass_g, net)
    if after > before:
        msg = (
            f"After washing {after.normalize():f} g, before only {before.normalize():f} g. "
            "Material cannot be gained by washing: check both masses and that it was dry."
        )
        raise Invalid.one("text", msg, code="gained-by-washing")
