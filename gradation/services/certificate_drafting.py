"""From the records to the content of a certificate: everything it prints, as of now."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from gradation import __version__
from gradation.documents import certificate_content as content
from gradation.documents.certificate_content import CertificateContent
from gradation.documents.content_changes import changes_between
from gradation.errors import Invalid
from gradation.models import (
    Assessment,
    Certificate,
    Laboratory,
    Result,
    Run,
    RunSieve,
    Sample,
    Weighing,
)
from gradation.queries.certificates import runs_for_certificate
from gradation.queries.readings import latest_of
from gradation.queries.specifications import decision_words
from gradation.queries.worksheets import rounding_of
from gradation.science.envelopes import LineKind
from gradation.science.rounding import RoundingMode
from gradation.services.certificate_tables import result_table
from gradation.services.certificate_values import characteristic_values

__all__ = ["Signing", "certificate_content", "draft_content"]

ROLE = "authorised signatory"
NOT_STATED = "not stated"

_BASIS = {
    "initial_dry": "Per cent of the dry mass before washing",
    "sum_of_fractions": "Per cent of the sum of the fractions",
}
_ROUNDING = {RoundingMode.HALF_EVEN: "halves to even", RoundingMode.HALF_UP: "halves up"}
_INTERPOLATION = {
    "log_linear": "straight line on the logarithm of the aperture",
    "linear": "straight line on the aperture",
    "pchip_log": "monotone cubic on the logarithm of the aperture",
    "log_probability": "straight line on logarithmic probability paper",
    "rrsb": "straight line on RRSB paper",
}


#: ILAC-G8:09/2019: what each rule means for the one who relies on the statement.
@dataclass(frozen=True)
class Signing:
    """Who signs, when, meaning what."""

    name: str
    at: datetime
    meaning: str


def certificate_content(certificate: Certificate, signing: Signing | None) -> CertificateContent:
    """Draw up the content of a certificate from its runs; unsigned it is a marked draft."""
    chosen = set(certificate.runs.values_list("pk", flat=True))
    runs = [run for run in runs_for_certificate(certificate.sample) if run.pk in chosen]
    if not runs:
        msg = "The runs of this draft are no longer accepted. Discard it and draft anew."
        raise Invalid.one("runs", msg, code="not-accepted")
    drawn = _drawn(certificate, runs, Laboratory.objects.get(), signing)
    drawn = replace(drawn, amendment=_amendment(certificate, drawn))
    return replace(drawn, statements=content.standard_statements(drawn))


def draft_content(certificate: Certificate) -> CertificateContent:
    """Give the content of a draft as it would be issued now: unsigned, unnumbered, marked."""
    return certificate_content(certificate, None)


def _drawn(
    certificate: Certificate, runs: Sequence[Run], laboratory: Laboratory, signing: Signing | None
) -> CertificateContent:
    zone = ZoneInfo(laboratory.time_zone)
    days = [row.made_at.astimezone(zone).date() for run in runs for row in run.weighings.all()]
    sample = certificate.sample
    results = [_newest(run) for run in runs]
    return CertificateContent(
        title=laboratory.certificate_title,
        number=certificate.number or "",
        version=_version(certificate),
        draft=signing is None,
        laboratory=_laboratory(laboratory),
        customer=_customer(sample),
        sample=_sample(sample, zone),
        method=_method(runs[0]),
        results=tuple(
            result_table(run, result, zone, laboratory.work_place)
            for run, result in zip(runs, results, strict=True)
        ),
        tested_first=min(days).isoformat(),
        tested_last=max(days).isoformat(),
        issued_at=_moment(signing.at, zone) if signing else "",
        software_version=__version__,
        science_version=results[0].science_version,
        verification_code=certificate.verification_code,
        characteristics=tuple(_values(runs, results)),
        conformity=tuple(_conformity(run, result) for run, result in _assessed(runs, results)),
        deviations=tuple(_lines(run.deviations for run in runs)),
        remarks=tuple(_lines([certificate.remarks])),
        corrections=tuple(_corrections(runs, zone)),
        signatures=_signatures(signing, zone),
    )


def _values(runs: Sequence[Run], results: Sequence[Result]) -> Iterable[content.Characteristic]:
    """Give each run's characteristic values, named by their run where there are several."""
    for run, result in zip(runs, results, strict=True):
        yield from characteristic_values(result, run=str(run) if len(runs) > 1 else "")


def _newest(run: Run) -> Result:
    return next(iter(run.results.all()))


def _version(certificate: Certificate) -> int:
    version, former = 1, certificate.amends
    while former is not None:
        version, former = version + 1, former.amends
    return version


def _laboratory(laboratory: Laboratory) -> content.Laboratory:
    return content.Laboratory(
        name=laboratory.name,
        address=tuple(laboratory.address.splitlines()),
        place_of_work=laboratory.work_place,
        time_zone=laboratory.time_zone,
        accreditation=laboratory.accreditation,
        contact=laboratory.contact,
    )


def _customer(sample: Sample) -> content.Customer:
    customer = sample.customer
    return content.Customer(
        name=customer.name,
        contact=customer.contact_name or customer.email,
        address=tuple(customer.address.splitlines()),
        order_reference=sample.customer_reference,
    )


