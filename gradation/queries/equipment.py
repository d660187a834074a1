"""The equipment file: sieves by when they are due, nests and whether they are fit for use."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from django.db.models import F, Prefetch, QuerySet

from gradation.models import Bench, Check, Equipment, Nest, NestSieve, Procedure, RunSieve, Sieve

__all__ = [
    "Due",
    "NestState",
    "bench_list",
    "check_list",
    "due_state",
    "nest_list",
    "nest_state",
    "nests_for",
    "sieve_by_serial",
    "sieve_list",
    "sieve_uses",
    "sieves_by_serial",
]


class Due(StrEnum):
    """Where a sieve's next check stands."""

    OVERDUE = "overdue"
    DUE_SOON = "due soon"
    IN_DATE = "in date"
    NOT_PLANNED = "not planned"


def due_state(next_check_on: date | None, today: date, due_soon_days: int) -> Due:
    """Say whether a check is overdue, due soon or in date. The day itself is still in date."""
    if next_check_on is None:
        return Due.NOT_PLANNED
    if next_check_on < today:
        return Due.OVERDUE
    if next_check_on <= today + timedelta(days=due_soon_days):
        return Due.DUE_SOON
    return Due.IN_DATE


def sieve_list() -> QuerySet[Sieve]:
    """List all sieves by when they are due, the overdue first."""
    return Sieve.objects.order_by(F("next_check_on").asc(nulls_last=True), "-aperture_um", "serial")


def sieve_by_serial(serial: str) -> Sieve | None:
    """Find a sieve by its serial number, whatever the case typed."""
    return Sieve.objects.filter(serial__iexact=serial.strip()).first()


def sieves_by_serial(serials: list[str]) -> tuple[list[Sieve], list[str]]:
    """Find sieves in the order scanned; the second list names serials that are unknown."""
    wanted = [serial.strip() for serial in serials if serial.strip()]
    known = {sieve.serial.casefold(): sieve for sieve in Sieve.objects.filter(serial__in=wanted)}
    for serial in wanted:
        if serial.casefold() not in known and (sieve := sieve_by_serial(serial)):
            known[serial.casefold()] = sieve
    found = [known[serial.casefold()] for serial in wanted if serial.casefold() in known]
    return found, [serial for serial in wanted if serial.casefold() not in known]


def check_list(item: Equipment) -> QuerySet[Check]:
    """List an item's checks, newest first."""
    return Check.objects.filter(equipment=item.pk).select_related("performed_by")


def sieve_uses(sieve: Sieve) -> QuerySet[RunSieve]:
    """List the runs a sieve stood in, newest first."""
    return (
        RunSieve.objects.filter(sieve=sieve)
        .select_related("run__portion__sample", "run__bench", "run__technician")
        .order_by("-run_id")
    )


def bench_list() -> QuerySet[Bench]:
    """List the benches in use."""
    return Bench.objects.filter(is_active=True)


def nest_list() -> QuerySet[Nest]:
    """List the nests in use with their sieves."""
    places = NestSieve.objects.select_related("sieve")
    return (
        Nest.objects.filter(is_active=True)
        .select_related("procedure", "bench")
        .prefetch_related(Prefetch("places", places))
    )


def nests_for(procedure: Procedure) -> QuerySet[Nest]:
    """List the nests built for a procedure."""
    return nest_list().filter(procedure=procedure)


@dataclass(frozen=True)
class NestState:
    """Whether a nest is fit for use today, and if not, why not."""

    nest: Nest
    reasons: tuple[str, ...]

    @property
    def is_fit(self) -> bool:
        """Say whether nothing speaks against using it."""
        return not self.reasons


def nest_state(nest: Nest, today: date) -> NestState:
    """Look at each sieve of a nest: in service, in date, one frame diameter."""
    sieves = [place.sieve for place in nest.places.all()]
    reasons = [
        f"{sieve} is {sieve.state}: {sieve.state_reason}"
        for sieve in sieves
        if sieve.state != Sieve.State.IN_SERVICE
    ]
    reasons += [
        f"{sieve} was due for a check on {sieve.next_check_on:%d %b %Y}."
        for sieve in sieves
        if sieve.next_check_on and sieve.next_check_on < today
    ]
    if len({sieve.frame_diameter_mm for sieve in sieves}) > 1:
        reasons.append("The frames differ in diameter.")
    return NestState(nest, tuple(reasons))
