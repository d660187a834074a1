"""What is offered at a row: another increment, remedies of an overload, weighing again."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from django.urls import reverse

from gradation.models import EndPointForm, Weighing
from gradation.queries.end_points import shaken_again
from gradation.queries.readings import next_increment
from gradation.queries.run_view import AtSieve, Place, RunView
from gradation.queries.shakings import latest_shakings
from gradation.science.worksheet_form import Entry
from gradation.web.run_sheet.rows import Offer

__all__ = ["increment_offer", "join_offer", "remedy_offers", "weigh_again_offer"]

Slot = Weighing.Slot

#: Addresses do not change while the program runs, and every row asks for one at every reading.
_KEPT_ADDRESSES = 4096


@lru_cache(maxsize=_KEPT_ADDRESSES)
def _address(view: str, *args: str | int) -> str:
    return reverse(view, args=args)


def increment_offer(view: RunView, places: tuple[Place, ...]) -> Iterator[Offer]:
    """Offer another increment of what was weighed at a place."""
    place = places[0]
    is_cumulative = view.run.procedure_version.entry == Entry.CUMULATIVE
    if place.weighing is None or (is_cumulative and place.slot == Slot.FRACTION):
        return
    increment = next_increment(
        (each.weighing for each in places if each.weighing), place.slot, place.position
    )
    at = [view.run.pk, place.slot, place.position, increment]
    yield Offer("+ increment", _address("bench:increment-add", *at), is_row=True)


def remedy_offers(view: RunView, at: AtSieve) -> Iterator[Offer]:
    """Offer what takes load off a sieve, as long as nothing finer is weighed."""
    above = [each for each in view.sieves if each.sieve.aperture_um > at.sieve.aperture_um]
    if not above or _is_weighed_below(view, at):
        return
    relief = _address("bench:relief-add", view.run.pk)
    yield Offer("put in a relief sieve", relief)
    if not above[-1].sieve.is_split:
        split = _address("bench:split-add", view.run.pk)
        coarser = above[-1].sieve
        yield Offer(
            f"split below {coarser.sieve.designation}", f"{split}?position={coarser.position}"
        )


def _is_weighed_below(view: RunView, at: AtSieve) -> bool:
    finer = (each for each in view.sieves if each.sieve.aperture_um < at.sieve.aperture_um)
    return view.pan[0].weighing is not None or any(
        place.weighing for each in finer for place in each.fraction
    )


def join_offer(view: RunView, at: AtSieve) -> Iterator[Offer]:
    """Offer to take a split back while none of its masses is weighed."""
    if at.split and not any(place.weighing for place in at.split):
        url = _address("bench:split-remove", view.run.pk, at.sieve.position)
        yield Offer("take the split back", url)


def weigh_again_offer(view: RunView, place: Place) -> Iterator[Offer]:
    """Offer to weigh what was shaken again, where the procedure asks for an end point."""
    procedure, weighing = view.run.procedure_version, place.weighing
    if procedure.end_point_form == EndPointForm.NONE or weighing is None:
        return
    number = len(latest_shakings(view.run.shakings.all()))
    rows = (weighing, *place.earlier)
    if number > 1 and not any(row.reason.startswith(shaken_again(number)) for row in rows):
        at = [view.run.pk, place.slot, place.position, place.increment]
        yield Offer(f"weigh after shaking {number}", _address("bench:reading-again", *at))
