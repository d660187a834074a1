"""Runs recorded elsewhere, written many at a time: samples, portions, runs, readings, results.

Everything happens in the caller's transaction; a dry run is the same work, rolled back.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import ZoneInfo

from gradation.models import (
    Bench,
    Customer,
    Division,
    Laboratory,
    Material,
    Nest,
    NestSieve,
    ProcedureVersion,
    Run,
    RunImport,
    RunSieve,
    Sample,
    TestPortion,
    User,
    Weighing,
)
from gradation.queries.days import laboratory_zone, noon_of
from gradation.queries.methods import released_procedure
from gradation.queries.portions import portion_label
from gradation.queries.run_checks import FindingsElsewhere
from gradation.services import clock, ledger, results
from gradation.services.bulk_rows import insert_alike
from gradation.services.run_import_checks import Checked, checked_runs, keep_checked
from gradation.services.run_sheet_rows import Mass, RunRow
from gradation.services.sample_writing import Methods, keep_new
from gradation.services.sheet_faults import CellFault

__all__ = ["Storing", "store_rows"]

Slot = Weighing.Slot

#: Readings of an import have keys made from this and their place, so that a repeat is the same.
_KEYS = uuid5(NAMESPACE_URL, "gradation/run-import")


@dataclass
class Storing:
    """What is the same for all rows of one import, read once."""

    actor: User
    job: RunImport
    customer: Customer
    material: Material
    bench: Bench
    nest: Nest
    procedure: ProcedureVersion
    places: list[NestSieve]
    laboratory: Laboratory
    today: date
    methods: Methods = field(default_factory=Methods)

    @property
    def zone(self) -> ZoneInfo:
        """Give the zone in which the laboratory counts its days."""
        return laboratory_zone(self.laboratory)

    @classmethod
    def of(cls, actor: User, job: RunImport) -> Storing:
        """Read what an import's rows share."""
        form = job.form
        customer, material, bench, nest = form.customer, form.material, form.bench, form.nest
        # The database keeps a form of runs whole; the procedure was looked at before any row.
        assert customer and material and bench and nest  # noqa: S101, PT018
        procedure = released_procedure(material)
        assert procedure is not None  # noqa: S101
        places = list(nest.places.select_related("sieve").order_by("position"))
        laboratory = Laboratory.objects.get()
        today = clock.today(laboratory)
        return cls(
            actor, job, customer, material, bench, nest, procedure, places, laboratory, today
        )


@dataclass(frozen=True)
class _Made:
    """A row with what was made of it."""

    row: RunRow
    run: Run
    is_new_sample: bool


def store_rows(storing: Storing, rows: Sequence[RunRow]) -> list[CellFault]:
    """Write the runs of some rows; give the faults, after which the caller rolls back.

    A run goes through the checks of opening and hand-over; a stop makes its row faulty. Ledger:
    sample logged, portion prepared and run imported - with its readings and findings -, for each.
    """
    samples, faults = _samples(storing, rows)
    if faults:
        return faults
    made = _runs(storing, rows, samples)
    _readings(storing, made)
    runs = _read_again(made)
    evaluations, failed = results.freeze_first_results(runs)
    numbers = {each.run.pk: each.row.number for each in made}
    if failed:
        return [CellFault(numbers[run.pk], "", said) for run, said in failed.items()]
    new = {each.run.portion.sample_id for each in made if each.is_new_sample}
    asking = FindingsElsewhere(storing.laboratory, runs, new)
    checked = checked_runs(storing.actor, evaluations, asking)
    stops = [CellFault(numbers[each.run.pk], "", said) for each in checked for said in each.stops]
    if not stops:
        keep_checked(checked)
        _write_ledger(storing, made, {each.run.pk: each for each in checked})
    return stops


def _samples(
    storing: Storing, rows: Sequence[RunRow]
) -> tuple[list[tuple[Sample, bool]], list[CellFault]]:
    """Give each row its sample: the one it names by number, or a new one."""
    named = [row.sample for row in rows if row.sample]
    known = {
        sample.number: sample
        for sample in Sample.objects.filter(number__in=named).select_related(
            "material", "customer", "source", "specification_version__specification"
        )
    }
    faults = [fault for row in rows for fault in _sample_faults(storing, row, known)]
    if faults:
        return [], faults
    unnamed = [row for row in rows if not row.sample]
    made = iter(_new_samples(storing, unnamed))
    return [(known[row.sample], False) if row.sample else (next(made), True) for row in rows], []


def _sample_faults(storing: Storing, row: RunRow, known: dict[str, Sample]) -> list[CellFault]:
    if row.tested_on > storing.today:
        msg = f"{row.tested_on:%d %b %Y} lies in the future. Write the day of the test."
        return [CellFault(row.number, _heading(storing, "tested_on"), msg)]
    if not row.sample:
        return []
    sample = known.get(row.sample)
    if sample is None:
        return [CellFault(row.number, "", f"There is no sample {row.sample} here.")]
    if sample.state in {Sample.State.CLOSED, Sample.State.CANCELLED}:
        return [CellFault(row.number, "", f"Sample {sample} is {sample.state}.")]
    if sample.material_id != storing.material.pk:
        msg = f"Sample {sample} is {sample.material}, not {storing.material}."
        return [CellFault(row.number, "", msg)]
    return []


def _heading(storing: Storing, meaning: str) -> str:
    """Give the heading of the column that means this; empty where none does."""
    columns: dict[str, str] = storing.job.form.columns
    return next((heading for heading, means in columns.items() if means == meaning), "")


