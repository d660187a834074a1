"""What a certificate still lacks before it may be issued (ISO/IEC 17025:2017, 7.8.2 to 7.8.6)."""

from collections.abc import Iterator

from gradation.documents.certificate_content import (
    RELATES_ONLY,
    CertificateContent,
    TestConditions,
)


def missing_items(content: CertificateContent) -> tuple[str, ...]:
    """Return every gap, in the order of the certificate, less those omitted on authority."""
    omitted = {omission.item for omission in content.omissions}
    found = (*_heading(content), *_sample(content), *_work(content), *_statements(content))
    return tuple(gap for gap in found if gap not in omitted)


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


def _sample(content: CertificateContent) -> Iterator[str]:
    sample = content.sample
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
                "place of sampling": sample.sampling_place,
                "conditions during sampling": sample.sampling_conditions,
            }
        )


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
    if RELATES_ONLY not in content.statements:
        yield "statement that results relate only to the items tested"
    if not content.signatures:
        yield "signature"
    if content.amendment and not content.amendment.reason.strip():
        yield "reason for the amendment"