def _sample(sample: Sample, zone: ZoneInfo) -> content.SampleItem:
    by_laboratory = sample.sampled_by == Sample.SampledBy.LABORATORY
    supplied = ("lot", "source", "sampled_on", "sampled_by", "sampling_method")
    return content.SampleItem(
        number=sample.number,
        description=sample.description or sample.material.name,
        material=sample.material.name,
        source=str(sample.source) if sample.source else "",
        lot=sample.lot,
        condition_on_receipt=sample.condition,
        sampled_on=_day(sample.sampled_at, zone) or NOT_STATED,
        sampled_by=_sampler(sample),
        sampling_method=sample.sampling_method or NOT_STATED,
        received_on=_day(sample.received_at, zone),
        sampled_by_laboratory=by_laboratory,
        sampling_place=str(sample.source) if by_laboratory and sample.source else "",
        sampling_conditions="as described in the sampling record" if by_laboratory else "",
        supplied_by_customer=() if by_laboratory else supplied,
    )


def _sampler(sample: Sample) -> str:
    return ", ".join(filter(None, [sample.sampler_name, sample.sampled_by]))


def _method(run: Run) -> content.Method:
    procedure = run.procedure_version
    return content.Method(
        reference=procedure.standard_reference,
        edition=procedure.edition,
        title=f"{procedure}: {procedure.procedure.title}",
        basis=_BASIS[procedure.basis],
        loss_treatment=(f"stated, not distributed; tolerance {_plain(procedure.loss_limit_pct)} %"),
        rounding=_rounding_words(run),
        interpolation=_INTERPOLATION[procedure.interpolation],
    )


def _rounding_words(run: Run) -> str:
    rounding = rounding_of(run.procedure_version)
    step = Decimal(1).scaleb(-rounding.passing_decimals)
    words = [f"to {step} %"]
    words += [
        f"{_plain(rule.aperture_um)} µm below {_plain(rule.below_pct)} % to "
        f"{Decimal(1).scaleb(-rule.decimals)} %"
        for rule in rounding.finer
    ]
    return ", ".join([*words, _ROUNDING[rounding.mode]])


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


def _assessed(runs: Sequence[Run], results: Sequence[Result]) -> list[tuple[Run, Assessment]]:
    return [
        (run, assessment)
        for run, result in zip(runs, results, strict=True)
        for assessment in result.assessments.all()
    ]


_OUTCOMES = {
    "conforms": content.Outcome.CONFORMS,
    "does_not_conform": content.Outcome.DOES_NOT_CONFORM,
}


def _conformity(run: Run, assessment: Assessment) -> content.Conformity:
    version = assessment.specification_version
    decided = decision_words(version)
    return content.Conformity(
        specification=str(version.specification),
        version=str(version.version),
        clause=version.clause or version.source or "all limits",
        results_covered=f"{_covered(assessment)} of run {run}",
        decision_rule=decided.rule,
        risk=decided.risk,
        outcome=_OUTCOMES.get(assessment.outcome, content.Outcome.NOT_DECIDABLE),
        sentence=" ".join(filter(None, (assessment.sentence, version.certificate_wording))),
    )


def _covered(assessment: Assessment) -> str:
    of_values = {line["kind"] == LineKind.CHARACTERISTIC for line in assessment.lines}
    words = {False: "percentages passing", True: "characteristic values"}
    return " and ".join(words[kind] for kind in sorted(of_values))


def _lines(texts: Iterable[str]) -> list[str]:
    return [line for text in texts for line in text.splitlines() if line.strip()]


def _corrections(runs: Sequence[Run], zone: ZoneInfo) -> Iterable[content.Correction]:
    for run in runs:
        rows = list(run.weighings.all())
        places = {place.position: place for place in run.places.all()}
        for last in latest_of(rows):
            if last.revision > 1:
                first = next(row for row in rows if _same_place(row, last) and row.revision == 1)
                yield content.Correction(
                    what=f"{run}: {_place_words(last, places)}",
                    first_value=f"{first.mass_as_entered} g",
                    value=f"{last.mass_as_entered} g",
                    changed_by=last.made_by.full_name,
                    changed_at=_moment(last.made_at, zone),
                    reason=last.reason,
                )


def _same_place(one: Weighing, other: Weighing) -> bool:
    return (one.slot, one.position, one.increment) == (other.slot, other.position, other.increment)


def _place_words(weighing: Weighing, places: dict[int, RunSieve]) -> str:
    further = f", increment {weighing.increment}" if weighing.increment > 1 else ""
    if weighing.position not in places:
        return f"{weighing.slot}{further}"
    is_fraction = weighing.slot == Weighing.Slot.FRACTION
    what = "mass on" if is_fraction else f"{weighing.slot},"
    return f"{what} {places[weighing.position].sieve.designation}{further}"


def _signatures(signing: Signing | None, zone: ZoneInfo) -> tuple[content.Signature, ...]:
    if signing is None:
        return ()
    signed = content.Signature(signing.name, ROLE, _moment(signing.at, zone), signing.meaning)
    return (signed,)


def _amendment(certificate: Certificate, drawn: CertificateContent) -> content.Amendment | None:
    former = certificate.amends
    if former is None:
        return None
    old = CertificateContent.from_json(_stored(former))
    return content.Amendment(
        replaces=former.number or "",
        replaced_issued_on=old.issued_at[:10],
        reason=certificate.reason,
        changes=changes_between(old, drawn),
    )


def _stored(former: Certificate) -> str:
    return json.dumps(former.content, ensure_ascii=False)


def _day(moment: datetime | None, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).date().isoformat() if moment else ""


def _moment(moment: datetime, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).isoformat(timespec="minutes")
