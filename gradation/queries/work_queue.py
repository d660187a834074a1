"""The work that waits at a bench: what is due, what dries, what is to be shaken, what came back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count

from gradation.models import Bench, Equipment, Run, Sample, Shaking, User, Weighing
from gradation.queries.due import Due, DueRow, due_list
from gradation.queries.preparation import DryingView, dryings_open
from gradation.queries.runs import runs_at_bench, samples_awaiting_test

__all__ = ["Reminder", "RunTask", "SampleTask", "WorkQueue", "work_queue"]

Slot, Kind, State = Weighing.Slot, Equipment.Kind, Equipment.State
_SAMPLES_SHOWN = 200


@dataclass(frozen=True)
class RunTask:
    """An open or returned run with the next thing to do on it."""

    run: Run
    next_step: str
    done: int
    places: int

    @property
    def is_returned(self) -> bool:
        """Say whether review sent it back."""
        return self.run.state == Run.State.RETURNED


@dataclass(frozen=True)
class SampleTask:
    """A sample of which there is no run yet, or too few determinations."""

    sample: Sample
    is_late: bool
    is_due_today: bool


@dataclass(frozen=True)
class Reminder:
    """A piece of equipment of the bench that has to be checked first, and why."""

    row: DueRow
    why: str


@dataclass(frozen=True)
class WorkQueue:
    """Everything that waits at one bench, or at all of them."""

    returned: tuple[RunTask, ...]
    to_shake: tuple[RunTask, ...]
    in_hand: tuple[RunTask, ...]
    drying: tuple[DryingView, ...]
    samples: tuple[SampleTask, ...]
    reminders: tuple[Reminder, ...]

    @property
    def is_empty(self) -> bool:
        """Say whether nothing waits."""
        return not (self.returned or self.to_shake or self.in_hand or self.drying or self.samples)


def work_queue(actor: User, bench: Bench | None, now: datetime, today: date) -> WorkQueue:
    """Give what waits for a bench (all benches when none is picked), most pressing first.

    The number of queries does not grow with the number of runs.
    """
    tasks = _run_tasks(runs_at_bench(actor, bench))
    open_tasks = [task for task in tasks if not task.is_returned]
    return WorkQueue(
        returned=tuple(task for task in tasks if task.is_returned),
        to_shake=tuple(task for task in open_tasks if task.next_step == TO_SHAKE),
        in_hand=tuple(task for task in open_tasks if task.next_step != TO_SHAKE),
        drying=tuple(_soonest_first(dryings_open(bench), now)),
        samples=tuple(_sample_tasks(samples_awaiting_test(actor)[:_SAMPLES_SHOWN], today)),
        reminders=tuple(_reminders(bench, today)),
    )


TO_SHAKE = "shake"


def _run_tasks(rows: Iterable[Run]) -> list[RunTask]:
    runs = list(rows)
    keys = [run.pk for run in runs]
    slots = _slots(keys)
    shaken = set(Shaking.objects.filter(run__in=keys).values_list("run_id", flat=True))
    places = dict(
        Run.objects.filter(pk__in=keys).annotate(n=Count("places")).values_list("pk", "n")
    )
    return [_task(run, slots[run.pk], places[run.pk], run.pk in shaken) for run in runs]


def _slots(keys: Sequence[int]) -> dict[int, set[tuple[str, int]]]:
    found: dict[int, set[tuple[str, int]]] = defaultdict(set)
    rows = Weighing.objects.filter(run__in=keys).values_list("run_id", "slot", "position")
    for run, slot, position in rows:
        found[run].add((slot, position))
    return found


def _task(run: Run, slots: set[tuple[str, int]], places: int, is_shaken: bool) -> RunTask:
    fractions = sum(slot == Slot.FRACTION for slot, _ in slots) + ((Slot.PAN.value, 0) in slots)
    step = _next_step(run, slots, (fractions, places + 1), is_shaken)
    return RunTask(run, step, fractions, places + 1)


def _next_step(
    run: Run, slots: set[tuple[str, int]], fractions: tuple[int, int], is_shaken: bool
) -> str:
    """Say what comes next on a run, in the order of the work."""
    done, wanted = fractions
    if (Slot.DRY_MASS.value, 0) not in slots:
        return "weigh the portion"
    if run.procedure_version.wash and (Slot.WASHED_DRY_MASS.value, 0) not in slots:
        return "wash, dry and weigh again"
    if done == 0 and not is_shaken and run.procedure_version.shaking_minutes is not None:
        return TO_SHAKE
    if done < wanted:
        return f"weigh the fractions: {done} of {wanted}"
    return "hand over"


def _soonest_first(views: Sequence[DryingView], now: datetime) -> list[DryingView]:
    return sorted(views, key=lambda view: view.next_due_at or now)


def _sample_tasks(samples: Iterable[Sample], today: date) -> list[SampleTask]:
    return [
        SampleTask(
            sample,
            is_late=sample.due_on is not None and sample.due_on < today,
            is_due_today=sample.due_on == today,
        )
        for sample in samples
    ]


def _reminders(bench: Bench | None, today: date) -> list[Reminder]:
    """Name the equipment of a bench that has to be checked before it is used today."""
    if bench is None:
        return []
    rows = (row for row in due_list(today, bench) if row.item.state == State.IN_SERVICE)
    return [Reminder(row, why) for row in rows if (why := _why(row, today))]


def _why(row: DueRow, today: date) -> str:
    if row.due == Due.OVERDUE:
        return "its check is overdue"
    if row.due == Due.UNCHECKED:
        return "new: check it before its first use"
    if row.item.kind == Kind.BALANCE and row.last_check_on != today:
        return "not checked with weights today"
    return ""
