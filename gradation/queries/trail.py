"""The history of a run as a reviewer goes through it: its entries, and how far somebody looked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Model, QuerySet

from gradation.models import (
    Drying,
    DryingContainer,
    DryingMass,
    LedgerEntry,
    PaperComparison,
    Run,
    RunCheckAnswer,
    Scan,
    Shaking,
    TrailReview,
    Transcription,
    Weighing,
)
from gradation.queries.history import Event, tell

__all__ = ["Trail", "stale_trails", "trail_of", "trails_of"]

#: Acts of review and reporting, and states that follow from others: nothing new about the run.
_FOLLOWING = frozenset(
    {
        "run accepted",
        "sample under test",
        "sample reported",
        "sample closed",
        "sample disposed",
    }
)

Subjects = dict[tuple[str, int], set[int]]


@dataclass(frozen=True)
class Trail:
    """What the ledger tells about one run, oldest first, and the last look through it."""

    run: Run
    entries: tuple[LedgerEntry, ...]
    seen: TrailReview | None
    told: Mapping[int, Event]

    @property
    def newest(self) -> int:
        """Give the sequence of the newest entry in its chain."""
        return max((entry.sequence for entry in self.entries), default=0)

    @property
    def unseen(self) -> tuple[LedgerEntry, ...]:
        """List what was written about the run since somebody last went through it."""
        after = self.seen.seen_sequence if self.seen else 0
        return tuple(
            entry
            for entry in self.entries
            if entry.sequence > after and entry.action not in _FOLLOWING
        )

    @property
    def is_current(self) -> bool:
        """Say whether somebody has gone through all there is."""
        return self.seen is not None and not self.unseen

    def is_seen_up_to(self, sequence: int) -> bool:
        """Say whether a page that showed entries up to this one showed all that matters."""
        return all(
            entry.sequence <= sequence or entry.action in _FOLLOWING for entry in self.entries
        )

    @property
    def events(self) -> list[Event]:
        """Tell the entries as a story."""
        return [self.told[entry.pk] for entry in self.entries]

    @property
    def news(self) -> list[Event]:
        """Tell what nobody has gone through yet."""
        return [self.told[entry.pk] for entry in self.unseen]


def trail_of(run: Run) -> Trail:
    """Give the history of one run."""
    return trails_of([run])[run.pk]


def trails_of(runs: Sequence[Run]) -> dict[int, Trail]:
    """Give the histories of runs by their keys; the number of queries does not grow with them."""
    seen: dict[int, TrailReview] = {}
    for look in TrailReview.objects.filter(run__in=runs).select_related("reviewer").order_by("id"):
        seen[look.run_id] = look
    subjects = _subjects(runs)
    found: dict[int, list[LedgerEntry]] = defaultdict(list)
    entries = list(_entries(runs))
    told = {event.key: event for event in tell(entries)}
    for entry in entries:
        for key in subjects.get((entry.subject_type, entry.subject_id), ()):
            found[key].append(entry)
    return {run.pk: Trail(run, tuple(found[run.pk]), seen.get(run.pk), told) for run in runs}


def stale_trails(runs: Sequence[Run]) -> list[Trail]:
    """List the histories that nobody has gone through to their end."""
    return [trail for trail in trails_of(runs).values() if not trail.is_current]


def _entries(runs: Sequence[Run]) -> QuerySet[LedgerEntry]:
    chains = {f"sample/{run.portion.sample.number}" for run in runs}
    return LedgerEntry.objects.filter(chain__in=chains).order_by("chain", "sequence")


def _subjects(runs: Sequence[Run]) -> Subjects:
    """Say of every row that belongs to a run's story which runs it belongs to."""
    found: Subjects = defaultdict(set)
    for run in runs:
        found["run", run.pk].add(run.pk)
        found["testportion", run.portion_id].add(run.pk)
        found["sample", run.portion.sample_id].add(run.pk)
    for model, way in _OF_A_RUN:
        for key, owner in _owned(model, way, runs):
            found[str(model._meta.model_name), key].add(owner)
    by_portion: dict[int, set[int]] = defaultdict(set)
    for run in runs:
        by_portion[run.portion_id].add(run.pk)
    for name, key, portion in _dryings(by_portion):
        found[name, key] |= by_portion[portion]
    return found


#: What belongs to one run, and how its run is named.
_OF_A_RUN: tuple[tuple[type[Model], str], ...] = (
    (Weighing, "run"),
    (Shaking, "run"),
    (RunCheckAnswer, "run"),
    (Transcription, "run"),
    (Scan, "transcription__run"),
    (PaperComparison, "transcription__run"),
)


def _owned(model: type[Model], way: str, runs: Sequence[Run]) -> Iterator[tuple[int, int]]:
    rows = model._default_manager.filter(**{f"{way}__in": runs}).order_by()
    yield from rows.values_list("pk", way)


def _dryings(portions: Iterable[int]) -> Iterator[tuple[str, int, int]]:
    dryings = Drying.objects.filter(portion__in=list(portions)).order_by()
    for key, portion in dryings.values_list("pk", "portion_id"):
        yield "drying", key, portion
    masses = DryingMass.objects.filter(drying__portion__in=list(portions)).order_by()
    for key, portion in masses.values_list("pk", "drying__portion_id"):
        yield "dryingmass", key, portion
    containers = DryingContainer.objects.filter(drying__portion__in=list(portions)).order_by()
    for key, portion in containers.values_list("pk", "drying__portion_id"):
        yield "dryingcontainer", key, portion
