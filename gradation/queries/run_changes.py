"""What happened to a run since somebody last looked: one cheap question, asked every second."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Max, QuerySet

from gradation.errors import NotFound
from gradation.models import Run, User, Weighing
from gradation.queries.samples import samples_visible_to, sees_every_sample

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
    rows: Any = _visible_run(actor, pk)
    found = rows.values_list("version", "state", Max("weighings__pk")).first()
    if found is None:
        raise _unknown()
    version, state, last = found
    return RunMark(last or 0, version, state)


def refuse_unseen(actor: User, pk: int) -> None:
    """Refuse (`NotFound`) a run that does not exist for this person."""
    if not _visible_run(actor, pk).exists():
        raise _unknown()


def _visible_run(actor: User, pk: int) -> QuerySet[Run]:
    rows = Run.objects.filter(pk=pk)
    if sees_every_sample(actor):
        return rows
    return rows.filter(portion__sample__in=samples_visible_to(actor))


def _unknown() -> NotFound:
    return NotFound("There is no such run. Go back to the bench's list and open it from there.")


def news_since(run: Run, last: int) -> Iterator[News]:
    """List the readings of a run from `find_run` that came after one, oldest first."""
    rows = sorted(run.weighings.all(), key=lambda row: row.pk)
    newest: dict[tuple[str, int, int], Weighing] = {}
    for row in rows:
        place = (row.slot, row.position, row.increment)
        if row.pk > last:
            yield News(row, newest.get(place))
        newest[place] = row
