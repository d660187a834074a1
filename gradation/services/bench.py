"""Bench: a run is opened on real sieves, and handed over once everything is weighed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.db.models import F

from gradation.errors import Conflict, Invalid
from gradation.models import (
    Bench,
    Equipment,
    Instrument,
    Nest,
    Run,
    Sample,
    Sieve,
    TestPortion,
    User,
    Weighing,
)
from gradation.policy import Action, require
from gradation.queries.equipment import bench_instruments
from gradation.queries.readings import current_weighings
from gradation.science.apertures import designation
from gradation.services import clock, ledger, results
from gradation.services.checking import cleaned, locked, unchanged
from gradation.services.run_setup import check_items, hold, hold_items, place_items
from gradation.services.weighing import Reading, correct_weighing, record_weighing

__all__ = [
    "HandOver",
    "Reading",
    "Setup",
    "correct_weighing",
    "open_run",
    "record_weighing",
    "submit_run",
]

Slot = Weighing.Slot

#: Read with a run, because its ledger entries name them.
_OF_A_RUN = ("portion__sample", "procedure_version__procedure")


@dataclass(frozen=True)
class Setup:
    """Where and with what a run is made: sieves coarse to fine as scanned, instruments by name.

    Where no balance or shaker is named, those that stand at the bench are taken.
    """

    bench: Bench
    sieves: Sequence[Sieve]
    nest: Nest | None = None
    instruments: Sequence[Instrument] = ()


@dataclass(frozen=True)
class HandOver:
    """What the technician says of the whole run when handing it over."""

    shaking_minutes: Decimal | None = None
    deviations: str = ""


def open_run(*, actor: User, portion: TestPortion, setup: Setup) -> Run:
    """Open a run of a portion on a bench with serial-numbered sieves and instruments.

    Technicians may. Refuses (`Invalid`, field `sieves` or `instruments`) a nest that is not the
    procedure's - wrong sizes, order, frame, a sieve twice -, items out of service, masters, items
    overdue by days or uses and balances not checked today (by policy, else noted with the run), a
    balance too coarse for the portion, a nest too heavy for the shaker; refuses (`Conflict`) a
    sieve that stands in an open run elsewhere, saying who has it, and a second run of the same
    determination. The sample becomes under test. Ledger: run opened.
    """
    require(actor, Action.RECORD_RUN)
    if not setup.bench.is_active:
        msg = f"{setup.bench} was given up. Pick another bench."
        raise Invalid.one("bench", msg, code="bench-retired")
    with transaction.atomic():
        sample = locked(portion.sample)
        _refuse_untestable(sample)
        items = hold_items(setup.sieves, _instruments(setup))
        warnings = check_items(items, sample.procedure_version)
        run = Run(
            portion=portion,
            determination=_next_determination(portion),
            procedure_version=sample.procedure_version,
            bench=setup.bench,
            nest=setup.nest,
            technician=actor,
            opened_at=clock.now(),
            deviations="\n".join(warnings),
        )
        cleaned(run).save(force_insert=True)
        place_items(run, items)
        _begin_test(actor, sample)
        ledger.write(
            actor=actor,
            action="run opened",
            subject=run,
            after=ledger.snapshot(
                run,
                sieves=[sieve.serial for sieve in items.sieves],
                instruments=[item.serial for item in items.instruments],
            ),
        )
    return run


def _instruments(setup: Setup) -> Sequence[Instrument]:
    named = {item.kind for item in setup.instruments}
    standing = [item for item in bench_instruments(setup.bench) if item.kind not in named]
    return [*setup.instruments, *standing]


def _refuse_untestable(sample: Sample) -> None:
    if sample.state in {Sample.State.CLOSED, Sample.State.CANCELLED}:
        msg = f"Sample {sample} is {sample.state}; no run can be made of it."
        raise Conflict(msg)


def _next_determination(portion: TestPortion) -> int:
    last = portion.runs.exclude(state=Run.State.INVALID).order_by("-determination").first()
    return last.determination + 1 if last else 1


def _begin_test(actor: User, sample: Sample) -> None:
    if sample.state == Sample.State.UNDER_TEST:
        return
    before = ledger.snapshot(sample)
    sample.state = Sample.State.UNDER_TEST
    sample.version += 1
    sample.save(update_fields=["state", "version"])
    ledger.write(actor=actor, action="sample under test", subject=sample, before=before)


def submit_run(
    *, actor: User, run: Run, hand_over: HandOver | None = None, version: int | None = None
) -> Run:
    """Hand a run over for review: the figures are computed and frozen, the sieves are free again.

    Technicians may, from open or returned, when nothing is missing (`Invalid` names what is). The
    first hand-over counts as a use of each sieve and instrument, with the minutes shaken; what went
    out of service meanwhile is noted with the run. Ledger: run handed over, with the result's
    digest.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        unchanged(run, version)
        _refuse_uneditable(run)
        _refuse_gaps(run)
        before = ledger.snapshot(run)
        used = _in_use(run)
        _hand_over(run, hand_over or HandOver(), _gone(used))
        result = results.freeze_result(run)
        _free_and_count(run, used)
        ledger.write(
            actor=actor,
            action="run handed over",
            subject=run,
            before=before,
            after=ledger.snapshot(
                run, result_version=result.version, inputs_digest=result.inputs_digest
            ),
        )
    return run


