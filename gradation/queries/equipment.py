"""The equipment file: sieves and instruments, their checks and uses, benches and reference lots."""

from __future__ import annotations

from django.db.models import Case, Exists, F, OuterRef, Q, QuerySet, When

from gradation.models import (
    Bench,
    Check,
    Drying,
    DryingMass,
    Equipment,
    Instrument,
    ReferenceLot,
    Run,
    RunInstrument,
    RunSieve,
    Sieve,
)
from gradation.queries.due import Due, due_state
from gradation.queries.nests import NestState, nest_list, nest_state, nest_states, nests_for

__all__ = [
    "Due",
    "NestState",
    "bench_instruments",
    "bench_list",
    "check_list",
    "drying_uses",
    "due_state",
    "instrument_list",
    "instrument_uses",
    "instruments_by_serial",
    "lot_list",
    "nest_list",
    "nest_state",
    "nest_states",
    "nests_for",
    "sieve_by_serial",
    "sieve_list",
    "sieve_uses",
    "sieves_by_serial",
]


def sieve_list() -> QuerySet[Sieve]:
    """List all sieves by when they are due, the new and the overdue first."""
    is_new = Q(next_check_on=None, next_check_at_use=None) & (
        Q(check_interval_days__gt=0) | Q(check_interval_uses__gt=0)
    )
    return Sieve.objects.order_by(
        Case(When(is_new, then=0), default=1),
        F("next_check_on").asc(nulls_last=True),
        "-aperture_um",
        "serial",
    )


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


def instruments_by_serial(serials: list[str]) -> tuple[list[Instrument], list[str]]:
    """Find instruments in the order named; the second list names serials that are unknown."""
    wanted = [serial.strip() for serial in serials if serial.strip()]
    known = {each.serial: each for each in Instrument.objects.filter(serial__in=wanted)}
    found = [known[serial] for serial in wanted if serial in known]
    return found, [serial for serial in wanted if serial not in known]


def instrument_list() -> QuerySet[Instrument]:
    """List the instruments that are no sieves, by kind."""
    return Instrument.objects.select_related("bench", "keeper")


def bench_instruments(bench: Bench) -> QuerySet[Instrument]:
    """List the balances and shakers that stand at a bench: a run there is made with them."""
    return Instrument.objects.filter(
        bench=bench, kind__in=[Equipment.Kind.BALANCE, Equipment.Kind.SHAKER]
    ).exclude(state=Equipment.State.WITHDRAWN)


def lot_list() -> QuerySet[ReferenceLot]:
    """List the lots of reference material that may be used."""
    return ReferenceLot.objects.filter(is_active=True)


def check_list(item: Equipment) -> QuerySet[Check]:
    """List an item's checks, newest first."""
    return Check.objects.filter(equipment=item.pk).select_related("performed_by")


def sieve_uses(sieve: Sieve) -> QuerySet[Run]:
    """List the runs a sieve stood in or that were washed over it, newest first."""
    stood = RunSieve.objects.filter(sieve=sieve).values("run")
    return _uses(Run.objects.filter(Q(pk__in=stood) | Q(guard_sieve=sieve)))


def instrument_uses(instrument: Instrument) -> QuerySet[Run]:
    """List the runs that an instrument was used for, newest first."""
    used = RunInstrument.objects.filter(instrument=instrument).values("run")
    return _uses(Run.objects.filter(pk__in=used))


def drying_uses(instrument: Instrument) -> QuerySet[Drying]:
    """List the dryings in an oven, or weighed on a balance, newest first."""
    weighed = DryingMass.objects.filter(drying=OuterRef("pk"), balance=instrument)
    dryings = Drying.objects.filter(Q(oven=instrument) | Exists(weighed))
    return dryings.select_related("portion", "begun_by").order_by("-pk")


def _uses(runs: QuerySet[Run]) -> QuerySet[Run]:
    return runs.select_related("portion__sample", "bench", "technician").order_by("-pk")


def bench_list() -> QuerySet[Bench]:
    """List the benches in use."""
    return Bench.objects.filter(is_active=True)
