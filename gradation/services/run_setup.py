"""With what a run is made: sieves and instruments are held, read afresh, and placed."""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Sequence
from dataclasses import dataclass

from django.db import IntegrityError, transaction

from gradation.errors import Conflict, Invalid
from gradation.models import (
    Equipment,
    Instrument,
    Run,
    RunInstrument,
    RunSieve,
    Sieve,
)
from gradation.queries.due import places_taken, said_taken

__all__ = ["Items", "hold", "hold_items", "place_items", "refuse_taken"]


@dataclass(frozen=True)
class Items:
    """Sieves, coarse to fine as scanned, and instruments, read while they are held.

    `reliefs` are keys of sieves put in against overload, of sizes the procedure does not ask for.
    """

    sieves: tuple[Sieve, ...]
    instruments: tuple[Instrument, ...]
    reliefs: frozenset[int] = frozenset()


def hold(keys: Sequence[int]) -> list[Equipment]:
    """Hold rows of equipment, always in the same order, so that two benches cannot lock up."""
    return list(Equipment.objects.select_for_update().filter(pk__in=keys).order_by("pk"))


def hold_items(
    sieves: Sequence[Sieve],
    instruments: Sequence[Instrument],
    reliefs: frozenset[int] = frozenset(),
) -> Items:
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
        reliefs,
    )


def place_items(run: Run, items: Items) -> None:
    """Let the sieves stand in the run and note the instruments; refuse a sieve that is taken."""
    refuse_taken(items.sieves)
    asked = {place.aperture_um: place for place in run.procedure_version.apertures.all()}
    try:
        with transaction.atomic():
            RunSieve.objects.bulk_create(
                RunSieve(
                    run=run,
                    position=position,
                    sieve=sieve,
                    aperture_um=sieve.aperture_um,
                    next_check_on=sieve.next_check_on,
                    is_relief=sieve.aperture_um not in asked,
                    is_split=sieve.aperture_um in asked and asked[sieve.aperture_um].is_split,
                )
                for position, sieve in enumerate(items.sieves, start=1)
            )
    except IntegrityError as error:
        refuse_taken(items.sieves)
        msg = "One of these sieves was just taken by another bench. Scan the nest again."
        raise Conflict(msg, code="sieve-taken") from error
    RunInstrument.objects.bulk_create(
        RunInstrument(run=run, instrument=item, next_check_on=item.next_check_on)
        for item in items.instruments
    )


def refuse_taken(sieves: Sequence[Sieve]) -> None:
    """Refuse (`Conflict`) a sieve that stands in an open run, saying who has it."""
    for place in places_taken(sieves).values():
        msg = f"{said_taken(place)} Take another, or wait until that run is handed over."
        raise Conflict(msg, code="sieve-taken")