def _refuse_uneditable(run: Run) -> None:
    if not run.is_editable:
        msg = f"Run {run} is {run.state}; it is handed over from open or returned."
        raise Conflict(msg)


def _refuse_gaps(run: Run) -> None:
    present = {(row.slot, row.position) for row in current_weighings(run)}
    wanted = [(Slot.DRY_MASS.value, 0, "the dry mass of the portion")]
    if run.procedure_version.wash:
        wanted.append((Slot.WASHED_DRY_MASS.value, 0, "the dry mass after washing"))
    wanted += [
        (Slot.FRACTION.value, place.position, f"the fraction on {designation(place.aperture_um)}")
        for place in run.places.all()
    ]
    wanted.append((Slot.PAN.value, 0, "the pan"))
    missing = [name for slot, position, name in wanted if (slot, position) not in present]
    if missing:
        msg = f"Not weighed yet: {', '.join(missing)}. Enter 0 where nothing was found."
        raise Invalid.one("readings", msg, code="incomplete")


def _in_use(run: Run) -> list[Equipment]:
    """Hold the sieves and instruments of a run that still has its sieves; else none."""
    sieves = list(run.places.filter(in_use=True).values_list("sieve_id", flat=True))
    if not sieves:
        return []
    return hold([*sieves, *run.instruments.values_list("instrument_id", flat=True)])


def _gone(used: Sequence[Equipment]) -> list[str]:
    return [
        f"{item} is {item.state}: {item.state_reason}"
        for item in used
        if item.state != Equipment.State.IN_SERVICE
    ]


def _hand_over(run: Run, said: HandOver, noted: Sequence[str]) -> None:
    run.state, run.state_reason = Run.State.WEIGHED, ""
    run.weighed_at = clock.now()
    run.reviewer = run.reviewed_at = None
    run.version += 1
    if said.shaking_minutes is not None:
        run.shaking_minutes = said.shaking_minutes
    lines = [run.deviations, said.deviations.strip(), *noted]
    run.deviations = "\n".join(line for line in lines if line)
    cleaned(run).save()


def _free_and_count(run: Run, used: Sequence[Equipment]) -> None:
    """Give the sieves back to the rack; a run counts once as a use of each item."""
    run.places.filter(in_use=True).update(in_use=False)
    Equipment.objects.filter(pk__in=[item.pk for item in used]).update(
        use_count=F("use_count") + 1,
        minutes_used=F("minutes_used") + (run.shaking_minutes or Decimal(0)),
    )
