"""Bench: a run is opened on real sieves, readings come in singly, the run is handed over."""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import F

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import (
    Bench,
    Laboratory,
    Nest,
    OverdueRule,
    ProcedureVersion,
    Run,
    RunSieve,
    Sample,
    Sieve,
    TestPortion,
    User,
    Weighing,
)
from gradation.policy import Action, require
from gradation.queries.readings import current_weighing, current_weighings
from gradation.science.apertures import designation
from gradation.science.errors import GradationError
from gradation.science.quantities import parse_mass_g
from gradation.services import clock, ledger, results
from gradation.services.checking import cleaned, locked, needs_reason, unchanged

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

#: Read with a run, because every reading names them.
_OF_A_RUN = ("portion__sample", "procedure_version__procedure")


@dataclass(frozen=True)
class Setup:
    """Where and with which sieves a run is made, coarse to fine as scanned."""

    bench: Bench
    sieves: Sequence[Sieve]
    nest: Nest | None = None


@dataclass(frozen=True)
class Reading:
    """One reading as it came in: text, not yet a number. With a tare, `text` is the gross mass."""

    slot: str
    text: str
    key: UUID
    position: int = 0
    increment: int = 1
    tare_text: str = ""
    source: str = Weighing.Source.TYPED


@dataclass(frozen=True)
class HandOver:
    """What the technician says of the whole run when handing it over."""

    shaking_minutes: Decimal | None = None
    deviations: str = ""


def open_run(*, actor: User, portion: TestPortion, setup: Setup) -> Run:
    """Open a run of a portion on a bench with serial-numbered sieves.

    Technicians may. Refuses (`Invalid`, field `sieves`) a nest that is not the procedure's - wrong
    sizes, order, frame, a sieve twice - and sieves out of service or overdue (by policy); refuses
    (`Conflict`) a sieve that stands in an open run elsewhere, and a second run of the same
    determination. The sample becomes under test. Ledger: run opened.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        sample = locked(portion.sample)
        _refuse_untestable(sample)
        sieves = _lock_sieves(setup.sieves)
        warnings = _check_nest(sieves, sample.procedure_version)
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
        _place_sieves(run, sieves)
        _begin_test(actor, sample)
        ledger.write(
            actor=actor,
            action="run opened",
            subject=run,
            after=ledger.snapshot(run, sieves=[sieve.serial for sieve in sieves]),
        )
    return run


def _refuse_untestable(sample: Sample) -> None:
    if sample.state in {Sample.State.CLOSED, Sample.State.CANCELLED}:
        msg = f"Sample {sample} is {sample.state}; no run can be made of it."
        raise Conflict(msg)


def _lock_sieves(sieves: Sequence[Sieve]) -> list[Sieve]:
    twice = [serial for serial, n in Tally(sieve.serial for sieve in sieves).items() if n > 1]
    if twice:
        msg = f"Sieve {', '.join(twice)} stands in the nest twice. Each sieve has one place."
        raise Invalid.one("sieves", msg, code="sieve-twice")
    keys = [sieve.pk for sieve in sieves]
    held = Sieve.objects.select_for_update().order_by("pk").in_bulk(keys)
    return [held[key] for key in keys]


def _check_nest(sieves: Sequence[Sieve], procedure: ProcedureVersion) -> list[str]:
    """Refuse a nest that cannot be used; give back what is allowed but must be said."""
    faults = [*_order_faults(sieves, procedure), *_frame_faults(sieves)]
    laboratory = Laboratory.objects.get()
    today = clock.today(laboratory)
    warnings = []
    for sieve in sieves:
        if sieve.state != Sieve.State.IN_SERVICE:
            since = f" since {sieve.state_since:%d %b %Y}" if sieve.state_since else ""
            faults.append(
                f"Sieve {sieve} is {sieve.state}{since}: {sieve.state_reason} "
                "Scan another, or ask the equipment keeper."
            )
        elif sieve.next_check_on and sieve.next_check_on < today:
            said = f"The check of sieve {sieve} was due on {sieve.next_check_on:%d %b %Y}."
            if laboratory.overdue_sieve == OverdueRule.BLOCK:
                faults.append(f"{said} Scan another, or have it checked.")
            else:
                warnings.append(said)
    if faults:
        raise Invalid([Fault("sieves", fault, "nest-unfit") for fault in faults])
    return warnings


def _order_faults(sieves: Sequence[Sieve], procedure: ProcedureVersion) -> list[str]:
    wanted = [place.aperture_um for place in procedure.apertures.all()]
    given = [sieve.aperture_um for sieve in sieves]
    if given == wanted:
        return []
    if sorted(given, reverse=True) == wanted:
        return [
            "The sieves are out of order. The coarsest stands on top, the finest above the pan."
        ]
    missing = [designation(size) for size in wanted if size not in given]
    strange = [str(sieve) for sieve in sieves if sieve.aperture_um not in wanted]
    doubled = [designation(size) for size, n in Tally(given).items() if n > 1]
    return [
        f"{label}: {', '.join(sizes)}."
        for label, sizes in (
            (f"{procedure} asks for sizes that are missing", missing),
            (f"{procedure} has no such size", strange),
            ("Two sieves of the same size", doubled),
        )
        if sizes
    ]


def _frame_faults(sieves: Sequence[Sieve]) -> list[str]:
    frames = {sieve.frame_diameter_mm for sieve in sieves}
    if len(frames) <= 1:
        return []
    sizes = ", ".join(f"{frame.normalize():f} mm" for frame in sorted(frames))
    return [f"The frames differ ({sizes}): such sieves do not nest. Use one diameter."]


def _next_determination(portion: TestPortion) -> int:
    last = portion.runs.exclude(state=Run.State.INVALID).order_by("-determination").first()
    return last.determination + 1 if last else 1


def _place_sieves(run: Run, sieves: Sequence[Sieve]) -> None:
    taken = RunSieve.objects.filter(sieve__in=sieves, in_use=True).select_related(
        "sieve", "run__bench", "run__portion"
    )
    for place in taken:
        msg = (
            f"Sieve {place.sieve} stands in run {place.run} on {place.run.bench}. "
            "Take another, or wait until that run is handed over."
        )
        raise Conflict(msg, code="sieve-taken")
    try:
        with transaction.atomic():
            RunSieve.objects.bulk_create(
                RunSieve(
                    run=run,
                    position=position,
                    sieve=sieve,
                    aperture_um=sieve.aperture_um,
                    next_check_on=sieve.next_check_on,
                )
                for position, sieve in enumerate(sieves, start=1)
            )
    except IntegrityError as error:
        msg = "One of these sieves was just taken by another bench. Scan the nest again."
        raise Conflict(msg, code="sieve-taken") from error


def _begin_test(actor: User, sample: Sample) -> None:
    if sample.state == Sample.State.UNDER_TEST:
        return
    before = ledger.snapshot(sample)
    sample.state = Sample.State.UNDER_TEST
    sample.version += 1
    sample.save(update_fields=["state", "version"])
    ledger.write(actor=actor, action="sample under test", subject=sample, before=before)


def record_weighing(*, actor: User, run: Run, reading: Reading) -> Weighing:
    """Keep one reading of a run, at once.

    Technicians may, while the run is open or returned. The same key again gives back the reading
    already kept. Refuses (`Invalid`) what is no mass, a gross mass below its tare, a dry mass after
    washing above the one before; refuses (`Conflict`) a place that already has another reading: a
    correction needs a reason. Ledger: reading recorded.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        known = run.weighings.filter(key=reading.key).first()
        if known is not None:
            return known
        _refuse_uneditable(run)
        present = current_weighing(run, reading.slot, reading.position, reading.increment)
        if present is not None:
            _refuse_second_value(present, reading)
        weighing = _weighing(actor, run, reading)
        weighing.save(force_insert=True)
        ledger.write(actor=actor, action="reading recorded", subject=weighing)
    return weighing


