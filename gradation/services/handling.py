"""Handling of a run beside weighing: washing, wet sieving, sieving aids."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Laboratory, Run, Sieve, User
from gradation.policy import Action, require
from gradation.queries.due import unfit_reasons
from gradation.science.apertures import designation
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked
from gradation.services.run_setup import hold_items, refuse_taken

__all__ = ["Handling", "record_handling"]

_OF_A_RUN = ("portion__sample", "procedure_version__procedure", "guard_sieve")


@dataclass(frozen=True)
class Handling:
    """What was done with the material beside weighing and shaking it."""

    wash_agent: str = ""
    soak_minutes: Decimal | None = None
    guard_sieve: Sieve | None = None
    wet_sieved: bool = False
    aids: str = ""


def record_handling(*, actor: User, run: Run, handling: Handling) -> Run:
    """Keep how the portion was washed and sieved: agent, soaking, guard sieve, water, aids.

    Technicians may, while the run is open or returned. Refuses (`Invalid`) washing where the
    procedure has none, and a guard sieve of another size than the procedure's, out of service or
    overdue, or in the nest itself; refuses (`Conflict`) one that another run has. Ledger: handling
    recorded.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        if not run.is_editable:
            msg = f"Run {run} is {run.state}; this is recorded while it is open or returned."
            raise Conflict(msg)
        before = ledger.snapshot(run)
        _check_washing(run, handling)
        run.wash_agent = handling.wash_agent.strip()
        run.soak_minutes = handling.soak_minutes
        _guard(run, handling.guard_sieve)
        run.wet_sieved = handling.wet_sieved
        run.aids = handling.aids.strip()
        if ledger.snapshot(run) != before:
            run.version += 1
            cleaned(run).save()
            ledger.write(actor=actor, action="handling recorded", subject=run, before=before)
    return run


def _check_washing(run: Run, handling: Handling) -> None:
    if handling.soak_minutes is not None and handling.soak_minutes < 0:
        raise Invalid.one("soak_minutes", "Enter a time of zero or more.", code="negative")
    washed = {
        "wash_agent": handling.wash_agent.strip(),
        "soak_minutes": handling.soak_minutes,
        "guard_sieve": handling.guard_sieve,
    }
    field = next((name for name, value in washed.items() if value), "")
    if field and not run.procedure_version.wash:
        msg = f"{run.procedure_version} has no washing. Note a deviation if it was washed."
        raise Invalid.one(field, msg, code="not-washed")


def _guard(run: Run, sieve: Sieve | None) -> None:
    """Let a sieve guard the run, looked at as any sieve of the nest; note what policy allows."""
    if sieve is None or sieve.pk == run.guard_sieve_id:
        run.guard_sieve = sieve
        return
    fresh = hold_items([sieve], []).sieves[0]
    wanted_um = run.procedure_version.guard_aperture_um
    if wanted_um is not None and fresh.aperture_um != wanted_um:
        msg = f"{run.procedure_version} guards with {designation(wanted_um)}, and this is {fresh}."
        raise Invalid.one("guard_sieve", msg, code="wrong-guard-size")
    if run.places.filter(sieve=fresh.pk).exists():
        msg = f"{fresh} stands in the nest of this run. Guard with another sieve of its size."
        raise Invalid.one("guard_sieve", msg, code="guard-in-nest")
    laboratory = Laboratory.objects.get()
    unfit = unfit_reasons(fresh, clock.today(laboratory), laboratory)
    for reason in unfit:
        if reason.blocks:
            msg = f"{reason} Scan another, or ask the equipment keeper."
            raise Invalid.one("guard_sieve", msg, code=reason.code)
    refuse_taken([fresh])
    run.guard_sieve = fresh
    run.deviations = "\n".join(filter(None, [run.deviations, *(each.text for each in unfit)]))