def _new_samples(storing: Storing, rows: Sequence[RunRow]) -> list[Sample]:
    samples = [
        Sample(
            customer=storing.customer,
            material=storing.material,
            procedure_version=storing.procedure,
            specification_version=storing.methods.specification(storing.material, row.received_on),
            lot=row.lot[:120],
            customer_reference=row.reference[:120],
            sampled_by=Sample.SampledBy.UNKNOWN,
            received_at=noon_of(row.received_on, storing.zone),
            received_by=storing.actor,
            condition="as recorded elsewhere",
            state=Sample.State.UNDER_TEST,
        )
        for row in rows
    ]
    return keep_new(samples, storing.laboratory)


def _runs(
    storing: Storing, rows: Sequence[RunRow], samples: Sequence[tuple[Sample, bool]]
) -> list[_Made]:
    portions = TestPortion.objects.bulk_create(_portions(storing, rows, samples))
    runs = Run.objects.bulk_create(
        _run(storing, row, portion) for row, portion in zip(rows, portions, strict=True)
    )
    nest = [
        {"position": n, "sieve_id": place.sieve_id, "aperture_um": place.sieve.aperture_um}
        for n, place in enumerate(storing.places, start=1)
    ]
    placed = ({"run_id": run.pk, **place} for run in runs for place in nest)
    insert_alike(RunSieve, {"in_use": False}, placed)
    return [
        _Made(row, run, is_new) for row, run, (_, is_new) in zip(rows, runs, samples, strict=True)
    ]


def _portions(
    storing: Storing, rows: Sequence[RunRow], samples: Sequence[tuple[Sample, bool]]
) -> list[TestPortion]:
    named = {sample.pk for sample, is_new in samples if not is_new}
    there = Counter(TestPortion.objects.filter(sample__in=named).values_list("sample", flat=True))
    portions = []
    for row, (sample, _) in zip(rows, samples, strict=True):
        portions.append(
            TestPortion(
                sample=sample,
                label=portion_label(sample, there[sample.pk]),
                divided_how="as recorded elsewhere",
                division_way=Division.OTHER.value,
                prepared_at=noon_of(row.tested_on, storing.zone),
                prepared_by=storing.actor,
            )
        )
        there[sample.pk] += 1
    return portions


def _run(storing: Storing, row: RunRow, portion: TestPortion) -> Run:
    tested_at = noon_of(row.tested_on, storing.zone)
    by = f" by {row.recorded_by}" if row.recorded_by else ""
    said = f"Recorded elsewhere{by}; {storing.job.file_name}, row {row.number}."
    return Run(
        portion=portion,
        procedure_version=storing.procedure,
        bench=storing.bench,
        nest=storing.nest,
        technician=storing.actor,
        state=Run.State.WEIGHED,
        opened_at=tested_at,
        weighed_at=tested_at,
        deviations="\n".join(line for line in (said, row.deviations) if line),
        run_import=storing.job,
        import_row=row.number,
    )


def _readings(storing: Storing, made: Sequence[_Made]) -> None:
    positions = {
        place.sieve.aperture_um: position for position, place in enumerate(storing.places, start=1)
    }
    same = {
        "source": Weighing.Source.IMPORT.value,
        "made_at": clock.now(),
        "made_by_id": storing.actor.pk,
    }
    rows = (
        {
            "run_id": each.run.pk,
            "slot": mass.slot,
            "position": _position(mass, positions),
            "mass_g": mass.mass_g,
            "entered_text": mass.text.strip()[:40],
            "decimals": _decimals(mass.mass_g),
            "observed_at": each.run.opened_at,
            "key": uuid5(
                _KEYS, f"{storing.job.pk}/{each.row.number}/{mass.slot}/{mass.aperture_um}"
            ),
        }
        for each in made
        for mass in each.row.masses
    )
    insert_alike(Weighing, same, rows)


def _position(mass: Mass, positions: dict[Decimal, int]) -> int:
    return 0 if mass.aperture_um is None else positions[mass.aperture_um]


def _decimals(mass_g: Decimal) -> int:
    exponent = mass_g.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _write_ledger(storing: Storing, made: Sequence[_Made], checked: Mapping[int, Checked]) -> None:
    entries = []
    for each in made:
        run, portion = each.run, each.run.portion
        if each.is_new_sample:
            sample = portion.sample
            entries.append(ledger.Made("sample logged", sample, ledger.snapshot(sample)))
        entries.append(ledger.Made("portion prepared", portion, ledger.snapshot(portion)))
        readings = {_named(mass): mass.text for mass in each.row.masses}
        found = checked[run.pk]
        run.deviations = found.run.deviations
        after = ledger.snapshot(run, readings=readings, findings=found.in_short)
        entries.append(ledger.Made("run imported", run, after))
    ledger.write_many(actor=storing.actor, made=entries)


def _named(mass: Mass) -> str:
    return mass.slot if mass.aperture_um is None else f"{mass.aperture_um.normalize():f} µm"


#: Prefetched, so that what the runs of a batch share is one object, not one for each of them.
_OF_A_RUN = (
    "bench",
    "technician",
    "procedure_version__procedure",
    "procedure_version__apertures",
    "portion__sample__material",
    "portion__sample__procedure_version__procedure",
    "portion__sample__procedure_version__apertures",
    "portion__sample__specification_version__specification",
    "portion__sample__specification_version__lines",
    "places__sieve",
    "weighings__made_by",
    "weighings__balance",
    "instruments__instrument",
    "shakings",
)


def _read_again(made: Sequence[_Made]) -> list[Run]:
    """Read the runs as the calculation takes them, with a constant number of queries."""
    keys = [each.run.pk for each in made]
    found = Run.objects.filter(pk__in=keys).select_related("portion__sample").order_by("pk")
    return list(found.prefetch_related(*_OF_A_RUN))
