"""Weighing: readings of a run come in singly and are kept at once; a correction is a revision."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Instrument, Run, User, Weighing
from gradation.policy import Action, require
from gradation.queries.readings import latest_of
from gradation.queries.settled import attach_frame, attach_readings
from gradation.services import clock, ledger
from gradation.services.checking import locked, needs_reason
from gradation.services.reading_checks import check_masses, check_place, decimals_of, mass_of

__all__ = ["Reading", "correct_weighing", "record_weighing"]

#: Read with a run, because every reading names it and its page says whether it is from paper.
_OF_A_RUN = ("portion__sample", "transcription__performed_by")


@dataclass(frozen=True)
class Reading:
    """One reading as it came in: text, not yet a number. With a tare, `text` is the gross mass.

    `raw_text` is the balance's line as it came; `observed_at` is by the client's clock, kept for
    readings that waited for the network.
    """

    slot: str
    text: str
    key: UUID
    position: int = 0
    increment: int = 1
    tare_text: str = ""
    source: str = Weighing.Source.TYPED
    balance: Instrument | None = None
    raw_text: str = ""
    observed_at: datetime | None = None


def record_weighing(*, actor: User, run: Run, reading: Reading) -> Weighing:
    """Keep one reading of a run, at once.

    Technicians may, while the run is open or returned. The same key again gives back the reading
    already kept. Refuses (`Invalid`) what is no mass, a gross mass below its tare, a place the run
    does not have, a dry mass after washing above the one before, a reduced part above what it was
    taken from; refuses (`Conflict`) a place that already has another reading: a correction needs a
    reason; and a balance's reading in a run that is typed from paper. Ledger: reading recorded.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        made = _made(run)
        known = made.with_key(reading.key)
        if known is not None:
            return known
        _refuse_uneditable(run)
        present = made.at(reading)
        if present is not None:
            _refuse_second_value(present, reading)
        weighing = _weighing(actor, run, reading, made.latest)
        weighing.save(force_insert=True)
        ledger.write(actor=actor, action="reading recorded", subject=weighing)
        attach_readings(run, [*made.rows, weighing])
    return weighing


def correct_weighing(*, actor: User, run: Run, reading: Reading, reason: str) -> Weighing:
    """Replace a reading by a further revision; the earlier value stays readable.

    Technicians may, with a reason, while the run is open or returned. Refuses (`Conflict`) when
    there is nothing to correct. Ledger: reading corrected, with the value before.
    """
    require(actor, Action.RECORD_RUN)
    reason = needs_reason(reason, "correct the reading")
    with transaction.atomic():
        run = locked(run, *_OF_A_RUN)
        made = _made(run)
        known = made.with_key(reading.key)
        if known is not None:
            return known
        _refuse_uneditable(run)
        present = made.at(reading)
        if present is None:
            msg = "There is no reading here yet. Enter it; a correction replaces an earlier one."
            raise Conflict(msg, code="nothing-to-correct")
        weighing = _weighing(actor, run, reading, made.latest)
        weighing.revision = present.revision + 1
        weighing.reason = reason
        weighing.save(force_insert=True)
        ledger.write(
            actor=actor,
            action="reading corrected",
            subject=weighing,
            before=ledger.snapshot(present),
            reason=reason,
        )
        attach_readings(run, [*made.rows, weighing])
    return weighing


@dataclass(frozen=True)
class _Made:
    """The readings of a held run, read once."""

    rows: Sequence[Weighing]
    latest: Sequence[Weighing]

    def with_key(self, key: UUID) -> Weighing | None:
        return next((row for row in self.rows if row.key == key), None)

    def at(self, reading: Reading) -> Weighing | None:
        place = (reading.slot, reading.position, reading.increment)
        found = ((row.slot, row.position, row.increment) for row in self.latest)
        return next((row for row, at in zip(self.latest, found, strict=True) if at == place), None)


def _made(run: Run) -> _Made:
    rows = list(run.weighings.all())
    attach_readings(run, rows)
    attach_frame(run)
    return _Made(rows, latest_of(rows))


def _refuse_uneditable(run: Run) -> None:
    if not run.is_editable:
        msg = f"Run {run} is {run.state}; readings are made while it is open or returned."
        raise Conflict(msg)


def _refuse_second_value(present: Weighing, reading: Reading) -> None:
    msg = (
        f"{present.mass_as_entered} g was already recorded here by {present.made_by}. You entered "
        f"{reading.text}. Keep the first, or correct it with a reason."
    )
    raise Conflict(msg, code="reading-clash")


def _source(run: Run, reading: Reading) -> str:
    """Say where a reading came from: all of a run that is typed from paper come from it."""
    if run.on_paper is None:
        return reading.source
    if reading.source == Weighing.Source.BALANCE:
        msg = (
            f"The readings of run {run} are typed from paper; this one came from a balance. Set it "
            "aside, or weigh in another run."
        )
        raise Conflict(msg, code="typed-from-paper")
    return Weighing.Source.PAPER


def _weighing(actor: User, run: Run, reading: Reading, latest: Sequence[Weighing]) -> Weighing:
    """Turn the text of a reading into a row, or refuse it beside its field."""
    gross = mass_of("text", reading.text)
    tare = mass_of("tare_text", reading.tare_text) if reading.tare_text.strip() else None
    net = gross if tare is None else gross - tare
    if net < 0:
        msg = f"Gross {gross} g is below tare {tare} g. Check both, and which sieve was weighed."
        raise Invalid.one("text", msg, code="gross-below-tare")
    check_place(run, reading.slot, reading.position, reading.increment, latest)
    weighing = Weighing(
        run=run,
        slot=reading.slot,
        position=reading.position,
        increment=reading.increment,
        mass_g=net,
        gross_g=None if tare is None else gross,
        tare_g=tare,
        entered_text=reading.text.strip()[:40],
        decimals=decimals_of(net),
        source=_source(run, reading),
        balance=reading.balance,
        raw_text=reading.raw_text.strip()[:200],
        observed_at=reading.observed_at,
        key=reading.key,
        made_at=clock.now(),
        made_by=actor,
    )
    check_masses(weighing, latest)
    return weighing
