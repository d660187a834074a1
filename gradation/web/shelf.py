"""The due shelf: equipment from what is overdue at the left to what is a year off at the right."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.http import HttpRequest

from gradation.models import Equipment, Instrument, Sieve
from gradation.queries.due import Due, due_of, due_state, uses_left
from gradation.services import clock
from gradation.web.context import laboratory_of
from gradation.web.templatetags.notebook import on_day, plain

_PLACES = ("Overdue", "within a month", "within 3 months", "within 6 months", "later")
_PLACE_ENDS_DAYS = (0, 31, 92, 183)
_TAGS_AT_A_PLACE = 60

Thing = Sieve | Instrument | Equipment


@dataclass(frozen=True)
class Tag:
    """An item as its tag on the shelf says it."""

    item: Thing
    due: Due
    look: str
    words: str

    @property
    def is_out(self) -> bool:
        """Say whether it may not be used, whatever its due date."""
        return self.look == "out"

    @property
    def name(self) -> str:
        """Give the short name under the serial: a sieve's size, an instrument's kind."""
        return self.item.designation if isinstance(self.item, Sieve) else self.item.kind

    @property
    def what(self) -> str:
        """Give the name with what tells it from others of its kind."""
        if isinstance(self.item, Sieve):
            frame = f"frame {plain(self.item.frame_diameter_mm)} mm"
            return f"sieve {self.item.designation}, {frame}" + (
                ", master" if self.item.is_master else ""
            )
        model = getattr(self.item, "model", "")
        return f"{self.item.kind} {model}".strip()

    @property
    def limits(self) -> str:
        """Give an instrument's limits in words."""
        return limits_of(self.item) if isinstance(self.item, Instrument) else ""


@dataclass(frozen=True)
class ShelfPlace:
    """One stretch of the shelf; `more` counts the tags that found no room."""

    name: str
    tags: tuple[Tag, ...]
    more: int = 0


@dataclass(frozen=True)
class Shelf:
    """Items, tagged, by when they are due."""

    tags: tuple[Tag, ...]
    today: date

    words = (
        (Due.OVERDUE.value, "overdue"),
        (Due.UNCHECKED.value, "not checked yet"),
        (Due.DUE_SOON.value, "due soon"),
        (Due.IN_DATE.value, "in date"),
        ("out", "out of service"),
    )

    def chosen(self, word: str) -> list[Tag]:
        """Give the tags under one word of the filter; all when no word is chosen."""
        if not word:
            return list(self.tags)
        return [tag for tag in self.tags if word == ("out" if tag.is_out else tag.due)]

    @property
    def places(self) -> list[ShelfPlace]:
        """Give the five stretches of the shelf; withdrawn items do not stand on it."""
        stretches: list[list[Tag]] = [[] for _ in _PLACES]
        for tag in self.tags:
            if tag.item.state != Equipment.State.WITHDRAWN and tag.due != Due.NOT_PLANNED:
                stretches[self._stretch(tag)].append(tag)
        return [
            ShelfPlace(name, tuple(tags[:_TAGS_AT_A_PLACE]), len(tags[_TAGS_AT_A_PLACE:]))
            for name, tags in zip(_PLACES, stretches, strict=True)
        ]

    def _stretch(self, tag: Tag) -> int:
        """Give the place by days; what is new or due by uses stands at the left, or next to it."""
        if tag.due in {Due.OVERDUE, Due.UNCHECKED}:
            return 0
        if tag.item.next_check_on is None:
            return 1 if tag.due == Due.DUE_SOON else len(_PLACES) - 1
        ends = [self.today + timedelta(days=days) for days in _PLACE_ENDS_DAYS]
        by_days = sum(tag.item.next_check_on >= end for end in ends)
        return min(by_days, 1) if uses_left(tag.item) == 0 else by_days


_LOOKS = {
    Due.OVERDUE: "overdue",
    Due.UNCHECKED: "overdue",
    Due.DUE_SOON: "soon",
    Due.IN_DATE: "in-date",
    Due.NOT_PLANNED: "in-date",
}
_BY_DAYS = {Due.OVERDUE: "overdue since", Due.DUE_SOON: "due", Due.IN_DATE: "in date to"}


def tag_of(request: HttpRequest, item: Thing) -> Tag:
    """Tag one item as of today."""
    laboratory = laboratory_of(request)
    return _tag(item, clock.today(laboratory), laboratory.due_soon_days)


def tags_of(request: HttpRequest, items: Iterable[Thing]) -> list[Tag]:
    """Tag items as of today."""
    return [tag_of(request, item) for item in items]


def shelf_of(request: HttpRequest, items: Iterable[Thing]) -> Shelf:
    """Put items on the shelf as of today."""
    return Shelf(tuple(tags_of(request, items)), clock.today(laboratory_of(request)))


def _tag(item: Thing, today: date, due_soon_days: int) -> Tag:
    due = due_of(item, today, due_soon_days)
    if item.state != Equipment.State.IN_SERVICE:
        since = f" since {on_day(item.state_since)}" if item.state_since else ""
        return Tag(item, due, "out", f"{item.state}{since}")
    is_by_days = due_state(item.next_check_on, today, due_soon_days) == due
    return Tag(item, due, _LOOKS[due], _words(item, due, is_by_days=is_by_days))


def _words(item: Thing, due: Due, *, is_by_days: bool) -> str:
    """Say the day or the count of uses, whichever comes first."""
    if due == Due.NOT_PLANNED:
        return "no check planned"
    if due == Due.UNCHECKED:
        return "new, not checked yet"
    if is_by_days:
        return f"{_BY_DAYS[due]} {on_day(item.next_check_on)}"
    if due == Due.OVERDUE:
        return "overdue by uses"
    left = uses_left(item)
    return f"due in {left} uses" if due == Due.DUE_SOON else f"in date, {left} uses left"


def limits_of(item: Instrument) -> str:
    """Give an instrument's limits in a few words."""
    said = [
        ("to {} g", item.capacity_g),
        ("reads to {} g", item.readability_g),
        ("{} to", item.amplitude_min_mm),
        ("{} mm amplitude", item.amplitude_max_mm),
        ("{} Hz", item.frequency_hz),
        ("{} taps a minute", None if item.taps_per_min is None else Decimal(item.taps_per_min)),
        ("nest to {} g", item.greatest_nest_g),
        ("{} °C", item.set_temperature_c),
        ("± {} °C", item.temperature_tolerance_c),
        ("chutes {} mm", item.chute_width_mm),
    ]
    words = ", ".join(form.format(plain(value)) for form, value in said if value is not None)
    return words.replace(" to, ", " to ").replace("°C, ±", "±")
