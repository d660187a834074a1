"""Places of a run: what passes a sieve is reduced, a relief sieve is put in against overload."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import IntegrityError, transaction
from django.db.models import Max

from gradation.errors import Conflict, Invalid
from gradation.models import Laboratory, Run, RunSieve, Sieve, User, Weighing
from gradation.policy import Action, require
from gradation.queries.due import unfit_reasons
from gradation.queries.nests import frame_faults
from gradation.queries.readings import current_weighings
from gradation.science.apertures import designation
from gradation.services import clock, ledger
from gradation.services.checking import locked, needs_reason
from gradation.services.run_setup import hold_items, refuse_taken

__all__ = ["add_relief_sieve", "join_run", "split_run"]

Slot = Weighing.Slot
_OF_A_RUN = ("portion__sample", "procedure_version__procedure")


def split_run(*, actor: User, run: Run, position: int, reason: str) -> RunSieve:
    """Reduce what passes a sieve before it is sieved on, decided at the bench.

    Technicians may, with a reason, while the run is open or returned and nothing finer than the
    next sieve below is weighed (`Conflict`): what is weighed finer would not be of the reduced
    part. A mass on that next sieve, which may have shown the overload, is to be corrected. Ledger:
    run split.
    """
    require(actor, Action.RECORD_RUN)
    reason = needs_reason(reason, "split the run")
    with transaction.atomic():
        held = _held(run)
        place = held.place_at(position)
        if place.is_split:
            return place
        _refuse_weighed_below(held, held.below(place), "The split")
        _mark(held.run, place, is_split=True)
        _write(actor, held.run, "run split", {"split_below": _size(place)}, reason)
    return place


def join_run(*, actor: User, run: Run, position: int, reason: str) -> RunSieve:
    """Take back a split: all that passed the sieve is sieved on.

    Technicians may, with a reason, while the run is open or returned and neither mass of the split
    is weighed (`Conflict`). Ledger: split taken back.
    """
    require(actor, Action.RECORD_RUN)
    reason = needs_reason(reason, "take the split back")
    with transaction.atomic():
        held = _held(run)
        place = held.place_at(position)
        if not place.is_split:
            return place
        of_split = {Slot.SPLIT_PASSING, Slot.SPLIT_REDUCED, Slot.SPLIT_WASHED}
        if any(row.position == position and row.slot in of_split for row in held.latest):
            msg = f"The masses of the split below {_size(place)} are weighed; it was made."
            raise Conflict(msg, code="split-weighed")
        _mark(held.run, place, is_split=False)
        _write(actor, held.run, "split taken back", {"split_below": _size(place)}, reason)
    return place


def add_relief_sieve(*, actor: User, run: Run, sieve: Sieve, reason: str) -> RunSieve:
    """Put a sieve between two of the nest, so that the one below is not overloaded.

    Technicians may, with a reason, while the run is open or returned and nothing finer than the
    sieve below the new one is weighed (`Conflict`). Refuses (`Invalid`) a size that stands already,
    one coarser or finer than the whole nest, another frame, a sieve that may not be used; refuses
    (`Conflict`) one that another run has. Its place gets the next free number; readings keep
    theirs. Ledger: relief sieve put in.
    """
    require(actor, Action.RECORD_RUN)
    reason = needs_reason(reason, "put in a relief sieve")
    with transaction.atomic():
        held = _held(run)
        fresh = hold_items([sieve], []).sieves[0]
        _check_relief(held, fresh)
        place = _put_in(held.run, fresh)
        _touch(held.run)
        after = {"relief_sieve": fresh.serial, "size": _size(place), "position": place.position}
        _write(actor, held.run, "relief sieve put in", after, reason)
    return place


@dataclass(frozen=True)
class _Held:
    """A held run with its places, coarse to fine, and the readings that count."""

    run: Run
    places: Sequence[RunSieve]
    latest: Sequence[Weighing]

    def place_at(self, position: int) -> RunSieve:
        found = next((place for place in self.places if place.position == position), None)
        if found is None:
            msg = f"Run {self.run} has no sieve at place {position}."
            raise Invalid.one("position", msg, code="no-such-place")
        return found

    def below(self, place: RunSieve) -> list[RunSieve]:
        return [each for each in self.places if each.aperture_um < place.aperture_um]


def _held(run: Run) -> _Held:
    run = locked(run, *_OF_A_RUN)
    if not run.is_editable:
        msg = f"Run {run} is {run.state}; its sieves change while it is open or returned."
        raise Conflict(msg)
    return _Held(run, list(run.places.select_related("sieve")), current_weighings(run))


def _refuse_weighed_below(held: _Held, below: Sequence[RunSieve], what: str) -> None:
    """Refuse when more than the next sieve below is weighed, or the pan."""
    if not below:
        msg = "Below the finest sieve stands the pan; there is nothing to sieve on."
        raise Invalid.one("position", msg, code="nothing-finer")
    finer = {place.position: place for place in below[1:]}
    weighed = [row for row in held.latest if row.slot == Slot.PAN or row.position in finer]
    if weighed:
        first = weighed[0]
        name = _size(finer[first.position]) if first.position else "the pan"
        msg = (
            f"{what} comes before the finer sieves are weighed, and {name} is weighed already. "
            "Note a deviation, or begin the run anew with another portion."
        )
        raise Conflict(msg, code="weighed-below")


def _check_relief(held: _Held, sieve: Sieve) -> None:
    sizes = [place.aperture_um for place in held.places]
    if sieve.aperture_um in sizes:
        msg = f"{designation(sieve.aperture_um)} stands in the nest already. Take a size between."
        raise Invalid.one("sieve", msg, code="size-twice")
    if not min(sizes) < sieve.aperture_um < max(sizes):
        msg = (
            f"{sieve} would stand above or below the whole nest. A relief sieve stands between two "
            "others and takes load off the lower one."
        )
        raise Invalid.one("sieve", msg, code="not-between")
    faults = frame_faults([sieve, *(place.sieve for place in held.places)])
    laboratory = Laboratory.objects.get()
    today = clock.today(laboratory)
    faults += [
        f"{reason} Scan another, or ask the equipment keeper."
        for reason in unfit_reasons(sieve, today, laboratory)
        if reason.blocks
    ]
    if faults:
        raise Invalid.one("sieve", " ".join(faults), code="sieve-unfit")
    refuse_taken([sieve])
    below = [place for place in held.places if place.aperture_um < sieve.aperture_um]
    _refuse_weighed_below(held, below, "A relief sieve")


def _put_in(run: Run, sieve: Sieve) -> RunSieve:
    last = run.places.aggregate(last=Max("position"))["last"] or 0
    try:
        with transaction.atomic():
            return RunSieve.objects.create(
                run=run,
                position=last + 1,
                sieve=sieve,
                aperture_um=sieve.aperture_um,
                next_check_on=sieve.next_check_on,
                is_relief=True,
            )
    except IntegrityError as error:
        msg = f"{sieve} was just taken by another bench. Take another."
        raise Conflict(msg, code="sieve-taken") from error


def _mark(run: Run, place: RunSieve, *, is_split: bool) -> None:
    place.is_split = is_split
    place.save(update_fields=["is_split"])
    _touch(run)


def _touch(run: Run) -> None:
    """Let whoever looks at the run notice that its nest changed."""
    run.version += 1
    run.save(update_fields=["version"])


def _size(place: RunSieve) -> str:
    return designation(place.aperture_um)


def _write(actor: User, run: Run, action: str, after: dict[str, object], reason: str) -> None:
    ledger.write(actor=actor, action=action, subject=run, after=after, reason=reason)
