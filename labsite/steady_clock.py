"""Watching the server's clock: a step of it is an incident, because records carry its time.

Records keep their order by their sequence, whatever the clock says; a person must know why their
times do not follow it.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from datetime import UTC, datetime

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse

from gradation.services.incidents import Met, record_incident
from gradation.services.people import system_account

Handler = Callable[[HttpRequest], HttpResponse]

LARGEST_STEP_S = 2.0
log = logging.getLogger("gradation.incidents")


class ClockStepped(Exception):
    """The server's clock did not go on as time did."""


def steady() -> float:
    """Give seconds that no setting of the clock moves, counted while the machine sleeps too."""
    return time.clock_gettime(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC))


class ClockWatch:
    """Compares the clock with a steady count of seconds, from one look to the next."""

    def __init__(self) -> None:
        self.ahead = time.time() - steady()

    def step_s(self) -> float:
        """Give by how many seconds the clock was moved since the last look."""
        before, self.ahead = self.ahead, time.time() - steady()
        return self.ahead - before


class SteadyClockMiddleware:
    """Looks at the clock before every request; a step above two seconds becomes an incident."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response
        self.watch = ClockWatch()

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Look, then let the request be answered."""
        step_s = self.watch.step_s()
        if abs(step_s) > LARGEST_STEP_S:
            _alarm(request, step_s)
        return self.get_response(request)


def _alarm(request: HttpRequest, step_s: float) -> None:
    way = "forward" if step_s > 0 else "back"
    now = datetime.now(UTC)
    stepped = ClockStepped(
        f"The server's clock was moved {way} by {abs(step_s):.1f} s before {now:%d %b %Y %H:%M:%S} "
        "UTC. Look at its time service; the order of records goes by their sequence."
    )
    log.warning("clock: %s", stepped)
    number = getattr(request, "request_id", "")
    met = Met(stepped, number, request.method or "", "the server's clock")
    try:
        record_incident(actor=system_account(), met=met)
    except DatabaseError:
        log.exception("a step of the clock could not be recorded")
