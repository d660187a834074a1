"""Samples: who sees which, the intake list, one sample with all that hangs on it."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Prefetch, QuerySet

from gradation.errors import NotFound
from gradation.models import Certificate, Result, Run, Sample, SampleHold, TestPortion, User
from gradation.policy import Action, is_customer, may
from gradation.queries.paging import Page, page_of

__all__ = [
    "SampleFilter",
    "find_sample",
    "sample_page",
    "samples_visible_to",
    "search_text",
    "sees_every_sample",
]


@dataclass(frozen=True)
class SampleFilter:
    """What the intake list is narrowed to; empty means all."""

    search: str = ""
    state: str = ""
    customer: int | None = None
    material: int | None = None
    before: int | None = None
    after: int | None = None


def samples_visible_to(actor: User) -> QuerySet[Sample]:
    """List the samples a person may see: all for staff, their own for a customer, else none."""
    rows = Sample.objects.select_related("customer", "material", "source")
    if is_customer(actor):
        return rows.filter(customer=actor.customer_id) if actor.customer_id else rows.none()
    return rows if may(actor, Action.READ_RECORDS) else rows.none()


def sees_every_sample(actor: User) -> bool:
    """Say whether nothing has to be left out for this person, so that no query need look."""
    return may(actor, Action.READ_RECORDS) and not is_customer(actor)


def sample_page(actor: User, wanted: SampleFilter, *, size: int = 50) -> Page[Sample]:
    """Give a page of the intake list, newest first."""
    rows = samples_visible_to(actor).select_related("procedure_version__procedure")
    for word in wanted.search.casefold().split():
        rows = rows.filter(search_text__contains=word)
    if wanted.state:
        rows = rows.filter(state=wanted.state)
    if wanted.customer is not None:
        rows = rows.filter(customer=wanted.customer)
    if wanted.material is not None:
        rows = rows.filter(material=wanted.material)
    return page_of(rows, before=wanted.before, after=wanted.after, size=size)


def find_sample(actor: User, number: str) -> Sample:
    """Give one sample with its portions, runs, newest results and certificates, or `NotFound`."""
    results = Result.objects.order_by("-version").prefetch_related("assessments")
    runs = Run.objects.select_related("bench", "technician", "reviewer", "transcription").order_by(
        "id"
    )
    portions = TestPortion.objects.select_related("prepared_by", "parent")
    sample = (
        samples_visible_to(actor)
        .select_related(
            "received_by", "procedure_version__procedure", "specification_version__specification"
        )
        .prefetch_related(
            Prefetch("portions", portions),
            Prefetch("portions__runs", runs),
            Prefetch("portions__runs__results", results),
            Prefetch("holds", SampleHold.objects.select_related("held_by")),
            Prefetch("certificates", Certificate.objects.defer("pdf", "content").order_by("id")),
        )
        .filter(number=number)
        .first()
    )
    if sample is None:
        msg = f"There is no sample {number}. Check the number on the label."
        raise NotFound(msg)
    return sample


def search_text(sample: Sample) -> str:
    """Gather what a person may search a sample by, in lower case."""
    parts = (
        sample.number,
        sample.lot,
        sample.customer_reference,
        sample.description,
        sample.customer.name,
        sample.material.name,
        sample.source.name if sample.source else "",
    )
    return " ".join(part for part in parts if part).casefold()
