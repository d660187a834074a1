"""Upkeep: sieves are registered, checked, taken out of service and put back; nests are built."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import Bench, Nest, NestSieve, Procedure, Sieve, SieveCheck, User
from gradation.policy import Action, require
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, cleaned_row, locked, needs_reason

__all__ = [
    "add_bench",
    "build_nest",
    "put_back_in_service",
    "record_check",
    "register_sieve",
    "take_out_of_service",
    "withdraw_sieve",
]


def add_bench(*, actor: User, bench: Bench) -> Bench:
    """Add a bench; equipment keepers may. Ledger: bench added."""
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        cleaned_row(bench)
        ledger.write(actor=actor, action="bench added", subject=bench)
    return bench


def register_sieve(*, actor: User, sieve: Sieve) -> Sieve:
    """Register a test sieve under its serial number; equipment keepers may. Ledger: registered."""
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        sieve.serial = sieve.serial.strip()
        cleaned_row(sieve)
        ledger.write(actor=actor, action="sieve registered", subject=sieve)
    return sieve


def record_check(*, actor: User, check: SieveCheck) -> SieveCheck:
    """Record a check of a sieve; the next one falls due by the sieve's interval.

    Equipment keepers may. A failed check takes the sieve out of service in the same transaction.
    Refuses (`Invalid`) a date in the future. Ledger: check recorded (and sieve out of service).
    """
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        sieve = locked(check.sieve)
        if check.performed_on > clock.today():
            msg = "The check lies in the future. Enter the day it was made."
            raise Invalid(Fault("performed_on", msg, "in-future"))
        check.performed_by, check.recorded_at = actor, clock.now()
        if check.next_due_on is None and check.passed and sieve.check_interval_days:
            check.next_due_on = check.performed_on + timedelta(days=sieve.check_interval_days)
        cleaned(check).save(force_insert=True)
        ledger.write(actor=actor, action="check recorded", subject=check)
        _take_over_check(actor, sieve, check)
    return check


def _take_over_check(actor: User, sieve: Sieve, check: SieveCheck) -> None:
    before = ledger.snapshot(sieve)
    if check.passed:
        sieve.next_check_on = check.next_due_on
        action = "next check set"
    else:
        _set_state(sieve, Sieve.State.OUT_OF_SERVICE, f"Failed its {check.kind} check.")
        action = "sieve out of service"
    sieve.save()
    ledger.write(actor=actor, action=action, subject=sieve, before=before, reason=check.note[:400])


def take_out_of_service(*, actor: User, sieve: Sieve, reason: str) -> Sieve:
    """Take a sieve out of service, with a reason; no run can use it. Ledger: out of service."""
    reason = needs_reason(reason, "take the sieve out of service")
    return _move(actor, sieve, Sieve.State.OUT_OF_SERVICE, reason)


def put_back_in_service(*, actor: User, sieve: Sieve, reason: str) -> Sieve:
    """Put a sieve back in service, saying on what evidence. Ledger: back in service."""
    reason = needs_reason(reason, "put the sieve back in service")
    return _move(actor, sieve, Sieve.State.IN_SERVICE, reason)


def withdraw_sieve(*, actor: User, sieve: Sieve, reason: str) -> Sieve:
    """Withdraw a sieve for good; its card and history stay. Ledger: sieve withdrawn."""
    reason = needs_reason(reason, "withdraw the sieve")
    return _move(actor, sieve, Sieve.State.WITHDRAWN, reason)


def _move(actor: User, sieve: Sieve, state: Sieve.State, reason: str) -> Sieve:
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        sieve = locked(sieve)
        if sieve.state == state or sieve.state == Sieve.State.WITHDRAWN:
            msg = f"Sieve {sieve} is already {sieve.state}."
            raise Conflict(msg)
        before = ledger.snapshot(sieve)
        _set_state(sieve, state, "" if state == Sieve.State.IN_SERVICE else reason)
        sieve.save()
        ledger.write(
            actor=actor, action=f"sieve {state.value}", subject=sieve, before=before, reason=reason
        )
    return sieve


def _set_state(sieve: Sieve, state: Sieve.State, reason: str) -> None:
    sieve.state, sieve.state_reason, sieve.state_since = state, reason[:240], clock.today()


def build_nest(
    *,
    actor: User,
    name: str,
    procedure: Procedure,
    sieves: Sequence[Sieve],
    bench: Bench | None = None,
) -> Nest:
    """Build a nest of serial-numbered sieves, coarse to fine, for a procedure.

    Equipment keepers may. Refuses (`Invalid`) sizes that do not descend. Ledger: nest built.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    sizes = [sieve.aperture_um for sieve in sieves]
    if not sizes or any(coarse <= fine for coarse, fine in pairwise(sizes)):
        msg = "The sieves of a nest descend from the coarsest; each size stands once."
        raise Invalid.one("sieves", msg, code="nest-order")
    with transaction.atomic():
        nest = cleaned_row(Nest(name=name, procedure=procedure, bench=bench))
        NestSieve.objects.bulk_create(
            NestSieve(nest=nest, position=position, sieve=sieve)
            for position, sieve in enumerate(sieves, start=1)
        )
        after = ledger.snapshot(nest, sieves=[sieve.serial for sieve in sieves])
        ledger.write(actor=actor, action="nest built", subject=nest, after=after)
    return nest
