"""Readings of a run: which revision counts, what is still to be weighed, and who made them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from gradation.models import Run, Weighing
from gradation.science.apertures import designation

__all__ = [
    "current_weighing",
    "current_weighings",
    "latest_of",
    "missing_readings",
    "next_increment",
    "people_of_run",
    "total_g",
]

Slot = Weighing.Slot


def latest_of(weighings: Iterable[Weighing]) -> list[Weighing]:
    """Keep the newest revision of every place and increment, in order of place."""
    latest: dict[tuple[str, int, int], Weighing] = {}
    for row in weighings:
        place = (row.slot, row.position, row.increment)
        if place not in latest or row.revision > latest[place].revision:
            latest[place] = row
    return [latest[place] for place in sorted(latest)]


def current_weighings(run: Run) -> list[Weighing]:
    """List the readings that count."""
    return latest_of(run.weighings.select_related("made_by"))


def current_weighing(run: Run, slot: str, position: int = 0, increment: int = 1) -> Weighing | None:
    """Give the reading that counts at one place, if there is one."""
    return (
        run.weighings.filter(slot=slot, position=position, increment=increment)
        .select_related("made_by")
        .order_by("-revision")
        .first()
    )


def total_g(latest: Sequence[Weighing], slot: str, position: int = 0) -> Decimal | None:
    """Add up the increments at one place; None when nothing was weighed there."""
    masses = [row.mass_as_entered for row in latest if (row.slot, row.position) == (slot, position)]
    return sum(masses, Decimal(0)) if masses else None


def next_increment(weighings: Iterable[Weighing], slot: str, position: int = 0) -> int:
    """Give the number that the next weighing at a place gets."""
    made = [row.increment for row in weighings if (row.slot, row.position) == (slot, position)]
    return max(made, default=0) + 1


def missing_readings(run: Run) -> list[str]:
    """Name, in the order of the work, what must still be weighed before a run is handed over."""
    latest = current_weighings(run)
    present = {(row.slot, row.position) for row in latest}
    wanted = [(Slot.DRY_MASS.value, 0, "the dry mass of the portion")]
    if run.procedure_version.wash and not _was_washed_after_a_split(latest):
        wanted.append((Slot.WASHED_DRY_MASS.value, 0, "the dry mass after washing"))
    for place in run.places.all():
        name = designation(place.aperture_um)
        wanted.append((Slot.FRACTION.value, place.position, f"the fraction on {name}"))
        if place.is_split:
            wanted.append((Slot.SPLIT_PASSING.value, place.position, f"what passed {name}"))
            wanted.append(
                (Slot.SPLIT_REDUCED.value, place.position, f"the reduced part below {name}")
            )
    wanted.append((Slot.PAN.value, 0, "the pan"))
    return [name for slot, position, name in wanted if (slot, position) not in present]


def _was_washed_after_a_split(latest: Iterable[Weighing]) -> bool:
    return any(row.slot == Slot.SPLIT_WASHED for row in latest)


def people_of_run(run: Run) -> set[int]:
    """Give the keys of all who made readings of a run, its technician, and who worked on paper."""
    people = {run.technician_id, *run.weighings.values_list("made_by_id", flat=True)}
    return people | ({run.on_paper.performed_by_id} if run.on_paper else set())
