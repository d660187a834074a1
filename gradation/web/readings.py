"""The raw readings of a run in the order they were made, for whoever looks behind a result."""

from __future__ import annotations

from dataclasses import dataclass

from gradation.models import Run, User, Weighing


@dataclass(frozen=True)
class RawReading:
    """One reading as it was entered, and whether a later one took its place."""

    weighing: Weighing
    what: str
    superseded: bool


def people_of(run: Run) -> list[User]:
    """List who made the readings of a run from `find_run`, each once."""
    return list(dict.fromkeys(row.made_by for row in run.weighings.all()))


def readings_of(run: Run) -> list[RawReading]:
    """List every reading of a run from `find_run`, superseded ones marked."""
    sizes: dict[int, str] = {place.position: place.sieve.designation for place in run.places.all()}
    rows = sorted(run.weighings.all(), key=lambda row: row.pk)
    newest = {(row.slot, row.position, row.increment): row.pk for row in rows}
    return [
        RawReading(
            row,
            _what(row, sizes),
            newest[(row.slot, row.position, row.increment)] != row.pk,
        )
        for row in rows
    ]


def _what(row: Weighing, sizes: dict[int, str]) -> str:
    """Name what a reading weighed: the size alone is the fraction on that sieve."""
    size = sizes.get(row.position, "")
    parts = [size, "" if size and row.slot == Weighing.Slot.FRACTION else row.slot]
    parts.append(f"increment {row.increment}" if row.increment > 1 else "")
    return ", ".join(part for part in parts if part)
