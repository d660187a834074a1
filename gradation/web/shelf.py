"""The due shelf: sieves from those overdue at the left to those a year off at the right."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from gradation.models import Sieve
from gradation.queries.equipment import Due, due_state
from gradation.web.templatetags.notebook import on_day

_PLACES = ("Overdue", "within a month", "within 3 months", "within 6 months", "later")
_PLACE_ENDS_DAYS = (0, 31, 92, 183)


@dataclass(frozen=True)
class SieveTag:
    """A sieve as its tag on the shelf says it."""

    sieve: Sieve
    due: Due
    look: str
    words: str


@dataclass(frozen=True)
class ShelfPlace:
    """One stretch of the shelf."""

    name: str
    tags: tuple[SieveTag, ...]


@dataclass(frozen=True)
class Shelf:
    """All sieves, tagged, by when they are due."""

    tags: tuple[SieveTag, ...]
    today: date

    words = (
        (Due.OVERDUE.value, "overdue"),
        (Due.DUE_SOON.value, "due soon"),
        (Due.IN_DATE.value, "in date"),
        ("out", "out of service"),
    )

    def chosen(self, word: str) -> list[SieveTag]:
        """Give the tags under one word of the filter; all when no word is chosen."""
        if not word:
            return list(self.tags)
        return [tag for tag in self.tags if word == ("out" if tag.look == "out" else tag.due)]

    def tag_of(self, sieve: Sieve) -> SieveTag:
        """Give one sieve's tag."""
        return next(tag for tag in self.tags if tag.sieve.pk == sieve.pk)

    @property
    def places(self) -> list[ShelfPlace]:
        """Give the five stretches of the shelf; withdrawn sieves do not stand on it."""
        stretches: list[list[SieveTag]] = [[] for _ in _PLACES]
        for tag in self.tags:
            if tag.sieve.state != Sieve.State.WITHDRAWN and tag.sieve.next_check_on:
                stretches[self._stretch(tag.sieve.next_check_on)].append(tag)
        return [
            ShelfPlace(name, tuple(tags)) for name, tags in zip(_PLACES, stretches, strict=True)
        ]

    def _stretch(self, due_on: date) -> int:
        ends = [self.today + timedelta(days=days) for days in _PLACE_ENDS_DAYS]
        return sum(due_on >= end for end in ends)


def shelf_of(sieves: Iterable[Sieve], today: date, due_soon_days: int) -> Shelf:
    """Tag every sieve with where its next check stands today."""
    return Shelf(tuple(_tag(sieve, today, due_soon_days) for sieve in sieves), today)


def _tag(sieve: Sieve, today: date, due_soon_days: int) -> SieveTag:
    due = due_state(sieve.next_check_on, today, due_soon_days)
    if sieve.state != Sieve.State.IN_SERVICE:
        since = f" since {on_day(sieve.state_since)}" if sieve.state_since else ""
        return SieveTag(sieve, due, "out", f"{sieve.state}{since}")
    look, words = {
        Due.OVERDUE: ("overdue", "overdue since"),
        Due.DUE_SOON: ("soon", "due"),
        Due.IN_DATE: ("in-date", "in date to"),
        Due.NOT_PLANNED: ("in-date", "no check planned"),
    }[due]
    day = f" {on_day(sieve.next_check_on)}" if sieve.next_check_on else ""
    return SieveTag(sieve, due, look, f"{words}{day}")
