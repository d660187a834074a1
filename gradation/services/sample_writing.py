"""New samples, one or many: as described on delivery, looked at, numbered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cached_property
from zoneinfo import ZoneInfo

from gradation.errors import Fault, Invalid
from gradation.models import (
    Customer,
    Event,
    Laboratory,
    Material,
    ProcedureVersion,
    Sample,
    Source,
    SpecificationVersion,
)
from gradation.queries.days import day_of, laboratory_zone
from gradation.queries.methods import released_procedure, specifications_of
from gradation.queries.samples import search_text
from gradation.services import clock, numbering
from gradation.services.checking import not_in_future
from gradation.services.outbox import announce

__all__ = ["Delivery", "Methods", "delivery_faults", "described", "keep_new", "numbered"]


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


@dataclass
class Methods:
    """Procedures and specifications of materials, each asked for once."""

    procedures: dict[int, ProcedureVersion | None] = field(default_factory=dict)
    specifications: dict[int, list[SpecificationVersion]] = field(default_factory=dict)

    def procedure(self, material: Material) -> ProcedureVersion | None:
        """Give the released version of the material's procedure."""
        if material.pk not in self.procedures:
            self.procedures[material.pk] = released_procedure(material)
        return self.procedures[material.pk]

    @cached_property
    def zone(self) -> ZoneInfo:
        """Give the zone in which the laboratory counts its days."""
        return laboratory_zone()

    def specification(self, material: Material, day: date) -> SpecificationVersion | None:
        """Give the specification of the material that is valid on a day."""
        if material.pk not in self.specifications:
            self.specifications[material.pk] = specifications_of(material)
        versions = self.specifications[material.pk]
        return next((each for each in versions if each.is_valid_on(day)), None)


def described(sample: Sample, delivery: Delivery, methods: Methods | None = None) -> Sample:
    """Give a sample what its delivery says; refuses (`Invalid`) one without released procedure."""
    methods = methods or Methods()
    procedure = delivery.procedure_version or methods.procedure(delivery.material)
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
    sample.specification_version = delivery.specification_version or methods.specification(
        delivery.material, day_of(sample.received_at, methods.zone)
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


def delivery_faults(sample: Sample) -> list[Fault]:
    """Find what cannot be true of a delivery."""
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
    return faults


def _no_mass(field: str, mass_g: Decimal | None, what: str) -> list[Fault]:
    if mass_g is None or mass_g > 0:
        return []
    msg = f"{what} is {mass_g} g; it must be above zero. Weigh again, or leave it empty."
    return [Fault(field, msg, "mass-not-positive")]


def numbered(samples: Sequence[Sample], laboratory: Laboratory) -> Sequence[Sample]:
    """Give new samples the next numbers of their years, and what follows from them."""
    days = [day_of(sample.received_at, ZoneInfo(laboratory.time_zone)) for sample in samples]
    years = [day.year for day in days]
    given = {
        year: iter(numbering.sample_numbers(year, years.count(year))) for year in sorted(set(years))
    }
    for sample, day in zip(samples, days, strict=True):
        sample.number = next(given[day.year])
        sample.retain_until = day + timedelta(days=laboratory.retention_days)
        sample.search_text = search_text(sample)
    return samples


def keep_new(samples: Sequence[Sample], laboratory: Laboratory) -> list[Sample]:
    """Number many new samples, write them, and announce them."""
    kept = Sample.objects.bulk_create(numbered(samples, laboratory))
    announce(Event.SAMPLE_LOGGED, kept)
    return kept
