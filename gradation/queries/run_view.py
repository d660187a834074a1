"""A run laid out for the screen: what is weighed where, as far as it is weighed, and computed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from gradation.models import EndPointForm, Run, RunSieve, Weighing
from gradation.queries.readings import latest_of
from gradation.queries.worksheets import run_worksheet
from gradation.science.errors import GradationError
from gradation.science.worksheet import Evaluation, as_json, evaluate

__all__ = ["AtSieve", "Place", "RunView", "fresh_place", "preview", "run_view"]

Slot = Weighing.Slot
Rows = Mapping[tuple[str, int], Sequence[Weighing]]


@dataclass(frozen=True)
class Place:
    """Where one reading goes: what, at which sieve, which increment; the reading and earlier ones.

    A sieve, the pan or a mass of the whole portion has several when it was weighed in increments.
    """

    slot: str
    position: int
    sieve: RunSieve | None
    weighing: Weighing | None = None
    earlier: tuple[Weighing, ...] = ()
    increment: int = 1


@dataclass(frozen=True)
class AtSieve:
    """All that is weighed at one sieve of a run."""

    sieve: RunSieve
    fraction: tuple[Place, ...]
    split: tuple[Place, ...] = ()
    end_point: Place | None = None


@dataclass(frozen=True)
class RunView:
    """A run as bench and review show it."""

    run: Run
    dry_mass: tuple[Place, ...]
    washed_dry_mass: tuple[Place, ...]
    sieves: tuple[AtSieve, ...]
    pan: tuple[Place, ...]
    evaluation: Evaluation | None
    fault: str = ""
    figures: dict[str, Any] = field(default_factory=dict)

    @property
    def places(self) -> Iterator[Place]:
        """Go through every place of the run, in the order of the work."""
        yield from (*self.dry_mass, *self.washed_dry_mass)
        for at in self.sieves:
            yield from (*at.fraction, *at.split, *([at.end_point] if at.end_point else []))
        yield from self.pan


def run_view(run: Run) -> RunView:
    """Lay out a run from `find_run` for the screen, computed as far as it is weighed."""
    evaluation, fault = preview(run)
    rows = _by_place(run.weighings.all())
    has_split_wash = any(slot == Slot.SPLIT_WASHED for slot, _ in rows)
    has_wash = run.procedure_version.wash and not has_split_wash
    return RunView(
        run=run,
        dry_mass=tuple(_places(rows, Slot.DRY_MASS)),
        washed_dry_mass=tuple(_places(rows, Slot.WASHED_DRY_MASS)) if has_wash else (),
        sieves=tuple(_at(run, rows, sieve) for sieve in run.places.all()),
        pan=tuple(_places(rows, Slot.PAN)),
        evaluation=evaluation,
        fault=fault,
        figures=as_json(evaluation) if evaluation else {},
    )


def preview(run: Run) -> tuple[Evaluation | None, str]:
    """Compute a run as far as it is weighed; the text says why when nothing can be computed."""
    try:
        return evaluate(run_worksheet(run), partial=True), ""
    except GradationError as error:
        return None, str(error)


def fresh_place(run: Run, slot: str, position: int, increment: int) -> Place:
    """Give an empty place for one more increment."""
    sieve = next((each for each in run.places.all() if each.position == position), None)
    return Place(slot, position, sieve, increment=increment)


def _by_place(weighings: Iterable[Weighing]) -> Rows:
    found: dict[tuple[str, int], list[Weighing]] = defaultdict(list)
    for row in weighings:
        found[row.slot, row.position].append(row)
    return found


def _places(rows: Rows, slot: str, sieve: RunSieve | None = None) -> Iterator[Place]:
    """Give the place of each increment weighed; one empty place where there is none yet."""
    position = sieve.position if sieve else 0
    made = rows.get((slot, position), ())
    if not any(row.increment == 1 for row in made):
        yield Place(slot, position, sieve)
    for current in latest_of(made):
        earlier = [row for row in made if row.increment == current.increment and row != current]
        yield Place(slot, position, sieve, current, tuple(earlier), current.increment)


def _at(run: Run, rows: Rows, sieve: RunSieve) -> AtSieve:
    has_end_point = run.procedure_version.end_point_form == EndPointForm.EXTRA_MINUTE
    end_point = next(_places(rows, Slot.END_POINT, sieve)) if has_end_point else None
    return AtSieve(
        sieve,
        tuple(_places(rows, Slot.FRACTION, sieve)),
        tuple(_split(run, rows, sieve)),
        end_point,
    )


def _split(run: Run, rows: Rows, sieve: RunSieve) -> Iterator[Place]:
    """Give what is weighed at a split; the reduced part is washed where nothing else was."""
    if not sieve.is_split:
        return
    yield from _places(rows, Slot.SPLIT_PASSING, sieve)
    yield from _places(rows, Slot.SPLIT_REDUCED, sieve)
    was_washed = (Slot.WASHED_DRY_MASS.value, 0) in rows
    if run.procedure_version.wash and not was_washed:
        yield from _places(rows, Slot.SPLIT_WASHED, sieve)
