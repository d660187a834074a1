"""The story line: events of a history grouped by day, the grave and the weighty marked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from django.utils import timezone

from gradation.queries.history import Event

_READINGS = frozenset({"reading recorded", "drying mass recorded"})
_GRAVE = frozenset({"returned", "invalid", "cancelled", "withdrawn", "out of service"})
_WEIGHTY = frozenset({"issued", "accepted", "logged", "handed over", "released"})


@dataclass(frozen=True)
class Told:
    """One entry of the story as the page shows it."""

    event: Event
    look: str
    more: tuple[Event, ...] = ()


@dataclass(frozen=True)
class Day:
    """What happened on one day."""

    day: date
    entries: tuple[Told, ...]


def days_of(events: Sequence[Event]) -> list[Day]:
    """Group events by day in the laboratory's zone, in the order given."""
    by_day = groupby(events, key=lambda event: timezone.localtime(event.at).date())
    return [Day(day, tuple(_told(told))) for day, told in by_day]


def _told(events: Iterable[Event]) -> Iterator[Told]:
    """Tell readings made one after the other by one person as one entry."""
    for _, alike in groupby(events, key=_sitting):
        first, *rest = alike
        yield Told(first, _look(first), (first, *rest) if rest else ())


def _sitting(event: Event) -> tuple[str, str] | Event:
    return (event.action, event.person) if event.action in _READINGS else event


def _look(event: Event) -> str:
    if any(event.action.endswith(word) for word in _GRAVE):
        return "grave"
    return "weighty" if any(event.action.endswith(word) for word in _WEIGHTY) else ""
