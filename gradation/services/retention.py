"""Retention: how long what is left of a sample is kept, why it is held, and how it goes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import Sample, SampleHold, User
from gradation.policy import Action, require
from gradation.queries.days import day_of
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked, needs_reason

__all__ = [
    "Disposal",
    "Keeping",
    "dispose_sample",
    "hold_sample",
    "keep_sample",
    "lift_hold",
]


@dataclass(frozen=True)
class Keeping:
    """How long and where what is left is kept, and what whoever handles it must know."""

    retain_until: date
    storage_place: str = ""
    hazard: str = ""


@dataclass(frozen=True)
class Disposal:
    """How what is left was thrown away; the label scanned at the shelf and at the container."""

    how: str
    at_shelf: str
    at_container: str


def keep_sample(*, actor: User, sample: Sample, keeping: Keeping, reason: str) -> Sample:
    """Say until when and where what is left of a sample is kept, with a reason.

    Technicians and quality managers may, until it is disposed of. Refuses (`Invalid`) a day before
    the sample came. Ledger: retention changed.
    """
    require(actor, Action.CLOSE_SAMPLE)
    reason = needs_reason(reason, "change how long it is kept")
    with transaction.atomic():
        sample = locked(sample)
        _refuse_gone(sample)
        if keeping.retain_until < day_of(sample.received_at):
            msg = "It came after this day. Choose a later one."
            raise Invalid.one("retain_until", msg, code="before-receipt")
        before = ledger.snapshot(sample)
        sample.retain_until = keeping.retain_until
        sample.storage_place, sample.hazard = keeping.storage_place, keeping.hazard
        sample.version += 1
        cleaned(sample).save()
        ledger.write(
            actor=actor, action="retention changed", subject=sample, before=before, reason=reason
        )
    return sample


def hold_sample(*, actor: User, sample: Sample, cause: str, reason: str) -> SampleHold:
    """Hold what is left of a sample: nobody disposes of it until the hold is lifted.

    Technicians, reviewers, signatories and quality managers may, with a reason. A sample may be
    held for several causes; refuses (`Conflict`) the same one twice. While a query is open no work
    is begun on the sample (`checking.refuse_in_doubt`). Ledger: sample held.
    """
    require(actor, Action.HOLD_SAMPLE)
    reason = needs_reason(reason, "hold the sample")
    with transaction.atomic():
        sample = locked(sample)
        _refuse_gone(sample)
        if sample.holds.filter(cause=cause, lifted_at__isnull=True).exists():
            msg = f"Sample {sample} is held for this already: {cause}."
            raise Conflict(msg, code="held-already")
        hold = SampleHold(
            sample=sample, cause=cause, reason=reason, held_at=clock.now(), held_by=actor
        )
        cleaned(hold).save(force_insert=True)
        ledger.write(actor=actor, action="sample held", subject=hold, reason=reason)
    return hold


def lift_hold(*, actor: User, hold: SampleHold, reason: str) -> SampleHold:
    """Lift a hold, with a reason; who may hold may lift. Ledger: hold lifted."""
    require(actor, Action.HOLD_SAMPLE)
    reason = needs_reason(reason, "lift the hold")
    with transaction.atomic():
        hold = locked(hold, "sample")
        if hold.lifted_at is not None:
            msg = f"This hold of sample {hold.sample} was lifted already."
            raise Conflict(msg)
        before = ledger.snapshot(hold)
        hold.lifted_at, hold.lifted_by, hold.lift_reason = clock.now(), actor, reason
        hold.save(update_fields=["lifted_at", "lifted_by", "lift_reason"])
        ledger.write(actor=actor, action="hold lifted", subject=hold, before=before, reason=reason)
    return hold


def dispose_sample(*, actor: User, sample: Sample, disposal: Disposal, reason: str) -> Sample:
    """Record that what is left of a sample was thrown away, its label scanned twice.

    Technicians and quality managers may, once it is closed or cancelled. Refuses (`Conflict`)
    before the day it is kept until, and while it is held; refuses (`Invalid`) a label of another
    sample. Ledger: sample disposed, with how.
    """
    require(actor, Action.CLOSE_SAMPLE)
    reason = needs_reason(reason, "dispose of the sample")
    with transaction.atomic():
        sample = locked(sample)
        _refuse_keeping(sample)
        _check_scans(sample, disposal)
        before = ledger.snapshot(sample)
        sample.disposed_at, sample.disposed_by = clock.now(), actor
        sample.disposed_how = disposal.how
        sample.version += 1
        cleaned(sample).save()
        ledger.write(
            actor=actor, action="sample disposed", subject=sample, before=before, reason=reason
        )
    return sample


def _refuse_gone(sample: Sample) -> None:
    if sample.disposed_at is not None:
        msg = f"Sample {sample} was disposed of; nothing of it is left."
        raise Conflict(msg)


def _refuse_keeping(sample: Sample) -> None:
    """Refuse to let go of what must be kept, and say why and until when."""
    if sample.state not in {Sample.State.CLOSED, Sample.State.CANCELLED} or sample.disposed_at:
        msg = f"Sample {sample} is {sample.state}: only a closed sample is disposed of, once."
        raise Conflict(msg)
    hold = sample.holds.filter(lifted_at__isnull=True).first()
    if hold is not None:
        msg = f"Sample {sample} is held by {hold.held_by}, {hold.cause}: {hold.reason}"
        raise Conflict(msg, code="held")
    if sample.retain_until and clock.today() < sample.retain_until:
        msg = f"Sample {sample} is kept until {sample.retain_until:%d %b %Y}."
        raise Conflict(msg, code="retention")


def _check_scans(sample: Sample, disposal: Disposal) -> None:
    faults = []
    for field, scanned in (
        ("at_shelf", disposal.at_shelf),
        ("at_container", disposal.at_container),
    ):
        if scanned.strip() != sample.number:
            msg = f"This is not the label of sample {sample}. Scan the right one, or stop here."
            faults.append(Fault(field, msg, "another-label"))
    if not disposal.how.strip():
        faults.append(Fault("how", "Say how it is thrown away, and where to.", "how-missing"))
    if faults:
        raise Invalid(faults)