def correct_weighing(*, actor: User, run: Run, reading: Reading, reason: str) -> Weighing:
    """Replace a reading by a further revision; the earlier value stays readable.

    Technicians may, with a reason, while the run is open or returned. Refuses (`Conflict`) when
    there is nothing to correct. Ledger: reading corrected, with the value before.
    """
    require(actor, Action.RECORD_RUN)
    reason = needs_reason(reason, "correct the reading")
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        known = run.weighings.filter(key=reading.key).first()
        if known is not None:
            return known
        _refuse_uneditable(run)
        present = current_weighing(run, reading.slot, reading.position, reading.increment)
        if present is None:
            msg = "There is no reading here yet. Enter it; a correction replaces an earlier one."
            raise Conflict(msg, code="nothing-to-correct")
        weighing = _weighing(actor, run, reading)
        weighing.revision = present.revision + 1
        weighing.reason = reason
        weighing.save(force_insert=True)
        ledger.write(
            actor=actor,
            action="reading corrected",
            subject=weighing,
            before=ledger.snapshot(present),
            reason=reason,
        )
    return weighing


def _refuse_uneditable(run: Run) -> None:
    if not run.is_editable:
        msg = f"Run {run} is {run.state}; readings are made while it is open or returned."
        raise Conflict(msg)


def _refuse_second_value(present: Weighing, reading: Reading) -> None:
    msg = (
        f"{present.mass_as_entered} g was already recorded here by {present.made_by}. You entered "
        f"{reading.text}. Keep the first, or correct it with a reason."
    )
    raise Conflict(msg, code="reading-clash")


