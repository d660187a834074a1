"""Intake: a sample comes in, gets its number, and in the end is closed or cancelled."""

from __future__ import annotations

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Event, Laboratory, Run, Sample, User
from gradation.policy import Action, require
from gradation.queries.samples import search_text
from gradation.services import ledger
from gradation.services.checking import (
    cleaned,
    locked,
    needs_reason,
    unchanged,
)
from gradation.services.outbox import announce
from gradation.services.result_figures import follow_material
from gradation.services.sample_writing import Delivery, delivery_faults, described, numbered

__all__ = [
    "Delivery",
    "cancel_sample",
    "change_sample",
    "close_sample",
    "log_sample",
]


def log_sample(*, actor: User, delivery: Delivery) -> Sample:
    """Log a delivered sample under the next number of the year.

    Technicians and quality managers may. Procedure and specification come from the material unless
    said otherwise. Refuses (`Invalid`) a mass that is not above zero, a date in the future,
    sampling after receipt, and a material for which no released procedure is known. Ledger: sample
    logged. Other systems: sample.logged.
    """
    require(actor, Action.LOG_SAMPLE)
    with transaction.atomic():
        sample = described(Sample(received_by=actor), delivery)
        _check_delivery(sample)
        numbered([sample], Laboratory.objects.get())
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
        described(sample, delivery)
        _check_delivery(sample)
        sample.search_text = search_text(sample)
        sample.version += 1
        cleaned(sample).save()
        follow_material(sample)
        ledger.write(
            actor=actor, action="sample changed", subject=sample, before=before, reason=reason
        )
    return sample


def _check_delivery(sample: Sample) -> None:
    if faults := delivery_faults(sample):
        raise Invalid(faults)


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
