"""The laboratory's clock: the server's time, in UTC.

Only the demonstration scenario and tests set it, inside `at`; no request can.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime

from django.utils import timezone

from gradation.models import Laboratory
from gradation.queries.days import day_of, laboratory_zone

_moment: ContextVar[datetime | None] = ContextVar("moment", default=None)


def now() -> datetime:
    """Give the present moment, zone-aware, in UTC."""
    return _moment.get() or timezone.now()


def today(laboratory: Laboratory | None = None) -> date:
    """Give the calendar day in the laboratory's time zone."""
    return day_of(now(), laboratory_zone(laboratory))


@contextmanager
def at(moment: datetime) -> Iterator[None]:
    """Let the clock stand at `moment` inside the block: for the demonstration and for tests."""
    token = _moment.set(moment)
    try:
        yield
    finally:
        _moment.reset(token)
