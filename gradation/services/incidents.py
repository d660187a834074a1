"""Incidents: faults of the program as requests met them, closed only with their cause."""

from __future__ import annotations

import traceback
from dataclasses import dataclass
from pathlib import Path

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Incident, User
from gradation.policy import Action, require
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked

__all__ = ["Met", "close_incident", "record_incident"]

LONGEST_TRACE = 20_000


@dataclass(frozen=True)
class Met:
    """The request that met a fault."""

    error: BaseException
    request_id: str
    method: str
    route: str
    person: User | None = None


def record_incident(*, actor: User, met: Met) -> Incident:
    """Record a fault of the program; the system account does. Ledger: incident met."""
    require(actor, Action.KEEP_INSTALLATION)
    trace = "".join(traceback.format_exception(met.error))
    with transaction.atomic():
        incident = Incident(
            request_id=met.request_id,
            at=clock.now(),
            person=met.person,
            method=met.method[:8],
            route=met.route[:160],
            kind=type(met.error).__name__[:120],
            place=_place(met.error)[:200],
            trace=trace[-LONGEST_TRACE:].replace("\x00", ""),
        )
        cleaned(incident).save()
        ledger.write(actor=actor, action="incident met", subject=incident)
    return incident


def _place(error: BaseException) -> str:
    frames = traceback.extract_tb(error.__traceback__)
    if not frames:
        return "unknown"
    last = frames[-1]
    return f"{Path(last.filename).stem}.{last.name}, line {last.lineno}"


def close_incident(*, actor: User, incident: Incident, cause: str, correction: str) -> Incident:
    """Close an incident with its cause and what was done; quality managers may.

    Refuses (`Invalid`) without a cause, (`Conflict`) one that is closed. Ledger: incident closed.
    """
    require(actor, Action.CLOSE_INCIDENTS)
    if not cause.strip():
        msg = "Say what caused it. An incident is closed only with its cause."
        raise Invalid.one("cause", msg, code="cause-missing")
    with transaction.atomic():
        incident = locked(incident)
        if incident.closed_at is not None:
            msg = f"It was closed by {incident.closed_by} already."
            raise Conflict(msg)
        before = ledger.snapshot(incident)
        incident.closed_at, incident.closed_by = clock.now(), actor
        incident.cause, incident.correction = cause.strip(), correction.strip()
        cleaned(incident).save()
        ledger.write(
            actor=actor, action="incident closed", subject=incident, before=before, reason=cause
        )
    return incident
