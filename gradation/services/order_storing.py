"""Orders from another system, written many at a time as logged samples.

Everything happens in the caller's transaction; a dry run is the same work, rolled back.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime

from gradation.errors import Invalid
from gradation.models import Customer, Laboratory, Material, RunImport, Sample, Source, User
from gradation.queries.days import laboratory_zone, noon_of
from gradation.queries.laboratory import customer_list, material_list, source_list
from gradation.services import clock, ledger
from gradation.services.checking import field_faults
from gradation.services.order_sheet_rows import OrderRow
from gradation.services.sample_writing import (
    Delivery,
    Methods,
    delivery_faults,
    described,
    keep_new,
)
from gradation.services.sheet_faults import CellFault

__all__ = ["OrderStoring"]

_LOOKED_UP = frozenset(
    field.name for field in Sample._meta.concrete_fields if field.is_relation
) | {"number"}
#: A field of a sample, and the meaning of the column that it comes from.
_MEANING = {
    "received_at": "received_on",
    "sampled_at": "sampled_on",
    "mass_received_g": "mass_received",
    "procedure_version": "material",
}
#: What tells one order from another.
Order = tuple[int, int, str, str, str]


@dataclass
class OrderStoring:
    """What is the same for all rows of one table of orders, read once."""

    actor: User
    job: RunImport
    laboratory: Laboratory = field(default_factory=Laboratory.objects.get)
    methods: Methods = field(default_factory=Methods)
    seen: dict[Order, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.now = clock.now().astimezone(laboratory_zone(self.laboratory))
        self.customers = {_plain(each.name): each for each in customer_list()}
        self.materials = {_plain(each.name): each for each in material_list()}
        self.sources = {(each.customer_id, _plain(each.name)): each for each in source_list()}

    def store(self, rows: Sequence[OrderRow]) -> list[CellFault]:
        """Log the samples of some rows; give the faults, after which the caller rolls back.

        Ledger: sample logged, for each.
        """
        faults: list[CellFault] = []
        made = [(row, sample) for row in rows if (sample := self._sample(row, faults))]
        faults += self._repeats(made)
        if faults:
            return faults
        samples = keep_new([sample for _, sample in made], self.laboratory)
        entries = [ledger.Made("sample logged", each, ledger.snapshot(each)) for each in samples]
        ledger.write_many(actor=self.actor, made=entries)
        return []

    def _sample(self, row: OrderRow, faults: list[CellFault]) -> Sample | None:
        before = len(faults)
        delivery = self._delivery(row, faults)
        if delivery is None:
            return None
        sample = Sample(received_by=self.actor, order_import=self.job, import_row=row.number)
        try:
            described(sample, delivery, self.methods)
        except Invalid as refusal:
            found = list(refusal.faults)
        else:
            found = [*field_faults(sample, exclude=_LOOKED_UP), *delivery_faults(sample)]
        faults += [_of_cell(row, fault.field, fault.message) for fault in found]
        return sample if len(faults) == before else None

    def _delivery(self, row: OrderRow, faults: list[CellFault]) -> Delivery | None:
        named = row.names
        customer, material = self.job.form.customer, self.job.form.material
        if named["customer"]:
            customer = self.customers.get(_plain(named["customer"]))
        if named["material"]:
            material = self.materials.get(_plain(named["material"]))
        source = self._source(row, customer)
        is_without = {
            "customer": customer is None,
            "material": material is None,
            "source": bool(named["source"]) and source is None,
        }
        missing = [word for word in is_without if is_without[word]]
        faults += [_of_cell(row, word, _unknown(word, named[word])) for word in missing]
        if missing or customer is None or material is None:
            return None
        return _delivery_of(row, customer, material, source, self.now)

    def _source(self, row: OrderRow, customer: Customer | None) -> Source | None:
        return self.sources.get((customer.pk, _plain(row.names["source"]))) if customer else None

    def _repeats(self, made: Sequence[tuple[OrderRow, Sample]]) -> Iterator[CellFault]:
        """Name orders that stand in the table twice, or are on record."""
        known = _on_record([sample for _, sample in made])
        for row, sample in made:
            order = _order(sample)
            first = self.seen.setdefault(order, row.number)
            if first != row.number:
                yield CellFault(row.number, "", f"The same order stands in row {first}.")
            elif order in known:
                said = f"This order is on record as sample {known[order]}."
                yield CellFault(row.number, "", said)


def _delivery_of(
    row: OrderRow, customer: Customer, material: Material, source: Source | None, now: datetime
) -> Delivery:
    days, words = row.days, row.words
    return Delivery(
        customer=customer,
        material=material,
        source=source,
        condition=words.get("condition", "not stated"),
        lot=words.get("lot", ""),
        customer_reference=words.get("customer_reference", ""),
        description=words.get("description", ""),
        sampled_by=words.get("sampled_by", Sample.SampledBy.CUSTOMER.value),
        sampler_name=words.get("sampler_name", ""),
        sampling_method=words.get("sampling_method", ""),
        storage_place=words.get("storage_place", ""),
        mass_received_g=row.mass_received_g,
        sampled_at=_moment(days["sampled_on"], now),
        received_at=_moment(days["received_on"], now) or now,
        due_on=days["due_on"],
    )


def _moment(day: date | None, now: datetime) -> datetime | None:
    """Give noon of a day; of today, no later than now."""
    if day is None:
        return None
    zone = now.tzinfo or UTC
    return min(noon_of(day, zone), now) if day == now.date() else noon_of(day, zone)


def _order(sample: Sample) -> Order:
    return (
        sample.customer_id,
        sample.material_id,
        sample.customer_reference,
        sample.lot,
        sample.description,
    )


def _on_record(samples: Sequence[Sample]) -> Mapping[Order, str]:
    rows = Sample.objects.filter(
        customer__in={each.customer_id for each in samples},
        customer_reference__in={each.customer_reference for each in samples},
        lot__in={each.lot for each in samples},
    ).exclude(state=Sample.State.CANCELLED)
    return {_order(row): row.number for row in rows}


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()


def _unknown(word: str, name: str) -> str:
    if not name:
        return f"The {word} is missing, and the form names none."
    of_whom = " of this customer" if word == "source" else ""
    return f"There is no {word} {name!r}{of_whom}. Add it first, or correct it."


def _of_cell(row: OrderRow, field: str, message: str) -> CellFault:
    return CellFault(row.number, row.headings.get(_MEANING.get(field, field), ""), message)
