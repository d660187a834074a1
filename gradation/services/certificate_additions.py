"""What is added to a draft beside its runs: items left out, opinions; and what samples bring along.

Results of other laboratories and the record of a sampling belong to the sample; every certificate
on it states them.
"""

from __future__ import annotations

from datetime import date

from django.db import transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import (
    Certificate,
    CertificateOmission,
    CertificateOpinion,
    ExternalResult,
    Sample,
    SamplingRecord,
    User,
)
from gradation.policy import Action, require
from gradation.queries.days import day_of
from gradation.services import clock, ledger
from gradation.services.certificate_gates import open_gaps, refuse_signed
from gradation.services.checking import cleaned, locked, needs_reason

__all__ = [
    "enter_external_result",
    "give_opinion",
    "leave_out_item",
    "record_sampling",
]

_NEVER_LEFT_OUT = frozenset({"results", "test conditions", "title", "laboratory name"})


def leave_out_item(
    *, actor: User, certificate: Certificate, item: str, reason: str
) -> CertificateOmission:
    """Leave an item out of a draft that it lacks (ISO/IEC 17025:2017, 7.8.2.1).

    Authorised signatories may, with a reason that is printed. Refuses (`Invalid`) what is not
    missing, and what no certificate can be without. Ledger: item left out.
    """
    require(actor, Action.LEAVE_OUT_ITEM)
    reason = needs_reason(reason, "leave this out")
    with transaction.atomic():
        certificate = _draft(certificate)
        if item in _NEVER_LEFT_OUT or item not in open_gaps(certificate):
            msg = (
                f"{item or 'Nothing'} is not missing, or cannot be left out. Choose from the list."
            )
            raise Invalid.one("item", msg, code="not-missing")
        omission = CertificateOmission(
            certificate=certificate,
            item=item,
            reason=reason,
            authorised_by=actor,
            authorised_at=clock.now(),
        )
        cleaned(omission).save(force_insert=True)
        ledger.write(actor=actor, action="item left out", subject=omission, reason=reason)
    return omission


def give_opinion(
    *, actor: User, certificate: Certificate, text: str, basis: str
) -> CertificateOpinion:
    """Give an opinion or interpretation on a draft, with what it rests on (7.8.7).

    Authorised signatories may. It is printed apart from the results, with the name of who gave it.
    Refuses (`Invalid`) one without words or without its basis. Ledger: opinion given.
    """
    require(actor, Action.GIVE_OPINION)
    faults = [
        Fault(field, f"Say {what}.", "missing")
        for field, value, what in (
            ("text", text, "what you think"),
            ("basis", basis, "what it rests on"),
        )
        if not value.strip()
    ]
    if faults:
        raise Invalid(faults)
    with transaction.atomic():
        opinion = CertificateOpinion(
            certificate=_draft(certificate),
            text=text.strip(),
            basis=basis.strip(),
            given_by=actor,
            given_at=clock.now(),
        )
        cleaned(opinion).save(force_insert=True)
        ledger.write(actor=actor, action="opinion given", subject=opinion)
    return opinion


def _draft(certificate: Certificate) -> Certificate:
    held = locked(certificate, "sample")
    if held.state != Certificate.State.DRAFT:
        msg = f"{held} is {held.state}; only a draft can be added to. Amend the certificate."
        raise Conflict(msg)
    refuse_signed(held)
    return held


def enter_external_result(*, actor: User, sample: Sample, result: ExternalResult) -> ExternalResult:
    """Enter what another laboratory found on a sample; every certificate marks it on its row.

    Technicians and quality managers may. Refuses (`Invalid`) a result without unit, method,
    provider or report, and the same twice. Ledger: external result entered.
    """
    require(actor, Action.ENTER_EXTERNAL_RESULT)
    with transaction.atomic():
        result.sample = locked(sample)
        result.entered_by, result.entered_at = actor, clock.now()
        cleaned(result).save(force_insert=True)
        ledger.write(actor=actor, action="external result entered", subject=result)
    return result


def record_sampling(*, actor: User, sample: Sample, record: SamplingRecord) -> SamplingRecord:
    """Record how the laboratory took a sample: day, item, place, plan, conditions, uncertainty.

    Technicians and quality managers may. Refuses (`Conflict`) a sample that the laboratory did not
    take or whose sampling is on record, (`Invalid`) a day after its receipt. Ledger: sampling
    recorded.
    """
    require(actor, Action.RECORD_SAMPLING)
    with transaction.atomic():
        sample = locked(sample)
        _refuse_sampling(sample, record.sampled_on)
        record.sample = sample
        record.recorded_by, record.recorded_at = actor, clock.now()
        cleaned(record).save(force_insert=True)
        ledger.write(actor=actor, action="sampling recorded", subject=record)
    return record


def _refuse_sampling(sample: Sample, day: date | None) -> None:
    if sample.sampled_by != Sample.SampledBy.LABORATORY:
        msg = f"Sample {sample} was not taken by the laboratory. Change that at the sample first."
        raise Conflict(msg, code="not-sampled-here")
    if SamplingRecord.objects.filter(sample=sample).exists():
        msg = f"The sampling of {sample} is on record already."
        raise Conflict(msg, code="recorded-already")
    if day is not None and day > day_of(sample.received_at):
        msg = "It was taken before it was received. Check the day."
        raise Invalid.one("sampled_on", msg, code="after-receipt")
