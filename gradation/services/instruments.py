"""Instruments and reference materials come on file; lots are retired, never deleted."""

from __future__ import annotations

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Equipment, Instrument, ReferenceLot, User
from gradation.policy import Action, require
from gradation.queries.reference_lots import certificate_of
from gradation.science.errors import GradationError
from gradation.services import ledger
from gradation.services.checking import cleaned_row, locked, needs_reason, registered

__all__ = ["register_instrument", "register_reference_lot", "retire_reference_lot"]


def register_instrument(*, actor: User, instrument: Instrument) -> Instrument:
    """Register a shaker, balance, oven, divider, timer or thermometer under its serial number.

    Equipment keepers may. Refuses (`Invalid`) a serial already given to any equipment, and a sieve.
    Ledger: instrument registered.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    if instrument.kind == Equipment.Kind.SIEVE:
        msg = "A sieve has its own card. Choose what kind of instrument it is."
        raise Invalid.one("kind", msg, code="is-a-sieve")
    with transaction.atomic():
        instrument.serial = instrument.serial.strip()
        registered(instrument, "serial")
        ledger.write(actor=actor, action="instrument registered", subject=instrument)
    return instrument


def register_reference_lot(*, actor: User, lot: ReferenceLot) -> ReferenceLot:
    """Put a lot of reference material on file with its certified distribution.

    Equipment keepers may. Refuses (`Invalid`, field `certified`) a distribution that does not fall
    from coarse to fine. Ledger: reference lot registered.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    try:
        certificate_of(lot)
    except (GradationError, ArithmeticError, KeyError, TypeError, ValueError) as error:
        said = str(error) if isinstance(error, GradationError) else "A row is not complete."
        msg = f"{said} Enter aperture, passing and its uncertainty, coarse to fine."
        raise Invalid.one("certified", msg, code="not-a-distribution") from error
    with transaction.atomic():
        cleaned_row(lot)
        ledger.write(actor=actor, action="reference lot registered", subject=lot)
    return lot


def retire_reference_lot(*, actor: User, lot: ReferenceLot, reason: str) -> ReferenceLot:
    """Retire a lot, with a reason; checks made with it stay. Ledger: reference lot retired.

    Equipment keepers may. Refuses (`Conflict`) a lot already retired.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    reason = needs_reason(reason, "retire the lot")
    with transaction.atomic():
        lot = locked(lot)
        if not lot.is_active:
            msg = f"Lot {lot} is already retired."
            raise Conflict(msg)
        before = ledger.snapshot(lot)
        lot.is_active = False
        lot.save(update_fields=["is_active"])
        ledger.write(
            actor=actor,
            action="reference lot retired",
            subject=lot,
            before=before,
            reason=reason,
        )
    return lot
