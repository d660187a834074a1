"""Runs recorded elsewhere, written many at a time: samples, portions, runs, readings, results.

Everything happens in the caller's transaction; a dry run is the same work, rolled back.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from uuid import NAMESPACE_URL, uuid5

from django.db.models import Prefetch

from gradation.models import (
    Division,
    Event,
    Laboratory,
    NestSieve,
    ProcedureVersion,
    Run,
    RunImport,
    RunSieve,
    Sample,
    SpecificationVersion,
    TestPortion,
    User,
    Weighing,
)
from gradation.queries.methods import released_procedure, specification_on
from gradation.queries.portions import portion_label
from gradation.queries.samples import search_text
from gradation.services import clock, ledger, numbering, results
from gradation.services.outbox import announce
from gradation.services.run_import_checks import Checked, checked_runs, keep_checked
from gradation.services.run_sheet_rows import Mass, RunRow
from gradation.services.sheet_faults import CellFault

__all__ = ["Storing", "store_rows"]

Slot = Weighing.Slot

#: Readings of an import have keys made from this and their place, so that a repeat is the same.
_KEYS = uuid5(NAMESPACE_URL, "gradation/run-import")
_NOON = time(12, tzinfo=UTC)


@dataclass
class Storing:
    """What is the same for all rows of one import, read once."""

    actor: User
    job: RunImport
    procedure: ProcedureVersion
    places: list[NestSieve]
    laboratory: Laboratory
    kept_for: timedelta
    today: date
    specifications: dict[date, SpecificationVersion | None] = field(default_factory=dict)

    @classmethod
    def of(cls, actor: User, job: RunImport) -> Storing:
        """Read what an import's rows share."""
        form = job.form
        procedure = released_procedure(form.material)
        assert procedure is not None  # noqa: S101 - looked at before any row is read
        places = form.nest.places.select_related("sieve").order_by("position")
        laboratory = Laboratory.objects.get()
        kept_for = timedelta(days=laboratory.retention_days)
        today = clock.today(laboratory)
        return cls(actor, job, procedure, list(places), laboratory, kept_for, today)

    def specification(self, day: date) -> SpecificationVersion | None:
        """Give the specification of the material that is valid on a day."""
        if day not in self.specifications:
            self.specifications[day] = specification_on(self.job.form.material, day)
        return self.specifications[day]


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
    failed = results.freeze_first_results(runs)
    numbers = {each.run.pk: each.row.number for each in made}
    if failed:
        return [CellFault(numbers[key], "", said) for key, said in failed.items()]
    checked = _checked(storing, made, runs)
    stops = [CellFault(numbers[each.run.pk], "", said) for each in checked for said in each.stops]
    if not stops:
        keep_checked(checked)
        _write_ledger(storing, made, {each.run.pk: each for each in checked})
    return stops


def _checked(storing: Storing, made: Sequence[_Made], runs: Sequence[Run]) -> list[Checked]:
    new = {each.run.portion.sample_id for each in made if each.is_new_sample}
    return checked_runs(storing.actor, runs, storing.laboratory, new)


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
        return [CellFault(row.number, "", f"{row.tested_on} lies in the future.")]
    if not row.sample:
        return []
    sample = known.get(row.sample)
    if sample is None:
        return [CellFault(row.number, "", f"There is no sample {row.sample} here.")]
    if sample.state in {Sample.State.CLOSED, Sample.State.CANCELLED}:
        return [CellFault(row.number, "", f"Sample {sample} is {sample.state}.")]
    if sample.material_id != storing.job.form.material_id:
        msg = f"Sample {sample} is {sample.material}, not {storing.job.form.material}."
        return [CellFault(row.number, "", msg)]
    return []


