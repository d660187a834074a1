"""Whether a reading can be: its text, its place in the run, and the masses it belongs with."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from gradation.errors import Invalid
from gradation.models import EndPointForm, Run, RunSieve, Weighing
from gradation.queries.readings import total_g
from gradation.science.apertures import designation
from gradation.science.errors import GradationError
from gradation.science.quantities import parse_mass_g
from gradation.science.worksheet_form import Entry

__all__ = ["check_masses", "check_place", "decimals_of", "mass_of"]

Slot = Weighing.Slot

#: What the column holds: twelve figures, four of them decimals.
_LARGEST_G, _MOST_DECIMALS = Decimal(10) ** 8, 4
_MOST_INCREMENTS = 99
_SPLIT = frozenset({Slot.SPLIT_PASSING, Slot.SPLIT_REDUCED, Slot.SPLIT_WASHED})
#: Weighed once: a second value is a correction, not a further increment.
_ONCE = frozenset({Slot.WASHED_DRY_MASS, Slot.SPLIT_WASHED, Slot.END_POINT})


def mass_of(field: str, text: str) -> Decimal:
    """Read a mass [g], or refuse it beside its field."""
    try:
        mass = parse_mass_g(text)
    except GradationError as error:
        raise Invalid.one(field, str(error), code="not-a-mass") from error
    if mass >= _LARGEST_G:
        msg = f"{text} g is more than any balance here weighs. Check the unit and the digits."
        raise Invalid.one(field, msg, code="too-large")
    if decimals_of(mass) > _MOST_DECIMALS:
        msg = f"{text} g has more than {_MOST_DECIMALS} decimals. Enter what the balance shows."
        raise Invalid.one(field, msg, code="too-many-decimals")
    return mass


def decimals_of(mass: Decimal) -> int:
    """Count the decimals of a mass as it was entered."""
    return max(0, -int(mass.as_tuple().exponent))


def check_place(
    run: Run, slot: str, position: int, increment: int, latest: Sequence[Weighing]
) -> None:
    """Refuse (`Invalid`) what has no such place in the run, or is not weighed there."""
    if slot not in set(Slot):
        msg = f"{slot} is nothing that is weighed in a run."
        raise Invalid.one("slot", msg, code="unknown-slot")
    if (slot in Weighing.AT_A_SIEVE) != (position > 0):
        msg = "What is weighed at a sieve has its place in the nest; other masses have none."
        raise Invalid.one("position", msg, code="no-such-place")
    place = next((row for row in run.places.all() if row.position == position), None)
    if position and place is None:
        msg = f"Run {run} has no sieve at place {position}."
        raise Invalid.one("position", msg, code="no-such-place")
    _check_increment(run, slot, increment)
    _check_wash(run, slot, latest)
    if place is not None:
        _check_sieve(run, slot, place)


def _check_increment(run: Run, slot: str, increment: int) -> None:
    if not 1 <= increment <= _MOST_INCREMENTS:
        msg = f"Increments are numbered from 1 to {_MOST_INCREMENTS}."
        raise Invalid.one("increment", msg, code="no-such-increment")
    if increment == 1:
        return
    is_cumulative = run.procedure_version.entry == Entry.CUMULATIVE and slot == Slot.FRACTION
    if slot in _ONCE or is_cumulative:
        why = "cumulative masses are one reading a sieve" if is_cumulative else "it is one mass"
        msg = f"The {slot} is not weighed in increments: {why}. Correct the first reading instead."
        raise Invalid.one("increment", msg, code="no-increments")


def _check_wash(run: Run, slot: str, latest: Sequence[Weighing]) -> None:
    """The portion is washed once: whole, or a reduced part of it."""
    other = {
        Slot.WASHED_DRY_MASS.value: Slot.SPLIT_WASHED,
        Slot.SPLIT_WASHED.value: Slot.WASHED_DRY_MASS,
    }.get(slot)
    if other is None:
        return
    if not run.procedure_version.wash:
        msg = f"{run.procedure_version} has no washing. Note a deviation if it was washed."
        raise Invalid.one("slot", msg, code="not-washed")
    if any(row.slot == other for row in latest):
        washed = "a reduced part" if other == Slot.SPLIT_WASHED else "the whole portion"
        msg = f"In this run {washed} was washed already. A portion is washed once."
        raise Invalid.one("slot", msg, code="washed-already")


def _check_sieve(run: Run, slot: str, place: RunSieve) -> None:
    size = designation(place.aperture_um)
    if slot in _SPLIT and not place.is_split:
        msg = f"What passes {size} is not reduced in this run. Split the run there first."
        raise Invalid.one("slot", msg, code="no-split")
    if slot == Slot.END_POINT and run.procedure_version.end_point_form != EndPointForm.EXTRA_MINUTE:
        msg = (
            f"{run.procedure_version} asks for no extra minute of sieving by hand. Note a "
            "deviation if one was made."
        )
        raise Invalid.one("slot", msg, code="no-extra-minute")


def check_masses(weighing: Weighing, latest: Sequence[Weighing]) -> None:
    """Refuse (`Invalid`) a mass that cannot be beside those it was taken from or washed out of."""
    kept = [row for row in latest if _place(row) != _place(weighing)]
    together = [*kept, weighing]
    _check_washing(weighing, together)
    if weighing.slot in _SPLIT:
        _check_reduction(weighing, together)


def _place(row: Weighing) -> tuple[str, int, int]:
    return row.slot, row.position, row.increment


def _check_washing(weighing: Weighing, together: Sequence[Weighing]) -> None:
    if weighing.slot not in {Slot.DRY_MASS, Slot.WASHED_DRY_MASS}:
        return
    before, after = total_g(together, Slot.DRY_MASS), total_g(together, Slot.WASHED_DRY_MASS)
    if before is not None and after is not None and after > before:
        raise _gained("After washing", after, before)


def _check_reduction(weighing: Weighing, together: Sequence[Weighing]) -> None:
    passing, reduced, washed = (
        total_g(together, slot, weighing.position)
        for slot in (Slot.SPLIT_PASSING, Slot.SPLIT_REDUCED, Slot.SPLIT_WASHED)
    )
    if reduced == 0:
        msg = "A reduced part of 0 g cannot stand for what passed. Weigh what is sieved on."
        raise Invalid.one("text", msg, code="nothing-reduced")
    if passing is not None and reduced is not None and reduced > passing:
        msg = (
            f"The reduced part of {_plain(reduced)} g is more than the {_plain(passing)} g that "
            "passed. It is taken from what passed: check both masses."
        )
        raise Invalid.one("text", msg, code="reduced-above-passing")
    if reduced is not None and washed is not None and washed > reduced:
        raise _gained("The reduced part is, after washing,", washed, reduced)


def _gained(what: str, after: Decimal, before: Decimal) -> Invalid:
    msg = (
        f"{what} {_plain(after)} g, before only {_plain(before)} g. "
        "Material cannot be gained by washing: check both masses and that it was dry."
    )
    return Invalid.one("text", msg, code="gained-by-washing")


def _plain(mass_g: Decimal) -> str:
    return f"{mass_g.normalize():f}"
