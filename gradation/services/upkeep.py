"""Upkeep: sieves are registered, checked, taken out of service and put back; nests are built."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import Bench, Check, Equipment, Nest, NestSieve, Procedure, Sieve, User
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
    "withdraw_equipment",
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


def record_check(*, actor: User, check: Check) -> Check:
    """Record a check of an item; the next one falls due by the item's rule.

    Equipment keepers may. A failed check takes the item out of service in the same transaction.
    Refuses (`Invalid`) a date in the future. Ledger: check recorded (and sieve out of service).
    """
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        item = locked(check.equipment)
        if check.performed_on > clock.today():
            msg = "The check lies in the future. Enter the day it was made."
            raise Invalid(Fault("performed_on", msg, "in-future"))
        check.performed_by, check.recorded_at = actor, clock.now()
        check.uses_at_check = item.use_count
        _set_next(check, item)
        cleaned(check).save(force_insert=True)
        ledger.write(actor=actor, action="check recorded", subject=check)
        _take_over_check(actor, item, check)
    return check


def _set_next(check: Check, item: Equipment) -> None:
    """Let the next check fall due by days and by uses, whichever comes first."""
    if not check.passed:
        return
    if check.next_due_on is None and item.check_interval_days:
        check.next_due_on = check.performed_on + timedelta(days=item.check_interval_days)
    if check.next_due_at_use is None and item.check_interval_uses:
        check.next_due_at_use = item.use_count + item.check_interval_uses


def _take_over_check(actor: User, item: Equipment, check: Check) -> None:
    before = ledger.snapshot(item)
    if check.passed:
        item.next_check_on, item.next_check_at_use = check.next_due_on, check.next_due_at_use
        action = "next check set"
    else:
        _set_state(item, Equipment.State.OUT_OF_SERVICE, f"Failed its {check.kind} check.")
        action = "out of service"
    item.save()
    ledger.write(actor=actor, action=action, subject=item, before=before, reason=check.note[:400])


def take_out_of_service(*, actor: User, item: Equipment, reason: str) -> Equipment:
    """Take an item out of service, with a reason; no run can use it. Ledger: out of service."""
    reason = needs_reason(reason, "take it out of service")
    return _move(actor, item, Equipment.State.OUT_OF_SERVICE, reason)


def put_back_in_service(*, actor: User, item: Equipment, reason: str) -> Equipment:
    """Put an item back in service, saying on what evidence. Ledger: in service."""
    reason = needs_reason(reason, "put it back in service")
    return _move(actor, item, Equipment.State.IN_SERVICE, reason)


def withdraw_equipment(*, actor: User, item: Equipment, reason: str) -> Equipment:
    """Withdraw an item for good; its card and history stay. Ledger: withdrawn."""
    reason = needs_reason(reason, "withdraw it")
    return _move(actor, item, Equipment.State.WITHDRAWN, reason)


def _move(actor: User, item: Equipment, state: Equipment.State, reason: str) -> Equipment:
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        item = locked(item)
        if item.state == state or item.state == Equipment.State.WITHDRAWN:
            msg = f"{item} is already {item.state}."
            raise Conflict(msg)
        before = ledger.snapshot(item)
        _set_state(item, state, "" if state == Equipment.State.IN_SERVICE else reason)
        item.save()
        ledger.write(actor=actor, action=state.value, subject=item, before=before, reason=reason)
    return item


def _set_state(item: Equipment, state: Equipment.State, reason: str) -> None:
    item.state, item.state_reason, item.state_since = state, reason[:240], clock.today()


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
