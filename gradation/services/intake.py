"""Intake: a sample comes in, gets its number, and in the end is closed or cancelled."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import (
    Customer,
    Event,
    Laboratory,
    Material,
    ProcedureVersion,
    Run,
    Sample,
    Source,
    SpecificationVersion,
    User,
)
from gradation.policy import Action, require
from gradation.queries.methods import released_procedure, specification_on
from gradation.queries.samples import search_text
from gradation.services import clock, ledger, numbering
from gradation.services.checking import (
    cleaned,
    locked,
    needs_reason,
    not_in_future,
    unchanged,
)
from gradation.services.outbox import announce
from gradation.services.result_figures import follow_material

__all__ = [
    "Delivery",
    "cancel_sample",
    "change_sample",
    "close_sample",
    "log_sample",
]


@dataclass(frozen=True)
class Delivery:
    """What is known of a sample when it is handed over."""

    customer: Customer
    material: Material
    condition: str
    source: Source | None = None
    procedure_version: ProcedureVersion | None = None
    specification_version: SpecificationVersion | None = None
    lot: str = ""
    customer_reference: str = ""
    description: str = ""
    sampled_by: str = Sample.SampledBy.CUSTOMER
    sampler_name: str = ""
    sampling_method: str = ""
    sampled_at: datetime | None = None
    received_at: datetime | None = None
    mass_received_g: Decimal | None = None
    storage_place: str = ""
    due_on: date | None = None


def log_sample(*, actor: User, delivery: Delivery) -> Sample:
    """Log a delivered sample under the next number of the year.

    Technicians and quality managers may. Procedure and specification come from the material unless
    said otherwise. Refuses (`Invalid`) a mass that is not above zero, a date in the future,
    sampling after receipt, and a material for which no released procedure is known. Ledger: sample
    logged. Other systems: sample.logged.
    """
    require(actor, Action.LOG_SAMPLE)
    with transaction.atomic():
        sample = _described(Sample(received_by=actor), delivery)
        _check_delivery(sample)
        sample.number = _sample_number(sample.received_at)
        sample.retain_until = sample.received_at.date() + timedelta(
            days=Laboratory.objects.get().retention_days
        )
        sample.search_text = search_text(sample)
        cleaned(sample).save(force_insert=True)
        ledger.write(actor=actor, action="sample logged", subject=sample)
        announce(Event.SAMPLE_LOGGED, [sample])
    return sample


def change_sample(
    *, actor: User, sample: Sample, delivery: Delivery, reason: str, version: int | None = None
) -> Sample:
    """Correct what was written about a sample, with a reason.

    Technicians and quality managers may, until it is closed or cancelled. Refuses (`Conflict`) when
    somebody else changed it since `version`. Ledger: sample changed.
    """
    require(actor, Action.CHANGE_SAMPLE)
    reason = needs_reason(reason, "change the sample")
    with transaction.atomic():
        sample = locked(sample)
        unchanged(sample, version)
        _refuse_ended(sample)
        before = ledger.snapshot(sample)
        _described(sample, delivery)
        _check_delivery(sample)
        sample.search_text = search_text(sample)
        sample.version += 1
        cleaned(sample).save()
        follow_material(sample)
        ledger.write(
            actor=actor, action="sample changed", subject=sample, before=before, reason=reason
        )
    return sample


def _described(sample: Sample, delivery: Delivery) -> Sample:
    procedure = delivery.procedure_version or released_procedure(delivery.material)
    if procedure is None or not procedure.is_released:
        msg = (
            f"{delivery.material} has no released procedure. Choose one, or ask the quality "
            "manager to release one."
        )
        raise Invalid.one("procedure_version", msg, code="procedure-missing")
    sample.received_at = delivery.received_at or getattr(sample, "received_at", None) or clock.now()
    sample.customer = delivery.customer
    sample.source = delivery.source
    sample.material = delivery.material
    sample.procedure_version = procedure
    sample.specification_version = delivery.specification_version or specification_on(
        delivery.material, sample.received_at.date()
    )
    for name in _TAKEN_AS_TYPED:
        setattr(sample, name, getattr(delivery, name))
    return sample


_TAKEN_AS_TYPED = (
    "condition",
    "lot",
    "customer_reference",
    "description",
    "sampled_by",
    "sampler_name",
    "sampling_method",
    "sampled_at",
    "mass_received_g",
    "storage_place",
    "due_on",
)


def _check_delivery(sample: Sample) -> None:
    faults = [
        *_no_mass("mass_received_g", sample.mass_received_g, "The mass as received"),
        *not_in_future("received_at", sample.received_at, "The time of receipt"),
        *not_in_future("sampled_at", sample.sampled_at, "The time of sampling"),
    ]
    if sample.sampled_at and sample.sampled_at > sample.received_at and not faults:
        msg = "The sample was taken after it was received. Check both dates."
        faults.append(Fault("sampled_at", msg, "after-receipt"))
    if sample.source and sample.source.customer_id != sample.customer_id:
        msg = f"{sample.source} is not a source of {sample.customer}. Choose one of theirs."
        faults.append(Fault("source", msg, "other-customer"))
    if faults:
        raise Invalid(faults)


def _no_mass(field: str, mass_g: Decimal | None, what: str) -> list[Fault]:
    if mass_g is None or mass_g > 0:
        return []
    msg = f"{what} is {mass_g} g; it must be above zero. Weigh again, or leave it empty."
    return [Fault(field, msg, "mass-not-positive")]


def _sample_number(received_at: datetime) -> str:
    laboratory = Laboratory.objects.get()
    year = received_at.astimezone(ZoneInfo(laboratory.time_zone)).year
    return numbering.sample_numbers(year, 1)[0]


def _refuse_ended(sample: Sample) -> None:
    if sample.state in {Sample.State.CLOSED, Sample.State.CANCELLED}:
        msg = f"Sample {sample} is {sample.state}; nothing more is done with it."
        raise Conflict(msg)


def cancel_sample(*, actor: User, sample: Sample, reason: str) -> Sample:
    """Cancel a sample that will not be tested; refuses once a certificate was issued on it.

    Ledger: sample cancelled.
    """
    reason = needs_reason(reason, "cancel the sample")
    return _move(actor, sample, Sample.State.CANCELLED, "sample cancelled", reason)


def close_sample(*, actor: User, sample: Sample, reason: str = "") -> Sample:
    """Close a reported sample: no further work, kept until its retention date. Ledger: closed."""
    return _move(actor, sample, Sample.State.CLOSED, "sample closed", reason)


_MOVES = {
    Sample.State.CANCELLED: frozenset({Sample.State.LOGGED, Sample.State.UNDER_TEST}),
    Sample.State.CLOSED: frozenset({Sample.State.REPORTED}),
}


def _move(actor: User, sample: Sample, state: Sample.State, action: str, reason: str) -> Sample:
    require(actor, Action.CLOSE_SAMPLE)
    with transaction.atomic():
        sample = locked(sample)
        if sample.state not in _MOVES[state]:
            wanted = " or ".join(sorted(_MOVES[state]))
            msg = (
                f"Sample {sample} is {sample.state}; only a sample that is {wanted} can be {state}."
            )
            raise Conflict(msg)
        _refuse_open_runs(sample)
        before = ledger.snapshot(sample)
        sample.state, sample.state_reason = state, reason
        sample.version += 1
        sample.save()
        ledger.write(actor=actor, action=action, subject=sample, before=before, reason=reason)
    return sample


def _refuse_open_runs(sample: Sample) -> None:
    unfinished = [Run.State.OPEN, Run.State.RETURNED, Run.State.WEIGHED]
    run = Run.objects.filter(portion__sample=sample, state__in=unfinished).first()
    if run is not None:
        msg = f"Run {run} of sample {sample} is {run.state}. Finish it or make it invalid first."
        raise Conflict(msg)
