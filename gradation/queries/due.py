"""What is due, and what may not be used: the one place that screens, nests and runs ask."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from math import ceil

from django.db.models import DateField, OuterRef, QuerySet, Subquery

from gradation.models import (
    Bench,
    Check,
    Equipment,
    Instrument,
    Laboratory,
    OverdueRule,
    RunSieve,
    Sieve,
    User,
)

__all__ = [
    "Due",
    "DueRow",
    "Unfit",
    "awaits_first_check",
    "due_list",
    "due_of",
    "due_state",
    "places_taken",
    "said_taken",
    "unfit_reasons",
    "uses_left",
]

#: A check by uses is due soon in the last tenth of its interval. Common practice.
_SOON_SHARE_OF_USES = 0.1

Kind, State = Equipment.Kind, Equipment.State


class Due(StrEnum):
    """Where an item's next check stands."""

    OVERDUE = "overdue"
    UNCHECKED = "not checked yet"
    DUE_SOON = "due soon"
    IN_DATE = "in date"
    NOT_PLANNED = "not planned"


_WORST_FIRST = (Due.OVERDUE, Due.UNCHECKED, Due.DUE_SOON, Due.IN_DATE, Due.NOT_PLANNED)


def due_state(next_check_on: date | None, today: date, due_soon_days: int) -> Due:
    """Say whether a day is past, soon or far. The day itself is still in date."""
    if next_check_on is None:
        return Due.NOT_PLANNED
    if next_check_on < today:
        return Due.OVERDUE
    if next_check_on <= today + timedelta(days=due_soon_days):
        return Due.DUE_SOON
    return Due.IN_DATE


def uses_left(item: Equipment) -> int | None:
    """Give how many more uses an item's rule allows; 0 when its check is due by uses."""
    if item.next_check_at_use is None:
        return None
    return max(0, item.next_check_at_use - item.use_count)


def due_of(item: Equipment, today: date, due_soon_days: int) -> Due:
    """Say where an item's next check stands, by days or by uses, whichever comes first."""
    if awaits_first_check(item):
        return Due.UNCHECKED
    by_days = due_state(item.next_check_on, today, due_soon_days)
    return min(by_days, _due_by_uses(item), key=_WORST_FIRST.index)


def awaits_first_check(item: Equipment) -> bool:
    """Say whether an item is new: it has a rule of checks, and no check that counts by it yet."""
    has_rule = bool(item.check_interval_days or item.check_interval_uses)
    return has_rule and item.next_check_on is None and item.next_check_at_use is None


def _due_by_uses(item: Equipment) -> Due:
    left = uses_left(item)
    if left is None:
        return Due.NOT_PLANNED
    if left == 0:
        return Due.OVERDUE
    soon = max(1, ceil((item.check_interval_uses or 0) * _SOON_SHARE_OF_USES))
    return Due.DUE_SOON if left <= soon else Due.IN_DATE


@dataclass(frozen=True)
class DueRow:
    """One item of the due list."""

    item: Equipment
    due: Due
    last_check_on: date | None

    @property
    def due_on(self) -> date | None:
        """Give the day its next check is due by days."""
        return self.item.next_check_on

    @property
    def uses_left(self) -> int | None:
        """Give how many more uses its rule allows."""
        return uses_left(self.item)

    @property
    def name(self) -> str:
        """Name the item as its own card does."""
        return str(self.thing)

    @property
    def thing(self) -> Sieve | Instrument | Equipment:
        """Give the sieve or instrument that the item is."""
        if self.item.kind == Kind.SIEVE:
            return getattr(self.item, "sieve", self.item)
        return getattr(self.item, "instrument", self.item)


def due_list(today: date, bench: Bench | None = None, person: User | None = None) -> list[DueRow]:
    """List all equipment not withdrawn by how its next check stands, the overdue first.

    `bench` and `person` narrow it to what stands there, or is in that person's keeping.
    """
    laboratory = Laboratory.objects.first()
    soon = laboratory.due_soon_days if laboratory else 0
    rows = [
        DueRow(item, due_of(item, today, soon), getattr(item, "last_check_on", None))
        for item in _kept(bench, person)
    ]
    return sorted(rows, key=_urgency)


def _kept(bench: Bench | None, person: User | None) -> QuerySet[Equipment]:
    last = Check.objects.filter(equipment=OuterRef("pk")).order_by("-performed_on")
    items = (
        Equipment.objects.exclude(state=State.WITHDRAWN)
        .select_related("sieve", "instrument", "bench", "keeper")
        .annotate(last_check_on=Subquery(last.values("performed_on")[:1], output_field=DateField()))
    )
    if bench is not None:
        items = items.filter(bench=bench)
    return items.filter(keeper=person) if person is not None else items


def _urgency(row: DueRow) -> tuple[int, date, str]:
    return _WORST_FIRST.index(row.due), row.due_on or date.max, row.item.serial


@dataclass(frozen=True)
class Unfit:
    """One reason against using an item: what is wrong, and whether it stops a run."""

    text: str
    blocks: bool
    code: str

    def __str__(self) -> str:
        return self.text


def unfit_reasons(item: Equipment, today: date, laboratory: Laboratory | None) -> tuple[Unfit, ...]:
    """Say what speaks against using an item in a run today, by the laboratory's policies.

    State, due date, class. Whether a sieve stands in a run is in `places_taken`, which asks for all
    sieves at once.
    """
    named = (
        f"Sieve {item}" if isinstance(item, Sieve) else f"{item.kind.capitalize()} {item.serial}"
    )
    if item.state != State.IN_SERVICE:
        since = f" since {item.state_since:%d %b %Y}" if item.state_since else ""
        reason = item.state_reason.strip().rstrip(".")
        return (Unfit(f"{named} is {item.state}{since}: {reason}.", True, "out-of-service"),)
    reasons = []
    if isinstance(item, Sieve) and item.is_master:
        said = f"{named} is a master sieve, kept for comparisons and out of routine use."
        reasons.append(Unfit(said, True, "master-sieve"))
    blocks = laboratory is None or laboratory.overdue_sieve == OverdueRule.BLOCK
    code = "not-checked-yet" if awaits_first_check(item) else "overdue"
    reasons += [Unfit(said, blocks, code) for said in _overdue(item, named, today)]
    return tuple(reasons)


def _overdue(item: Equipment, named: str, today: date) -> list[str]:
    if awaits_first_check(item):
        return [f"{named} is new and not checked yet: it is checked before its first use."]
    said = []
    if item.next_check_on is not None and item.next_check_on < today:
        said.append(f"{named}: its check was due on {item.next_check_on:%d %b %Y}.")
    if uses_left(item) == 0:
        said.append(
            f"{named}: its check was due after {item.next_check_at_use} uses; it has "
            f"{item.use_count}."
        )
    return said


def places_taken(sieves: Iterable[Sieve]) -> dict[int, RunSieve]:
    """Give, by sieve, the place in an open run that it stands in; a free sieve is left out."""
    taken = RunSieve.objects.filter(
        sieve__in=[sieve.pk for sieve in sieves], in_use=True
    ).select_related("sieve", "run__bench", "run__portion", "run__technician")
    return {place.sieve_id: place for place in taken}


def said_taken(place: RunSieve, *others: RunSieve) -> str:
    """Say who has a sieve, or several that stand in one run."""
    run, serials = place.run, ", ".join(each.sieve.serial for each in (place, *others))
    subject = f"Sieves {serials} stand" if others else f"Sieve {place.sieve} stands"
    return f"{subject} in run {run} on {run.bench} ({run.technician})."
