"""What a certificate still lacks before it may be issued (ISO/IEC 17025:2017, 7.8.2 to 7.8.6)."""

from collections.abc import Callable, Iterator, Sequence
from datetime import date

from django.utils.translation import gettext

from gradation.documents.certificate_content import (
    RELATES_ONLY,
    CertificateContent,
    SampleItem,
    TestConditions,
)
from gradation.language import speaking

__all__ = ["REQUIRED_ITEMS", "missing_items"]


def missing_items(content: CertificateContent) -> tuple[str, ...]:
    """Return every gap, in the order of the certificate, less those omitted on authority."""
    omitted = {omission.item for omission in content.omissions}
    found = (
        *_heading(content),
        *_sample(content.sample),
        *(f"{gap}, {it.number}" for it in content.further_samples for gap in _sample(it)),
        *_work(content),
        *_required(content),
        *_statements(content),
    )
    return tuple(gap for gap in dict.fromkeys(found) if gap not in omitted)


def _absent(pairs: dict[str, str]) -> Iterator[str]:
    return (name for name, text in pairs.items() if not text.strip())


def _heading(content: CertificateContent) -> Iterator[str]:
    laboratory, customer = content.laboratory, content.customer
    yield from _absent(
        {
            "title": content.title,
            "laboratory name": laboratory.name,
            "laboratory address": "".join(laboratory.address),
            "place of work": laboratory.place_of_work,
            "certificate number": content.number,
            "customer name": customer.name,
            "customer contact": customer.contact,
            "date of issue": content.issued_at,
        }
    )


def _sample(sample: SampleItem) -> Iterator[str]:
    yield from _absent(
        {
            "sample number": sample.number,
            "sample description": sample.description,
            "condition on receipt": sample.condition_on_receipt,
            "date of receipt": sample.received_on,
            "date of sampling, or that it is not known": sample.sampled_on,
            "who took the sample": sample.sampled_by,
            "sampling plan and method": sample.sampling_method,
        }
    )
    if sample.sampled_by_laboratory:
        yield from _absent(
            {
                "item sampled": sample.sampled_item,
                "place of sampling": sample.sampling_place,
                "conditions during sampling": sample.sampling_conditions,
                "what is needed to judge the uncertainty of the sampling": (
                    sample.sampling_uncertainty
                ),
            }
        )
        if not _is_day(sample.sampled_on):
            yield "day of sampling"


def _work(content: CertificateContent) -> Iterator[str]:
    yield from _absent(
        {
            "method": content.method.reference,
            "edition of the method": content.method.edition,
            "first day of testing": content.tested_first,
            "last day of testing": content.tested_last,
        }
    )
    runs = [run for table in content.results for run in table.conditions]
    if not content.rows():
        yield "results"
    if not runs:
        yield "test conditions"
    for run in runs:
        yield from _conditions(run)


def _conditions(run: TestConditions) -> Iterator[str]:
    needed = {
        "place of the run": run.place,
        "mass of the test portion": run.portion_mass_g,
        "washing (wet or dry)": run.washing,
        "shaking time and setting": run.shaking,
        "serial numbers of the sieves": "".join(sieve.serial for sieve in run.sieves),
    }
    return (f"{gap}, {run.portion}" for gap in _absent(needed))


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _required(content: CertificateContent) -> Iterator[str]:
    """Yield what the method, an authority or the customer demands and is not stated (7.8.3.1 e)."""
    runs = [run for table in content.results for run in table.conditions]
    for key in content.required_items:
        words, stated = REQUIRED_ITEMS.get(key, (key, _never))
        if not stated(content, runs):
            yield f"{words} (required by the method or the report form)"


Runs = Sequence[TestConditions]
Stated = Callable[[CertificateContent, Runs], bool]


def _never(_content: CertificateContent, _runs: Runs) -> bool:
    """Answer for a demand that this version does not know: it cannot say that it is met."""
    return False


#: What a method or a report form can demand beyond what every certificate states.
REQUIRED_ITEMS: dict[str, tuple[str, Stated]] = {
    "climate": ("climate during the test", lambda _, runs: all(run.climate for run in runs)),
    "division": ("how the portion was divided", lambda _, runs: all(run.division for run in runs)),
    "drying": ("how the portion was dried", lambda _, runs: all(run.drying for run in runs)),
    "end_point": ("end point of sieving", lambda _, runs: all(run.end_point for run in runs)),
    "instruments": (
        "balance and shaker used",
        lambda _, runs: all(run.instruments for run in runs),
    ),
    "lot": ("lot of the sample", lambda it, _: bool(it.sample.lot)),
    "source": ("source of the sample", lambda it, _: bool(it.sample.source)),
    "order_reference": (
        "customer's order or reference",
        lambda it, _: bool(it.customer.order_reference),
    ),
    "accreditation": ("accreditation", lambda it, _: bool(it.laboratory.accreditation)),
    "uncertainty": ("measurement uncertainty", lambda it, _: bool(it.uncertainty_statement)),
    "sampling_day": ("day of sampling", lambda it, _: _is_day(it.sample.sampled_on)),
}


def _statements(content: CertificateContent) -> Iterator[str]:
    for statement in content.conformity:
        yield from _absent(
            {
                "specification compared with": statement.specification,
                "version of the specification": statement.version,
                "clause of the specification": statement.clause,
                "results covered by the statement of conformity": statement.results_covered,
                "decision rule": statement.decision_rule,
            }
        )
    with speaking(content.language):
        relates_only = gettext(RELATES_ONLY)
    if relates_only not in content.statements:
        yield "statement that results relate only to the items tested"
    if not content.signatures:
        yield "signature"
    if content.amendment and not content.amendment.reason.strip():
        yield "reason for the amendment"
