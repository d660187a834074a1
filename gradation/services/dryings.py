"""Drying to constant mass: into the oven, weighed again and again, out of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.db.models import F

from gradation.errors import Conflict, Invalid
from gradation.models import (
    Drying,
    DryingMass,
    Equipment,
    Instrument,
    ProcedureVersion,
    Run,
    Sample,
    TestPortion,
    User,
    Weighing,
)
from gradation.policy import Action, require
from gradation.queries.portion_mass import plain
from gradation.queries.preparation import DryingView, drying_view, find_drying
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked, needs_reason, refuse_in_doubt, unchanged
from gradation.services.dry_mass_of_run import carry_into_runs, reading_of, refuse_settled
from gradation.services.drying_checks import (
    Oven,
    decimals_of,
    limit_of,
    net_mass,
    oven_notes,
    set_temperature,
    typed_mass,
)
from gradation.services.observed import weighed_at
from gradation.services.weighing import record_weighing

__all__ = [
    "MassReading",
    "Oven",
    "begin_drying",
    "correct_drying_mass",
    "end_drying",
    "record_drying_mass",
    "take_dry_mass",
]

#: Rows whose names the ledger keeps.
_OF_A_DRYING = ("portion__sample__procedure_version__procedure", "run__procedure_version")


#: What took longer than this from the balance to the server waited somewhere for the network.
_AT_ONCE = timedelta(seconds=30)


@dataclass(frozen=True)
class MassReading:
    """One weighing of a drying as it came in: which it is, and its text (with the container).

    `raw_text` is the balance's line as it came. `observed_at` and `sent_at` are by the client's
    clock: what waited for the network counts from when it stood on the balance.
    """

    number: int
    text: str
    key: UUID
    source: str = DryingMass.Source.TYPED.value
    balance: Instrument | None = None
    raw_text: str = ""
    observed_at: datetime | None = None
    sent_at: datetime | None = None


def begin_drying(*, actor: User, portion: TestPortion, oven: Oven) -> Drying:
    """Put a portion into the oven, before its test or, with a run, what washing left of it.

    Technicians may. The limit of constant mass is the procedure's; where it has none, one is typed
    with its source. The moist mass is that before drying, with the container if there is one.
    Refuses (`Invalid`) an oven out of service or overdue (by policy, else noted) or set further
    from the procedure's temperature than its tolerance, and masses that are none; refuses
    (`Conflict`) a portion already in the oven, or declared to be tested as received. Ledger: drying
    begun, and portion weighed when the moist mass is new.
    """
    require(actor, Action.PREPARE_PORTION)
    with transaction.atomic():
        portion = locked(portion, "sample__procedure_version__procedure")
        procedure = _procedure(portion, oven.run)
        _refuse_undryable(portion, oven)
        notes = oven_notes(oven, procedure)
        limit_pct, limit_source = limit_of(oven, procedure)
        container_g = typed_mass("container_text", oven.container_text)
        weighed_now = _keep_moist_mass(actor, portion, oven, container_g)
        drying = Drying(
            portion=portion,
            run=oven.run,
            stage=oven.stage.value,
            oven=oven.oven,
            temperature_c=set_temperature(oven, procedure),
            limit_pct=limit_pct,
            limit_source=limit_source,
            container_g=container_g,
            moist_text=oven.moist_text.strip()[:40] if weighed_now else "",
            began_at=clock.now(),
            begun_by=actor,
            notes="\n".join(notes),
        )
        cleaned(drying).save(force_insert=True)
        if oven.oven is not None:
            _count_use(oven.oven)
        ledger.write(actor=actor, action="drying begun", subject=drying)
    return drying


def _count_use(oven: Instrument) -> None:
    """Count a drying as a use of its oven, for a check that falls due by uses."""
    Equipment.objects.filter(pk=oven.pk).update(use_count=F("use_count") + 1)


def _procedure(portion: TestPortion, run: Run | None) -> ProcedureVersion:
    return run.procedure_version if run else portion.sample.procedure_version


def _refuse_undryable(portion: TestPortion, oven: Oven) -> None:
    if portion.sample.state in {Sample.State.CLOSED, Sample.State.CANCELLED}:
        msg = f"Sample {portion.sample} is {portion.sample.state}; nothing more is done with it."
        raise Conflict(msg)
    refuse_in_doubt(portion.sample)
    if portion.is_as_received:
        msg = (
            f"{portion} is tested as received: {portion.drying} Divide another portion to dry one."
        )
        raise Conflict(msg, code="as-received")
    run = oven.run
    if run is not None:
        _refuse_run(portion, run)
    there = portion.dryings.filter(stage=oven.stage.value, ended_at=None).first()
    if there is not None:
        msg = f"{portion} is in the oven already, since {there.began_at:%d %b %Y %H:%M} UTC."
        raise Conflict(msg, code="in-the-oven")


def _refuse_run(portion: TestPortion, run: Run) -> None:
    if run.portion_id != portion.pk:
        msg = f"Run {run} is of another portion than {portion}."
        raise Invalid.one("run", msg, code="other-portion")
    if not run.procedure_version.wash:
        msg = f"{run.procedure_version} has no washing, so nothing is dried after it."
        raise Invalid.one("run", msg, code="not-washed")
    if not run.is_editable:
        msg = f"Run {run} is {run.state}; it is dried while the run is open or returned."
        raise Conflict(msg)


def _keep_moist_mass(
    actor: User, portion: TestPortion, oven: Oven, container_g: Decimal | None
) -> bool:
    """Keep the mass before drying, when it was weighed only now; say whether it was."""
    gross_g = typed_mass("moist_text", oven.moist_text)
    if gross_g is None or oven.stage is not Drying.Stage.BEFORE:
        return False
    net_g = gross_g - (container_g or 0)
    if net_g <= 0:
        msg = f"{gross_g} g is not more than the container, {container_g} g. Check both."
        raise Invalid.one("moist_text", msg, code="gross-below-tare")
    if portion.moist_mass_g is not None and portion.moist_mass_g != net_g:
        msg = (
            f"{portion} was {plain(portion.moist_mass_g)} g when it was divided, now {plain(net_g)}"
            " g. Leave the field empty to keep the first, or divide another portion."
        )
        raise Invalid.one("moist_text", msg, code="moist-mass-known")
    if portion.moist_mass_g is not None:
        return False
    before = ledger.snapshot(portion)
    portion.moist_mass_g = net_g
    portion.save(update_fields=["moist_mass_g"])
    ledger.write(actor=actor, action="portion weighed", subject=portion, before=before)
    return True


def record_drying_mass(*, actor: User, drying: Drying, reading: MassReading) -> DryingMass:
    """Keep one weighing of a portion that is being dried, at once.

    Technicians may, while it is being dried. The same key again gives back the weighing already
    kept. One sooner than the procedure's interval is kept, but does not count. Refuses (`Invalid`)
    what is no mass or not more than the container; refuses (`Conflict`) a number that has another
    weighing. Ledger: drying mass recorded.
    """
    require(actor, Action.PREPARE_PORTION)
    with transaction.atomic():
        drying = locked(drying, *_OF_A_DRYING)
        known = drying.masses.filter(key=reading.key).first()
        if known is not None:
            return known
        _refuse_ended(drying)
        _refuse_other_number(drying, reading)
        mass = _drying_mass(actor, drying, reading)
        mass.save(force_insert=True)
        ledger.write(actor=actor, action="drying mass recorded", subject=mass)
    return mass


def _refuse_ended(drying: Drying) -> None:
    if drying.ended_at is not None:
        msg = f"The {drying} has ended. Begin another drying if it goes back into the oven."
        raise Conflict(msg)


def _refuse_other_number(drying: Drying, reading: MassReading) -> None:
    """Refuse a second value for a weighing, and a weighing out of turn."""
    there = drying.masses.order_by("number", "revision").filter(number=reading.number).last()
    if there is not None:
        msg = (
            f"Weighing {there.number} is {there.mass_as_entered} g, recorded by {there.made_by}. "
            f"You entered {reading.text}. Keep the first, correct it with a reason, or enter yours "
            f"as the next weighing."
        )
        raise Conflict(msg, code="reading-clash")
    last = drying.masses.order_by("number").values_list("number", flat=True).last() or 0
    if reading.number != last + 1:
        msg = f"The next weighing is number {last + 1}, not {reading.number}. Load the page again."
        raise Invalid.one("number", msg, code="out-of-turn")


def _drying_mass(actor: User, drying: Drying, reading: MassReading) -> DryingMass:
    net_g = net_mass(reading.text, drying.container_g)
    now = clock.now()
    stood_at = max(weighed_at(reading.observed_at, reading.sent_at, now), drying.began_at)
    return DryingMass(
        drying=drying,
        number=reading.number,
        mass_g=net_g,
        entered_text=reading.text.strip()[:40],
        decimals=decimals_of(net_g),
        source=reading.source,
        balance=reading.balance,
        raw_text=reading.raw_text,
        key=reading.key,
        weighed_at=stood_at if now - stood_at > _AT_ONCE else None,
        made_at=now,
        made_by=actor,
    )


def correct_drying_mass(
    *, actor: User, drying: Drying, reading: MassReading, reason: str
) -> DryingMass:
    """Replace a weighing by a further revision; the earlier value stays readable.

    Technicians may, with a reason, until a run of the portion was handed over. The verdict follows
    the new value; the time stays that of the weighing; a dry mass that an open run took from here
    is corrected too. Refuses (`Conflict`) when there is nothing to correct. Ledger: drying mass
    corrected, reading corrected.
    """
    require(actor, Action.PREPARE_PORTION)
    reason = needs_reason(reason, "correct the weighing")
    with transaction.atomic():
        drying = locked(drying, *_OF_A_DRYING)
        known = drying.masses.filter(key=reading.key).first()
        if known is not None:
            return known
        refuse_settled(drying)
        present = drying.masses.filter(number=reading.number).order_by("revision").last()
        if present is None:
            msg = f"There is no weighing {reading.number} yet. Enter it; nothing is corrected."
            raise Conflict(msg, code="nothing-to-correct")
        mass = _drying_mass(actor, drying, reading)
        mass.revision, mass.reason = present.revision + 1, reason
        mass.save(force_insert=True)
        ledger.write(
            actor=actor,
            action="drying mass corrected",
            subject=mass,
            before=ledger.snapshot(present),
            reason=reason,
        )
        carry_into_runs(actor=actor, drying=drying, reason=reason)
    return mass


def end_drying(
    *,
    actor: User,
    drying: Drying,
    reason: str = "",
    run: Run | None = None,
    version: int | None = None,
) -> Drying:
    """Take a portion out of the oven for good: its mass is constant, or it is given up.

    Technicians may; giving up needs a reason. With `run`, the last mass becomes that run's dry mass
    in the same act. Ledger: drying ended.
    """
    require(actor, Action.PREPARE_PORTION)
    with transaction.atomic():
        drying = locked(drying, *_OF_A_DRYING)
        unchanged(drying, version)
        _refuse_ended(drying)
        if not _view(actor, drying).is_constant:
            reason = needs_reason(reason, "give up the drying before the mass is constant")
            if len(reason) > 240:
                raise Invalid.one("reason", "240 characters fit. Shorten it.", code="too-long")
            drying.end_reason = reason
        before = ledger.snapshot(drying)
        drying.ended_at = clock.now()
        drying.version += 1
        drying.save(update_fields=["ended_at", "end_reason", "version"])
        ledger.write(
            actor=actor, action="drying ended", subject=drying, before=before, reason=reason
        )
        if run is not None:
            take_dry_mass(actor=actor, drying=drying, run=run)
    return drying


def _view(actor: User, drying: Drying) -> DryingView:
    return drying_view(find_drying(actor, drying.pk))


def take_dry_mass(*, actor: User, drying: Drying, run: Run) -> Weighing:
    """Let the last mass of a drying be the dry mass of a run, or its dry mass after washing.

    Technicians may, once the drying has ended. Done twice, it is done once. Refuses what a typed
    reading is refused for, so a run that has another dry mass keeps it until it is corrected.
    Ledger: dry mass taken from drying, and reading recorded.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        drying = locked(drying, *_OF_A_DRYING)
        last = _view(actor, drying).last_mass
        _refuse_untakeable(drying, run, last)
        reading = reading_of(drying, run, last)
        known = run.weighings.filter(key=reading.key).first()
        if known is not None:
            return known
        weighing = record_weighing(actor=actor, run=run, reading=reading)
        ledger.write(
            actor=actor,
            action="dry mass taken from drying",
            subject=drying,
            after={"run": str(run), "mass_g": str(weighing.mass_as_entered)},
        )
    return weighing


def _refuse_untakeable(drying: Drying, run: Run, last: DryingMass | None) -> None:
    if drying.ended_at is None:
        msg = f"{drying.portion} is still in the oven. End the drying first."
        raise Conflict(msg, code="in-the-oven")
    if last is None:
        msg = f"The {drying} has no weighing. Weigh the portion in the run itself."
        raise Conflict(msg, code="nothing-weighed")
    expected = drying.run_id if drying.stage == Drying.Stage.AFTER_WASHING else run.pk
    if run.portion_id != drying.portion_id or run.pk != expected:
        msg = f"Run {run} is not the run that this drying belongs to."
        raise Conflict(msg, code="other-run")