def _new_samples(storing: Storing, rows: Sequence[RunRow]) -> list[Sample]:
    form = storing.job.form
    numbers = _numbers(rows)
    samples = []
    for row in rows:
        received_at = datetime.combine(row.received_on, _NOON)
        sample = Sample(
            number=next(numbers[row.received_on.year]),
            customer=form.customer,
            material=form.material,
            procedure_version=storing.procedure,
            specification_version=storing.specification(row.received_on),
            lot=row.lot[:120],
            customer_reference=row.reference[:120],
            sampled_by=Sample.SampledBy.UNKNOWN,
            received_at=received_at,
            received_by=storing.actor,
            condition="as recorded elsewhere",
            retain_until=row.received_on + storing.kept_for,
            state=Sample.State.UNDER_TEST,
        )
        sample.search_text = search_text(sample)
        samples.append(sample)
    samples = Sample.objects.bulk_create(samples)
    announce(Event.SAMPLE_LOGGED, samples)
    return samples


def _numbers(rows: Sequence[RunRow]) -> dict[int, Iterator[str]]:
    """Take as many sample numbers of each year as the rows need."""
    years = [row.received_on.year for row in rows]
    return {
        year: iter(numbering.sample_numbers(year, years.count(year))) for year in sorted(set(years))
    }


def _runs(
    storing: Storing, rows: Sequence[RunRow], samples: Sequence[tuple[Sample, bool]]
) -> list[_Made]:
    portions = TestPortion.objects.bulk_create(_portions(storing, rows, samples))
    runs = Run.objects.bulk_create(
        _run(storing, row, portion) for row, portion in zip(rows, portions, strict=True)
    )
    RunSieve.objects.bulk_create(
        RunSieve(
            run=run,
            position=position,
            sieve=place.sieve,
            aperture_um=place.sieve.aperture_um,
            in_use=False,
        )
        for run in runs
        for position, place in enumerate(storing.places, start=1)
    )
    return [
        _Made(row, run, is_new) for row, run, (_, is_new) in zip(rows, runs, samples, strict=True)
    ]


def _portions(
    storing: Storing, rows: Sequence[RunRow], samples: Sequence[tuple[Sample, bool]]
) -> list[TestPortion]:
    there: dict[int, int] = {}
    portions = []
    for row, (sample, is_new) in zip(rows, samples, strict=True):
        if sample.pk not in there:
            there[sample.pk] = 0 if is_new else sample.portions.count()
        portions.append(
            TestPortion(
                sample=sample,
                label=portion_label(sample, there[sample.pk]),
                divided_how="as recorded elsewhere",
                division_way=Division.OTHER.value,
                prepared_at=datetime.combine(row.tested_on, _NOON),
                prepared_by=storing.actor,
            )
        )
        there[sample.pk] += 1
    return portions


def _run(storing: Storing, row: RunRow, portion: TestPortion) -> Run:
    tested_at = datetime.combine(row.tested_on, _NOON)
    form = storing.job.form
    by = f" by {row.recorded_by}" if row.recorded_by else ""
    said = f"Recorded elsewhere{by}; {storing.job.file_name}, row {row.number}."
    return Run(
        portion=portion,
        procedure_version=storing.procedure,
        bench=form.bench,
        nest=form.nest,
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
    now = clock.now()
    Weighing.objects.bulk_create(
        Weighing(
            run=each.run,
            slot=mass.slot,
            position=_position(mass, positions),
            mass_g=mass.mass_g,
            entered_text=mass.text.strip()[:40],
            decimals=_decimals(mass.mass_g),
            source=Weighing.Source.IMPORT,
            observed_at=each.run.opened_at,
            key=uuid5(_KEYS, f"{storing.job.pk}/{each.row.number}/{mass.slot}/{mass.aperture_um}"),
            made_at=now,
            made_by=storing.actor,
        )
        for each in made
        for mass in each.row.masses
    )


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


def _read_again(made: Sequence[_Made]) -> list[Run]:
    """Read the runs as the calculation takes them, with a constant number of queries."""
    keys = [each.run.pk for each in made]
    return list(
        Run.objects.filter(pk__in=keys)
        .select_related(
            "portion__sample__specification_version__specification",
            "portion__sample__material",
            "procedure_version__procedure",
            "bench",
            "technician",
        )
        .prefetch_related(
            Prefetch("places", RunSieve.objects.select_related("sieve")),
            Prefetch("weighings", Weighing.objects.select_related("made_by")),
            "shakings",
            "instruments__instrument",
            "procedure_version__apertures",
            "portion__sample__specification_version__lines",
        )
        .order_by("pk")
    )
