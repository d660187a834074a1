"""Certificates: who sees which, the list, one certificate."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Prefetch, QuerySet

from gradation.errors import NotFound
from gradation.models import (
    Assessment,
    Certificate,
    Result,
    Run,
    Sample,
    SpecificationVersion,
    User,
    VersionState,
)
from gradation.queries.samples import samples_visible_to

__all__ = [
    "certificates_visible_to",
    "find_certificate",
    "find_certificate_by_number",
    "runs_for_certificate",
    "runs_of_samples",
    "samples_beside",
    "samples_ready_for_certificate",
    "specifications_beside",
]


def certificates_visible_to(actor: User) -> QuerySet[Certificate]:
    """List the certificates of the samples a person may see, without their files."""
    return (
        Certificate.objects.filter(sample__in=samples_visible_to(actor))
        .select_related("sample__customer", "sample__material", "issued_by", "amends", "drafted_by")
        .defer("pdf", "content")
    )


def find_certificate(actor: User, pk: int) -> Certificate:
    """Give one certificate with its content and file, or `NotFound`."""
    certificate = certificates_visible_to(actor).defer(None).filter(pk=pk).first()
    if certificate is None:
        msg = "There is no such certificate. Check the number."
        raise NotFound(msg)
    return certificate


def runs_for_certificate(sample: Sample) -> QuerySet[Run]:
    """List a sample's accepted runs with their newest results."""
    return runs_of_samples([sample])


def runs_of_samples(samples: Iterable[Sample]) -> QuerySet[Run]:
    """List the accepted runs of some samples with their newest results, sample by sample."""
    assessments = Assessment.objects.select_related("specification_version__specification")
    results = Result.objects.order_by("-version").prefetch_related(
        Prefetch("assessments", assessments)
    )
    return (
        Run.objects.filter(portion__sample__in=list(samples), state=Run.State.ACCEPTED)
        .select_related(
            *("portion__sample", "bench", "technician", "reviewer"),
            *("procedure_version__procedure", "transcription__performed_by"),
        )
        .prefetch_related(Prefetch("results", results), "places__sieve", "weighings__made_by")
        .prefetch_related("instruments__instrument", "shakings")
        .order_by("portion__sample_id", "id")
    )


def samples_ready_for_certificate(actor: User) -> QuerySet[Sample]:
    """List samples with an accepted run and no certificate yet."""
    return (
        samples_visible_to(actor)
        .filter(portions__runs__state=Run.State.ACCEPTED, certificates__isnull=True)
        .distinct()
        .order_by("id")
    )


def find_certificate_by_number(actor: User, number: str) -> Certificate:
    """Give one issued certificate by its number, with its content and file, or `NotFound`."""
    rows = certificates_visible_to(actor).defer(None)
    certificate = rows.filter(number=number).first()
    if certificate is None:
        msg = f"There is no certificate {number}. Check the number."
        raise NotFound(msg)
    return certificate


_MOST_BESIDE = 20


def samples_beside(sample: Sample) -> list[Sample]:
    """List other samples of the same customer that wait for a certificate, newest first."""
    rows = (
        Sample.objects.filter(customer=sample.customer_id, portions__runs__state=Run.State.ACCEPTED)
        .filter(certificates__isnull=True, certificates_beside__isnull=True)
        .exclude(pk=sample.pk)
        .distinct()
    )
    return list(rows.order_by("-id")[:_MOST_BESIDE])


def specifications_beside(sample: Sample) -> QuerySet[SpecificationVersion]:
    """List the versions in force that the sample is not held against already."""
    own = sample.specification_version_id or 0
    return (
        SpecificationVersion.objects.filter(state=VersionState.RELEASED)
        .exclude(pk=own)
        .select_related("specification")
        .order_by("specification__code", "-version")
    )
