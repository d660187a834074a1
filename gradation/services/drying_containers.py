"""A drying's container mass is corrected: every net mass follows, every first value stays."""

from __future__ import annotations

from decimal import Decimal
from uuid import uuid5

from django.db import transaction

from gradation.errors import Invalid
from gradation.models import Drying, DryingContainer, DryingMass, User
from gradation.policy import Action, require
from gradation.queries.portion_mass import plain
from gradation.services import clock, ledger
from gradation.services.checking import locked, needs_reason
from gradation.services.dry_mass_of_run import carry_into_runs, refuse_settled
from gradation.services.drying_checks import decimals_of, net_mass, typed_mass

__all__ = ["correct_container"]

_OF_A_DRYING = ("portion__sample__procedure_version__procedure", "run__procedure_version")


def correct_container(
    *, actor: User, drying: Drying, container_text: str, reason: str
) -> DryingContainer:
    """Replace the mass of the empty container by a further revision; the first stays readable.

    Technicians may, with a reason, until a run of the portion was handed over (`Conflict`). An
    empty text says that there was no container, or that it was tared. Each weighing gets a further
    revision with its new net mass, and so does the mass before drying when it was weighed in the
    container; a dry mass that an open run took from here is corrected too. Refuses (`Invalid`) what
    is no mass, the same mass, and one that leaves nothing of a weighing. Ledger: container mass
    corrected, drying mass corrected, portion weighed, reading corrected.
    """
    require(actor, Action.PREPARE_PORTION)
    reason = needs_reason(reason, "correct the mass of the container")
    mass_g = typed_mass("container_text", container_text)
    with transaction.atomic():
        drying = locked(drying, *_OF_A_DRYING)
        refuse_settled(drying)
        if mass_g == drying.container_g:
            msg = f"The container is {plain(mass_g) or 'none'} already. Nothing is corrected."
            raise Invalid.one("container_text", msg, code="same-mass")
        container = _next_revision(actor, drying, mass_g, reason)
        ledger.write(
            actor=actor,
            action="container mass corrected",
            subject=container,
            before={"mass_g": plain(drying.container_g) or None},
            reason=reason,
        )
        _take_over(actor, drying, container, reason)
    return container


def _next_revision(
    actor: User, drying: Drying, mass_g: Decimal | None, reason: str
) -> DryingContainer:
    """Add the new mass; before the first correction, also what the drying was begun with."""
    last = drying.containers.order_by("revision").last()
    if last is None:
        first = DryingContainer(
            drying=drying,
            mass_g=drying.container_g,
            made_at=drying.began_at,
            made_by=drying.begun_by,
        )
        first.save(force_insert=True)
        ledger.write(actor=actor, action="first container mass kept", subject=first)
        last = first
    return DryingContainer.objects.create(
        drying=drying,
        revision=last.revision + 1,
        mass_g=mass_g,
        reason=reason,
        made_at=clock.now(),
        made_by=actor,
    )


def _take_over(actor: User, drying: Drying, container: DryingContainer, reason: str) -> None:
    before = ledger.snapshot(drying)
    drying.container_g = container.mass_g
    drying.version += 1
    drying.save(update_fields=["container_g", "version"])
    ledger.write(actor=actor, action="drying changed", subject=drying, before=before, reason=reason)
    _correct_moist_mass(actor, drying, reason)
    for mass in _masses_that_hold(drying):
        _revise(actor, mass, container, reason)
    carry_into_runs(actor=actor, drying=drying, reason=reason)


def _masses_that_hold(drying: Drying) -> list[DryingMass]:
    latest = {mass.number: mass for mass in drying.masses.order_by("number", "revision")}
    return list(latest.values())


def _revise(actor: User, mass: DryingMass, container: DryingContainer, reason: str) -> None:
    """Give a weighing its net mass anew: what the balance showed stays what it was."""
    before = ledger.snapshot(mass)
    net_g = net_mass(mass.entered_text, container.mass_g, "container_text")
    mass.key = uuid5(mass.key, f"container {container.revision}")
    mass.pk, mass.revision, mass.reason = None, mass.revision + 1, reason
    mass.mass_g, mass.decimals = net_g, decimals_of(net_g)
    mass.made_at, mass.made_by = container.made_at, container.made_by
    mass._state.adding = True
    mass.save(force_insert=True)
    ledger.write(
        actor=actor, action="drying mass corrected", subject=mass, before=before, reason=reason
    )


def _correct_moist_mass(actor: User, drying: Drying, reason: str) -> None:
    """Give the mass before drying anew, when it was weighed in this container."""
    portion = drying.portion
    if not drying.moist_text or portion.moist_mass_g is None:
        return
    before = ledger.snapshot(portion)
    portion.moist_mass_g = net_mass(drying.moist_text, drying.container_g, "container_text")
    portion.save(update_fields=["moist_mass_g"])
    ledger.write(
        actor=actor, action="portion weighed", subject=portion, before=before, reason=reason
    )
