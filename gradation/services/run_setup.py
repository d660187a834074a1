"""With what a run may be made: sieves and instruments are held, looked at, and placed."""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import IntegrityError, transaction

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import (
    Equipment,
    Instrument,
    Laboratory,
    ProcedureVersion,
    Run,
    RunInstrument,
    RunSieve,
    Sieve,
    Tare,
)
from gradation.queries.due import (
    Unfit,
    places_taken,
    said_taken,
    unchecked_today,
    unfit_reasons,
)
from gradation.queries.nests import frame_faults, order_faults
from gradation.services import clock

__all__ = ["Items", "check_items", "hold", "hold_items", "place_items"]

Kind = Equipment.Kind

#: A balance reads to 0.1 % of the smallest portion or better (ASTM C136/C136M, from memory).
_COARSEST_SHARE = Decimal("0.001")


@dataclass(frozen=True)
class Items:
    """Sieves, coarse to fine as scanned, and instruments, read while they are held."""

    sieves: tuple[Sieve, ...]
    instruments: tuple[Instrument, ...]


def hold(keys: Sequence[int]) -> list[Equipment]:
    """Hold rows of equipment, always in the same order, so that two benches cannot lock up."""
    return list(Equipment.objects.select_for_update().filter(pk__in=keys).order_by("pk"))


def hold_items(sieves: Sequence[Sieve], instruments: Sequence[Instrument]) -> Items:
    """Hold what a run is to be made with and read it afresh; refuse what is named twice."""
    for field, items in (("sieves", sieves), ("instruments", instruments)):
        twice = [serial for serial, n in Tally(item.serial for item in items).items() if n > 1]
        if twice:
            place = "stands in the nest" if field == "sieves" else "is named"
            msg = f"{field[:-1].capitalize()} {', '.join(twice)} {place} twice. Name each once."
            raise Invalid.one(field, msg, code=f"{field[:-1]}-twice")
    hold([item.pk for item in (*sieves, *instruments)])
    fresh_sieves = Sieve.objects.in_bulk([sieve.pk for sieve in sieves])
    fresh = Instrument.objects.in_bulk([item.pk for item in instruments]) if instruments else {}
    return Items(
        tuple(fresh_sieves[sieve.pk] for sieve in sieves),
        tuple(fresh[item.pk] for item in instruments),
    )


def check_items(items: Items, procedure: ProcedureVersion) -> list[str]:
    """Refuse what cannot be used (`Invalid`); give back what is allowed but must be said."""
    laboratory = Laboratory.objects.get()
    today = clock.today(laboratory)
    faults = [
        Fault("sieves", said, "nest-unfit")
        for said in (*order_faults(items.sieves, procedure), *frame_faults(items.sieves))
    ]
    unfit = [
        (field, reason)
        for field, things in (("sieves", items.sieves), ("instruments", items.instruments))
        for item in things
        for reason in unfit_reasons(item, today, laboratory)
    ]
    unfit += [
        ("instruments", reason)
        for reason in (
            *unchecked_today(items.instruments, today, laboratory),
            *_unsuited(items, procedure),
        )
    ]
    faults += [
        Fault(field, f"{reason} {_ADVICE[field]}", reason.code)
        for field, reason in unfit
        if reason.blocks
    ]
    if faults:
        raise Invalid(faults)
    return [reason.text for _, reason in unfit]


_ADVICE = {
    "sieves": "Scan another, or ask the equipment keeper.",
    "instruments": "Take another, or ask the equipment keeper.",
}


def _unsuited(items: Items, procedure: ProcedureVersion) -> Iterator[Unfit]:
    """Name balances too coarse or too small for the portion, and shakers too weak for the nest."""
    least_g = procedure.minimum_portion_g
    for item in items.instruments:
        if item.kind == Kind.BALANCE and least_g is not None:
            yield from _unsuited_balance(item, least_g, procedure)
        if item.kind == Kind.SHAKER and item.greatest_nest_g is not None:
            yield from _overladen(item, item.greatest_nest_g, items.sieves, least_g)


def _unsuited_balance(
    balance: Instrument, least_g: Decimal, procedure: ProcedureVersion
) -> Iterator[Unfit]:
    coarsest_g = least_g * _COARSEST_SHARE
    if balance.readability_g is not None and balance.readability_g > coarsest_g:
        yield Unfit(
            f"Balance {balance.serial} reads to {_plain(balance.readability_g)} g; {procedure} "
            f"with portions from {_plain(least_g)} g needs {_plain(coarsest_g)} g or finer "
            "(0.1 % of the portion).",
            True,
            "balance-too-coarse",
        )
    if balance.capacity_g is not None and balance.capacity_g < least_g:
        yield Unfit(
            f"Balance {balance.serial} weighs to {_plain(balance.capacity_g)} g; {procedure} has "
            f"portions from {_plain(least_g)} g.",
            True,
            "balance-too-small",
        )


def _overladen(
    shaker: Instrument, greatest_g: Decimal, sieves: Sequence[Sieve], least_g: Decimal | None
) -> Iterator[Unfit]:
    """Compare the nest with what the shaker may carry, when every sieve's tare is on file."""
    tares_g: dict[int, Decimal] = {}
    for tare in Tare.objects.filter(sieve__in=[sieve.pk for sieve in sieves]).order_by(
        "weighed_at", "pk"
    ):
        tares_g[tare.sieve_id] = tare.tare_g
    if len(tares_g) < len(sieves):
        return
    nest_g = sum(tares_g.values(), least_g or Decimal(0))
    if nest_g > greatest_g:
        yield Unfit(
            f"The nest with its portion weighs {_plain(nest_g)} g or more; shaker "
            f"{shaker.serial} carries {_plain(greatest_g)} g at most.",
            True,
            "nest-too-heavy",
        )


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


def place_items(run: Run, items: Items) -> None:
    """Let the sieves stand in the run and note the instruments; refuse a sieve that is taken."""
    _refuse_taken(items.sieves)
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
                for position, sieve in enumerate(items.sieves, start=1)
            )
    except IntegrityError as error:
        _refuse_taken(items.sieves)
        msg = "One of these sieves was just taken by another bench. Scan the nest again."
        raise Conflict(msg, code="sieve-taken") from error
    RunInstrument.objects.bulk_create(
        RunInstrument(run=run, instrument=item, next_check_on=item.next_check_on)
        for item in items.instruments
    )


def _refuse_taken(sieves: Sequence[Sieve]) -> None:
    for place in places_taken(sieves).values():
        msg = f"{said_taken(place)} Take another, or wait until that run is handed over."
        raise Conflict(msg, code="sieve-taken")