def _weighing(actor: User, run: Run, reading: Reading) -> Weighing:
    """Turn the text of a reading into a row, or refuse it beside its field."""
    gross = _mass("text", reading.text)
    tare = _mass("tare_text", reading.tare_text) if reading.tare_text.strip() else None
    net = gross if tare is None else gross - tare
    if net < 0:
        msg = f"Gross {gross} g is below tare {tare} g. Check both, and which sieve was weighed."
        raise Invalid.one("text", msg, code="gross-below-tare")
    _check_place(run, reading)
    _check_washing(run, reading, net)
    return Weighing(
        run=run,
        slot=reading.slot,
        position=reading.position,
        increment=reading.increment,
        mass_g=net,
        gross_g=None if tare is None else gross,
        tare_g=tare,
        entered_text=reading.text.strip()[:40],
        decimals=_decimals(net),
        source=reading.source,
        key=reading.key,
        made_at=clock.now(),
        made_by=actor,
    )


#: What the column holds: twelve figures, four of them decimals.
_LARGEST_G, _MOST_DECIMALS = Decimal(10) ** 8, 4


def _mass(field: str, text: str) -> Decimal:
    try:
        mass = parse_mass_g(text)
    except GradationError as error:
        raise Invalid.one(field, str(error), code="not-a-mass") from error
    if mass >= _LARGEST_G:
        msg = f"{text} g is more than any balance here weighs. Check the unit and the digits."
        raise Invalid.one(field, msg, code="too-large")
    if _decimals(mass) > _MOST_DECIMALS:
        msg = f"{text} g has more than {_MOST_DECIMALS} decimals. Enter what the balance shows."
        raise Invalid.one(field, msg, code="too-many-decimals")
    return mass


def _decimals(mass: Decimal) -> int:
    return max(0, -int(mass.as_tuple().exponent))


def _check_place(run: Run, reading: Reading) -> None:
    if reading.slot not in set(Slot):
        msg = f"{reading.slot} is nothing that is weighed in a run."
        raise Invalid.one("slot", msg, code="unknown-slot")
    expected = reading.position > 0
    if (reading.slot == Slot.FRACTION) != expected:
        msg = "A fraction has its place in the nest; other masses have none."
        raise Invalid.one("position", msg, code="no-such-place")
    if expected and not run.places.filter(position=reading.position).exists():
        msg = f"Run {run} has no sieve at place {reading.position}."
        raise Invalid.one("position", msg, code="no-such-place")
    if reading.slot == Slot.WASHED_DRY_MASS and not run.procedure_version.wash:
        msg = f"{run.procedure_version} has no washing. Note a deviation if it was washed."
        raise Invalid.one("slot", msg, code="not-washed")


def _check_washing(run: Run, reading: Reading, net: Decimal) -> None:
    other_slot = {
        Slot.DRY_MASS.value: Slot.WASHED_DRY_MASS,
        Slot.WASHED_DRY_MASS.value: Slot.DRY_MASS,
    }.get(reading.slot)
    other = current_weighing(run, other_slot) if other_slot else None
    if other is None:
        return
    before, after = (net, other.mass_g) if reading.slot == Slot.DRY_MASS else (other.mass_g, net)
    if after > before:
        msg = (
            f"After washing {after.normalize():f} g, before only {before.normalize():f} g. "
            "Material cannot be gained by washing: check both masses and that it was dry."
        )
        raise Invalid.one("text", msg, code="gained-by-washing")


def submit_run(
    *, actor: User, run: Run, hand_over: HandOver | None = None, version: int | None = None
) -> Run:
    """Hand a run over for review: the figures are computed and frozen, the sieves are free again.

    Technicians may, from open or returned, when nothing is missing (`Invalid` names what is).
    Ledger: run handed over, with the result's digest.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        unchanged(run, version)
        _refuse_uneditable(run)
        _refuse_gaps(run)
        before = ledger.snapshot(run)
        _hand_over(run, hand_over or HandOver())
        result = results.freeze_result(run)
        _free_sieves(run)
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


def _hand_over(run: Run, said: HandOver) -> None:
    run.state, run.state_reason = Run.State.WEIGHED, ""
    run.weighed_at = clock.now()
    run.reviewer = run.reviewed_at = None
    run.version += 1
    if said.shaking_minutes is not None:
        run.shaking_minutes = said.shaking_minutes
    if said.deviations.strip():
        run.deviations = "\n".join(filter(None, [run.deviations, said.deviations.strip()]))
    cleaned(run).save()


def _free_sieves(run: Run) -> None:
    """Give the sieves back to the rack; a run counts once as a use of each."""
    used = list(run.places.filter(in_use=True).values_list("sieve_id", flat=True))
    run.places.filter(in_use=True).update(in_use=False)
    Sieve.objects.filter(pk__in=used).update(use_count=F("use_count") + 1)
