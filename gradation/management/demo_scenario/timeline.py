"""The laboratory's past: working days counted back from today, and stories that share one clock."""

import heapq
from collections.abc import Generator, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from gradation.services import clock

Story = Generator[datetime, None, None]
"""Something that happens step by step: it yields the moment of its next step."""

CLOSING = time(17, 0)


@dataclass(frozen=True)
class Workdays:
    """Monday to Friday, up to the last day whose work is done."""

    last: date
    zone: ZoneInfo

    @classmethod
    def until(cls, now: datetime, zone: ZoneInfo) -> "Workdays":
        """Count back from `now`; a day before closing time does not belong to it yet."""
        here = now.astimezone(zone)
        day = here.date() if here.time() >= CLOSING else here.date() - timedelta(days=1)
        return cls(weekday_before(day), zone)

    def ago(self, days: int) -> date:
        """Give the day so many working days before the last."""
        return self.later(self.last, -days)

    def later(self, day: date, days: int) -> date:
        """Give the working day so many working days after another (before it, if negative)."""
        return _as_date(np.busday_offset(np.datetime64(day), days, roll="backward"))

    def moment(self, day: date, hour: int, minute: int = 0) -> datetime:
        """Give a time of day at the laboratory as a moment in UTC."""
        return datetime.combine(day, time(hour, minute), self.zone).astimezone(UTC)


def weekday_before(day: date) -> date:
    """Give the day itself, or the Friday before a weekend."""
    return _as_date(np.busday_offset(np.datetime64(day), 0, roll="backward"))


def _as_date(day: np.datetime64) -> date:
    found: date = day.astype(object)
    return found


def play(stories: Iterable[Story]) -> None:
    """Let all stories happen, each step at its moment, in the order of time.

    The laboratory's clock stands at the moment of each step, so that records, numbers and ledger
    entries come one after the other as they did in the laboratory.
    """
    now = clock.now()
    waiting: list[tuple[datetime, int, Story]] = []
    for order, story in enumerate(stories):
        _go_on(waiting, order, story, now)
    past = datetime.min.replace(tzinfo=UTC)
    while waiting:
        moment, order, story = heapq.heappop(waiting)
        if moment < past:
            msg = f"Story {order} goes back from {past} to {moment}."
            raise ValueError(msg)
        past = moment
        with clock.at(moment):
            _go_on(waiting, order, story, now)


def _go_on(
    waiting: list[tuple[datetime, int, Story]], order: int, story: Story, now: datetime
) -> None:
    """Let a story take its next step, and put it in line for the one after."""
    moment = next(story, None)
    if moment is None:
        return
    if moment > now:
        msg = f"Story {order} goes beyond the present, to {moment}."
        raise ValueError(msg)
    heapq.heappush(waiting, (moment, order, story))
