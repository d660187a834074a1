"""What happened to a run since somebody last looked: one cheap question, asked every second."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Max

from gradation.models import Run, User, Weighing
from gradation.queries.runs import no_such_run, seen_by
from gradation.queries.samples import sees_every_sample

__all__ = ["News", "RunMark", "news_since", "refuse_unseen", "run_mark"]


@dataclass(frozen=True)
class RunMark:
    """How far a run has come: its newest reading, its version and its state."""

    last: int
    version: int
    state: str


@dataclass(frozen=True)
class News:
    """One reading that somebody may not have seen yet, and the value before it."""

    weighing: Weighing
    before: Weighing | None


def run_mark(actor: User, pk: int) -> RunMark:
    """Say in one query how far a run has come, or `NotFound`."""
    rows: Any = seen_by(actor, Run.objects.filter(pk=pk))
    found = rows.values_list("version", "state", Max("weighings__pk")).first()
    if found is None:
        raise no_such_run()
    version, state, last = found
    return RunMark(last or 0, version, state)


def refuse_unseen(actor: User, pk: int) -> None:
    """Refuse (`NotFound`) a run that is not to be seen by this person.

    Who sees every sample is not asked: a run that does not exist is refused where it is held.
    """
    if sees_every_sample(actor):
        return
    if not seen_by(actor, Run.objects.filter(pk=pk)).exists():
        raise no_such_run()


def news_since(run: Run, last: int) -> Iterator[News]:
    """List the readings of a run from `find_run` that came after one, oldest first."""
    rows = sorted(run.weighings.all(), key=lambda row: row.pk)
    newest: dict[tuple[str, int, int], Weighing] = {}
    for row in rows:
        place = (row.slot, row.position, row.increment)
        if row.pk > last:
            yield News(row, newest.get(place))
        newest[place] = row
