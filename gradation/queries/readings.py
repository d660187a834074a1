"""Readings of a run: which revision counts, and who made them."""

from __future__ import annotations

from collections.abc import Iterable

from gradation.models import Run, Weighing

__all__ = ["current_weighing", "current_weighings", "latest_of", "people_of_run"]

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


def people_of_run(run: Run) -> set[int]:
    """Give the keys of all who made readings of a run, and its technician."""
    return {run.technician_id, *run.weighings.values_list("made_by_id", flat=True)}
