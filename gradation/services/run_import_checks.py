"""Runs recorded elsewhere go through the checks of opening and hand-over as those of the bench do.

A stop refuses the row in words, as nobody stands there to lift it; everything else is kept with the
run and waits for the reviewer.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from gradation.models import Run, RunCheckFinding, Stage, User
from gradation.queries.run_checks import Candidate, Finding, FindingsElsewhere
from gradation.science.worksheet import Evaluation
from gradation.services.bulk_rows import insert_rows
from gradation.services.finding_records import deviations_of, finding_rows, in_short

__all__ = ["Checked", "checked_runs", "keep_checked"]


@dataclass(frozen=True)
class Checked:
    """A run recorded elsewhere with what the checks found in it."""

    run: Run
    opening: tuple[Finding, ...]
    hand_over: tuple[Finding, ...]

    @property
    def stops(self) -> Iterator[str]:
        """Say what keeps the run out, each once."""
        found = (each for each in (*self.opening, *self.hand_over) if each.is_stop)
        said = (f"{each.sentence} {each.advice}".strip() for each in found)
        yield from dict.fromkeys(said)

    @property
    def in_short(self) -> list[str]:
        """Name what was found, for the ledger."""
        return in_short((*self.opening, *self.hand_over))


def checked_runs(
    actor: User, runs: Mapping[Run, Evaluation], asking: FindingsElsewhere
) -> list[Checked]:
    """Ask the checks about runs just written and computed, read with all that belongs to them.

    What holds of their nest and day is asked once for all runs that share both.
    """
    asked: dict[tuple[date, int | None, int], tuple[Finding, ...]] = {}
    checked = []
    for run, evaluation in runs.items():
        sample, day = run.portion.sample, asking.day_of(run)
        key = (day, sample.specification_version_id, sample.procedure_version_id)
        if key not in asked:
            asked[key] = asking.at_opening(_candidate(actor, run), day)
        checked.append(Checked(run, asked[key], asking.at_hand_over(run, evaluation)))
    return checked


def _candidate(actor: User, run: Run) -> Candidate:
    return Candidate(
        actor=actor,
        portion=run.portion,
        bench=run.bench,
        sieves=[place.sieve for place in run.places.all()],
        is_elsewhere=True,
    )


def keep_checked(checked: Iterable[Checked]) -> None:
    """Write down what was found, and among the deviations what belongs there."""
    rows: list[RunCheckFinding] = []
    noted = []
    for each in checked:
        rows += finding_rows(each.run, Stage.OPENING, each.opening)
        rows += finding_rows(each.run, Stage.HAND_OVER, each.hand_over)
        both = (*each.opening, *each.hand_over)
        lines = deviations_of(both, each.run.deviations, {})
        if lines:
            told = dict.fromkeys([*each.run.deviations.splitlines(), *lines])
            each.run.deviations = "\n".join(told)
            noted.append(each.run)
    insert_rows(rows)
    Run.objects.bulk_update(noted, ["deviations"])
