"""Checks of equipment: the verdict is computed, a failure stops use at once and is looked into."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Check, Equipment, Laboratory, ReferenceLot, Sieve, User
from gradation.policy import Action, require
from gradation.services import clock, impact, ledger
from gradation.services.check_evidence import (
    VISUAL_ITEMS,
    VISUAL_ITEMS_INSTRUMENT,
    ApertureEvidence,
    Evidence,
    HalvesEvidence,
    Judgement,
    MasterEvidence,
    OwnLimits,
    ReferenceEvidence,
    ShakerEvidence,
    TemperatureEvidence,
    VisualEvidence,
    WeightsEvidence,
    judge,
)
from gradation.services.checking import cleaned, locked, shortened
from gradation.services.outbox import announce_out_of_service

__all__ = [
    "VISUAL_ITEMS",
    "VISUAL_ITEMS_INSTRUMENT",
    "ApertureEvidence",
    "HalvesEvidence",
    "MasterEvidence",
    "OwnLimits",
    "ReferenceEvidence",
    "ShakerEvidence",
    "TemperatureEvidence",
    "VisualEvidence",
    "WeightsEvidence",
    "record_check",
]


def record_check(
    *,
    actor: User,
    equipment: Equipment,
    evidence: Evidence,
    performed_on: date,
    note: str = "",
    next_due_on: date | None = None,
) -> Check:
    """Record a check of an item: its figures, and the verdict computed from them.

    Equipment keepers may. A passed check lets the next fall due by the item's rule; a look alone
    does not, because it tells no aperture, unless `next_due_on` is given. A failed check takes the
    item out of service and opens an impact assessment in the same transaction. Refuses (`Invalid`)
    a date in the future, evidence that does not fit the item, figures that cannot be judged;
    refuses (`Conflict`) a withdrawn item and a lot that is spent. Ledger: check recorded; next
    check set or out of service; reference lot used.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    with transaction.atomic():
        item = locked(equipment)
        _refuse_untimely(item, performed_on, next_due_on)
        evidence = _read_afresh(evidence)
        judgement = judge(evidence, item, performed_on)
        check = _check(actor, item, judgement, performed_on)
        check.note = note.strip()
        _set_next(check, item, next_due_on)
        cleaned(check).save(force_insert=True)
        ledger.write(actor=actor, action="check recorded", subject=check)
        if check.reference_lot is not None:
            _use_lot(actor, check.reference_lot, performed_on)
        _take_over_check(actor, item, check)
        if not check.passed:
            _look_into(actor, item, check, judgement)
    return check


def _refuse_untimely(item: Equipment, performed_on: date, next_due_on: date | None) -> None:
    if item.state == Equipment.State.WITHDRAWN:
        msg = f"{item} is withdrawn: {item.state_reason} It is not checked any more."
        raise Conflict(msg)
    if performed_on > clock.today():
        msg = "The check lies in the future. Enter the day it was made."
        raise Invalid.one("performed_on", msg, code="in-future")
    if next_due_on is not None and next_due_on <= performed_on:
        msg = "The next check is due after this one. Enter a later day."
        raise Invalid.one("next_due_on", msg, code="not-later")


def _read_afresh(evidence: Evidence) -> Evidence:
    """Hold the lot's row, so that two checks cannot both be its last use; read the master again."""
    if isinstance(evidence, ReferenceEvidence):
        return replace(evidence, lot=locked(evidence.lot))
    if isinstance(evidence, MasterEvidence):
        return replace(evidence, master=Sieve.objects.get(pk=evidence.master.pk))
    return evidence


def _check(actor: User, item: Equipment, judged: Judgement, performed_on: date) -> Check:
    return Check(
        equipment_id=item.pk,
        kind=judged.kind,
        performed_on=performed_on,
        performed_by=actor,
        passed=judged.passed,
        sentence=judged.sentence,
        readings=judged.readings,
        findings=judged.findings,
        uses_at_check=item.use_count,
        recorded_at=clock.now(),
        **judged.more,
    )


def _set_next(check: Check, item: Equipment, next_due_on: date | None) -> None:
    """Let the next check fall due by days and by uses, whichever comes first."""
    if not check.passed:
        return
    by_rule = check.kind != Check.Kind.VISUAL
    check.next_due_on = next_due_on
    if next_due_on is None and by_rule and item.check_interval_days:
        check.next_due_on = check.performed_on + timedelta(days=item.check_interval_days)
    if by_rule and item.check_interval_uses:
        check.next_due_at_use = item.use_count + item.check_interval_uses


def _use_lot(actor: User, lot: ReferenceLot, performed_on: date) -> None:
    before = ledger.snapshot(lot)
    lot.use_count += 1
    lot.opened_on = lot.opened_on or performed_on
    lot.save(update_fields=["use_count", "opened_on"])
    ledger.write(actor=actor, action="reference lot used", subject=lot, before=before)


def _take_over_check(actor: User, item: Equipment, check: Check) -> None:
    """Move the item's next check, or take it out of service; an older check moves nothing."""
    before = ledger.snapshot(item)
    if not check.passed:
        action = Equipment.State.OUT_OF_SERVICE.value
        item.state = Equipment.State.OUT_OF_SERVICE
        item.state_reason = shortened(f"Failed its check ({check.kind}): {check.sentence}", 240)
        item.state_since = clock.today()
    else:
        if _is_overtaken(check) or (check.next_due_on, check.next_due_at_use) == (None, None):
            return
        action = "next check set"
        item.next_check_on, item.next_check_at_use = check.next_due_on, check.next_due_at_use
    item.save()
    reason = shortened(check.note, 400)
    ledger.write(actor=actor, action=action, subject=item, before=before, reason=reason)
    if not check.passed:
        announce_out_of_service(item)


def _is_overtaken(check: Check) -> bool:
    return (
        Check.objects.filter(
            equipment=check.equipment_id, passed=True, performed_on__gt=check.performed_on
        )
        .exclude(next_due_on=None, next_due_at_use=None)
        .exists()
    )


def _look_into(actor: User, item: Equipment, check: Check, judged: Judgement) -> None:
    impact.open_assessment(
        actor=actor,
        equipment=item,
        failed_check=check,
        period_to=clock.today(Laboratory.objects.get()),
        found_aperture_um=check.found_aperture_um,
        found_error_pct=judged.error_pct,
        reason=shortened(f"{item} failed its check: {check.sentence}", 400),
    )
