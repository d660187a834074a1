"""Bench: a run is opened on real sieves, and handed over once everything is weighed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from django.db import transaction
from django.db.models import F

from gradation.errors import Conflict, Invalid
from gradation.models import (
    Bench,
    Equipment,
    Instrument,
    Laboratory,
    Nest,
    Run,
    Sample,
    Sieve,
    Stage,
    TestPortion,
    User,
)
from gradation.policy import Action, require
from gradation.queries.equipment import bench_instruments
from gradation.queries.readings import missing_readings
from gradation.queries.run_checks import Candidate, Finding, findings, opening_findings
from gradation.queries.shakings import summary_of
from gradation.services import clock, ledger, results
from gradation.services.checking import cleaned, locked, refuse_in_doubt, unchanged
from gradation.services.finding_records import (
    act_of,
    deviations_of,
    keep_answer,
    keep_findings,
    refuse_opening,
    refuse_unanswered,
)
from gradation.services.run_setup import Items, hold, hold_items, place_items
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

#: Read with a run, because its ledger entries name them.
_OF_A_RUN = ("portion__sample", "procedure_version__procedure")


@dataclass(frozen=True)
class Setup:
    """Where and with what a run is made: sieves coarse to fine as scanned, instruments by name.

    Where no balance or shaker is named, those that stand at the bench are taken. `reliefs` are
    keys of sieves put in against overload, of sizes the procedure does not ask for. `reasons` are
    given for what the checks find, by the findings' keys.
    """

    bench: Bench
    sieves: Sequence[Sieve]
    nest: Nest | None = None
    instruments: Sequence[Instrument] = ()
    reliefs: frozenset[int] = frozenset()
    has_pan: bool = True
    reasons: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class HandOver:
    """What the technician says of the whole run when handing it over."""

    shaking_minutes: Decimal | None = None
    deviations: str = ""
    climate: str = ""


def open_run(*, actor: User, portion: TestPortion, setup: Setup) -> Run:
    """Open a run of a portion on a bench with serial-numbered sieves and instruments.

    Technicians may. The checks asked at the opening (`queries.run_checks`) refuse it (`Invalid`,
    field `sieves`, `instruments`, `bench` or the finding's reason, code of the check), ask for a
    reason, or are noted with the run, by the laboratory's choice for each. Refuses (`Conflict`) a
    sieve or portion that an open run has, saying who, and a sample about which a query is open.
    The sample becomes under test. Ledger: run opened, and each reason given.
    """
    require(actor, Action.RECORD_RUN)
    if not setup.bench.is_active:
        msg = f"{setup.bench} was given up. Pick another bench."
        raise Invalid.one("bench", msg, code="bench-retired")
    with transaction.atomic():
        sample = locked(portion.sample)
        _refuse_untestable(sample)
        items = hold_items(setup.sieves, _instruments(setup), setup.reliefs)
        found = _findings(actor, portion, setup, items)
        refuse_opening(actor, found, setup.reasons)
        run = Run(
            portion=portion,
            determination=_next_determination(portion),
            procedure_version=sample.procedure_version,
            bench=setup.bench,
            nest=setup.nest,
            technician=actor,
            opened_at=clock.now(),
            deviations="\n".join(deviations_of(found, "", setup.reasons)),
        )
        cleaned(run).save(force_insert=True)
        place_items(run, items)
        _begin_test(actor, sample)
        _write_opening(actor, run, items, found)
        _keep_reasons(actor, run, found, setup.reasons)
    return run


def _write_opening(actor: User, run: Run, items: Items, found: Sequence[Finding]) -> None:
    after = ledger.snapshot(
        run,
        sieves=[sieve.serial for sieve in items.sieves],
        instruments=[item.serial for item in items.instruments],
        findings=keep_findings(run, Stage.OPENING, found),
    )
    ledger.write(actor=actor, action="run opened", subject=run, after=after)


def _keep_reasons(
    actor: User, run: Run, found: Sequence[Finding], reasons: Mapping[str, str]
) -> None:
    """Keep the reason for each finding that asked for one before the run was opened."""
    for each in found:
        if each.is_open:
            answer = keep_answer(actor, run, each, reasons[each.key])
            act = act_of(answer)
            ledger.write(actor=actor, action=act, subject=answer, reason=answer.reason)


def _findings(actor: User, portion: TestPortion, setup: Setup, items: Items) -> tuple[Finding, ...]:
    """Ask the checks about the run, with its items held and read afresh."""
    laboratory = Laboratory.objects.get()
    candidate = Candidate(
        actor=actor,
        portion=portion,
        bench=setup.bench,
        sieves=items.sieves,
        instruments=items.instruments,
        reliefs=items.reliefs,
        has_pan=setup.has_pan,
    )
    return opening_findings(candidate, laboratory=laboratory, day=clock.today(laboratory))


def _instruments(setup: Setup) -> Sequence[Instrument]:
    named = {item.kind for item in setup.instruments}
    standing = [item for item in bench_instruments(setup.bench) if item.kind not in named]
    return [*setup.instruments, *standing]


def _refuse_untestable(sample: Sample) -> None:
    if sample.state in {Sample.State.CLOSED, Sample.State.CANCELLED}:
        msg = f"Sample {sample} is {sample.state}; no run can be made of it."
        raise Conflict(msg)
    refuse_in_doubt(sample)


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

    Technicians may, from open or returned, when nothing is missing and every finding of the checks
    has its reason or was lifted (`Invalid` names what is left, each at its place). The first
    hand-over counts as a use of each sieve and instrument, with the minutes shaken; what went out
    of service meanwhile is noted with the run. Ledger: run handed over, with the result's digest
    and the findings.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        unchanged(run, version)
        _refuse_uneditable(run)
        _refuse_gaps(run)
        before = ledger.snapshot(run)
        used = _in_use(run)
        said = hand_over or HandOver()
        if said.shaking_minutes is not None:
            run.shaking_minutes = said.shaking_minutes
        found = findings(run, Stage.HAND_OVER)
        refuse_unanswered(found)
        _hand_over(run, said, deviations_of(found, run.deviations, {}))
        result = results.freeze_result(run)
        _free_and_count(run, used)
        ledger.write(
            actor=actor,
            action="run handed over",
            subject=run,
            before=before,
            after=ledger.snapshot(
                run,
                result_version=result.version,
                inputs_digest=result.inputs_digest,
                findings=keep_findings(run, Stage.HAND_OVER, found),
            ),
        )
    return run


def _refuse_uneditable(run: Run) -> None:
    if not run.is_editable:
        msg = f"Run {run} is {run.state}; it is handed over from open or returned."
        raise Conflict(msg)


def _refuse_gaps(run: Run) -> None:
    missing = missing_readings(run)
    if missing:
        msg = f"Not weighed yet: {', '.join(missing)}. Enter 0 where nothing was found."
        raise Invalid.one("readings", msg, code="incomplete")


def _in_use(run: Run) -> list[Equipment]:
    """Hold the sieves and instruments of a run that still has its sieves; else none."""
    sieves = list(run.places.filter(in_use=True).values_list("sieve_id", flat=True))
    if not sieves:
        return []
    guard = [run.guard_sieve_id] if run.guard_sieve_id else []
    return hold([*sieves, *guard, *run.instruments.values_list("instrument_id", flat=True)])


def _hand_over(run: Run, said: HandOver, noted: Sequence[str]) -> None:
    run.state, run.state_reason = Run.State.WEIGHED, ""
    run.weighed_at = clock.now()
    run.reviewer = run.reviewed_at = None
    run.climate = said.climate.strip() or run.climate
    run.version += 1
    shaken = summary_of(run, said.shaking_minutes)
    if shaken.minutes is not None:
        run.shaking_minutes = shaken.minutes
    lines = [run.deviations, said.deviations.strip(), *noted]
    lines += [note for note in shaken.notes if note not in run.deviations]
    run.deviations = "\n".join(line for line in lines if line)
    cleaned(run).save()


def _free_and_count(run: Run, used: Sequence[Equipment]) -> None:
    """Give the sieves back to the rack; a run counts once as a use of each item.

    The guard sieve is used, but not shaken.
    """
    run.places.filter(in_use=True).update(in_use=False)
    items = Equipment.objects.filter(pk__in=[item.pk for item in used])
    items.update(use_count=F("use_count") + 1)
    items.exclude(pk=run.guard_sieve_id or 0).update(
        minutes_used=F("minutes_used") + (run.shaking_minutes or Decimal(0))
    )
