"""Readings that balances send: kept as they came, placed in the field that somebody named.

Every line is kept. A second reading of one load is caught twice: by whoever sends (one load, one
key) and here (the same key, or the same mass from the same balance within two seconds).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from django.db import IntegrityError, transaction

from gradation.errors import Conflict, Invalid, Refusal
from gradation.models import (
    BalanceReading,
    Bench,
    BenchPlace,
    Drying,
    DryingMass,
    Origin,
    Run,
    User,
    Weighing,
)
from gradation.policy import Action, require
from gradation.queries.balances import reading_with_key
from gradation.services import clock, ledger
from gradation.services.balance_judging import (
    BalanceLine,
    Judged,
    Verdict,
    judge,
    placing_fault,
)
from gradation.services.checking import locked, needs_reason, shortened
from gradation.services.dryings import MassReading, correct_drying_mass, record_drying_mass
from gradation.services.observed import weighed_at
from gradation.services.weighing import Reading, correct_weighing, record_weighing

__all__ = [
    "BalanceLine",
    "DryingField",
    "Field",
    "leave_bench",
    "name_place",
    "place_waiting",
    "set_aside",
    "take_balance_reading",
]

Outcome = BalanceReading.Outcome
_LONGEST_REASON = 400
_DOOR_LENGTH = 16


@dataclass(frozen=True)
class Field:
    """A field of a run: what is weighed, at which sieve, which increment, with which tare."""

    run: Run
    slot: str
    position: int = 0
    increment: int = 1
    is_gross: bool = False
    tare_text: str = ""

    def refuse_closed(self) -> None:
        """Refuse what is nothing that is weighed, and a run that takes no more readings."""
        if self.slot not in set(Weighing.Slot):
            msg = f"{self.slot} is nothing that is weighed in a run."
            raise Invalid.one("slot", msg, code="unknown-slot")
        if not self.run.is_editable:
            msg = f"Run {self.run} is {self.run.state}; no reading is placed in it."
            raise Conflict(msg)

    def name_in(self, place: BenchPlace) -> None:
        """Let the place say this field."""
        place.run, place.drying, place.slot = self.run, None, self.slot
        place.position, place.increment = self.position, self.increment
        place.is_gross, place.tare_text = self.is_gross, self.tare_text.strip()[:40]

    def take(self, actor: User, reading: BalanceReading, reason: str = "") -> None:
        """Record the mass here; with a reason, as a correction."""
        told = Reading(
            slot=self.slot,
            position=self.position,
            increment=self.increment,
            text=_text(reading.mass_as_sent),
            tare_text=self.tare_text if self.is_gross else "",
            key=reading.key,
            source=Weighing.Source.BALANCE,
            balance=reading.balance,
            raw_text=reading.raw_text,
            observed_at=reading.observed_at,
        )
        if reason.strip():
            kept = correct_weighing(actor=actor, run=self.run, reading=told, reason=reason)
        else:
            kept = record_weighing(actor=actor, run=self.run, reading=told)
        reading.weighing = kept


@dataclass(frozen=True)
class DryingField:
    """The next weighing of a drying, by its number; the balance shows it with the container."""

    drying: Drying
    number: int

    def refuse_closed(self) -> None:
        """Refuse a drying that has ended."""
        if self.drying.ended_at is not None:
            msg = f"The {self.drying} has ended; no reading is placed in it."
            raise Conflict(msg)

    def name_in(self, place: BenchPlace) -> None:
        """Let the place say this weighing."""
        place.run, place.drying, place.slot = None, self.drying, ""
        place.position, place.increment = self.number, 1
        place.is_gross, place.tare_text = False, ""

    def take(self, actor: User, reading: BalanceReading, reason: str = "") -> None:
        """Record the mass here; with a reason, as a correction."""
        told = MassReading(
            self.number,
            _text(reading.mass_as_sent),
            reading.key,
            DryingMass.Source.BALANCE,
            reading.balance,
            reading.raw_text,
            observed_at=reading.weighed_at,
            sent_at=clock.now(),
        )
        drying = self.drying
        if reason.strip():
            kept = correct_drying_mass(actor=actor, drying=drying, reading=told, reason=reason)
        else:
            kept = record_drying_mass(actor=actor, drying=drying, reading=told)
        reading.drying_mass = kept


def name_place(*, actor: User, bench: Bench, field: Field | DryingField) -> BenchPlace:
    """Say where the next balance reading of a bench goes; it will be recorded as this person's.

    Technicians may, for a run that can be edited or a drying that has not ended (`Conflict`), and
    something that is weighed (`Invalid`). Ledger: bench taken - when the person or the work
    changes, not at every field.
    """
    require(actor, Action.RECORD_RUN)
    field.refuse_closed()
    with transaction.atomic():
        place = _held_place(bench)
        before, was = ledger.snapshot(place), (place.person_id, place.run_id, place.drying_id)
        place.person, place.named_at = actor, clock.now()
        field.name_in(place)
        place.save()
        if was != (place.person_id, place.run_id, place.drying_id):
            ledger.write(actor=actor, action="bench taken", subject=place, before=before)
    return place


def leave_bench(*, actor: User) -> int:
    """Let no more readings come under this person's name: who signs out has left the bench.

    Technicians may; gives how many benches were left. Ledger: bench left.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        left = list(BenchPlace.objects.select_for_update().filter(person=actor).order_by("pk"))
        for place in left:
            before = ledger.snapshot(place)
            place.run = place.drying = place.person = place.named_at = None
            place.save()
            ledger.write(actor=actor, action="bench left", subject=place, before=before)
    return len(left)


def take_balance_reading(*, actor: User, sent: BalanceLine) -> BalanceReading:
    """Take one line of a balance: keep it as it came, and place it where the bench wants it.

    Technicians and equipment keepers may, themselves or through a token. The line is read here by
    the balance's form, so that there is one parser. Refused, and kept as such: what is unsettled,
    overloaded or unreadable; a balance unknown, not connected, of another bench, out of service or
    overdue, as when a run is opened on it. Placed as the reading of whoever named the field; where
    no field is named, it is filled, or the line waited for the network while the field changed,
    it waits for a person, with the reason. The same key again gives back what is there; with
    another line it is refused (`Conflict`). Ledger: balance reading placed, waiting, refused or
    set aside; and the reading of the run, when placed.
    """
    require(actor, Action.SEND_BALANCE_READINGS)
    sent = replace(sent, line=sent.line[:200], received_at=sent.received_at or clock.now())
    known = _known(sent)
    if known is not None:
        return known
    try:
        with transaction.atomic():
            place = _held_place(sent.bench)
            return _known(sent) or _taken(actor, sent, place)
    except IntegrityError:
        known = _known(sent)  # the same key came in by another bench at the same instant
        if known is None:
            raise
        return known


def _known(sent: BalanceLine) -> BalanceReading | None:
    known = reading_with_key(sent.key)
    if known is not None and known.raw_text != sent.line:
        msg = f"Under this key '{known.raw_text}' was sent before. Give every reading its own key."
        raise Conflict(msg, code="key-reused")
    return known


def _held_place(bench: Bench) -> BenchPlace:
    """Hold the bench's place: its readings are taken one after the other."""
    BenchPlace.objects.get_or_create(bench=bench)
    rows = BenchPlace.objects.select_for_update(of=("self",))
    named = ("run__portion", "drying__portion", "person", "bench")
    return rows.select_related(*named).get(bench=bench)


def _taken(actor: User, sent: BalanceLine, place: BenchPlace) -> BalanceReading:
    received_at = sent.received_at or clock.now()
    at = weighed_at(sent.observed_at, sent.sent_at, received_at)
    judged = judge(sent, at)
    reading = BalanceReading(
        key=sent.key,
        bench=sent.bench,
        balance=judged.balance,
        balance_named=sent.balance.strip()[:40],
        raw_text=sent.line,
        mass_g=judged.mass_g,
        decimals=0 if judged.mass_g is None else max(0, -int(judged.mass_g.as_tuple().exponent)),
        observed_at=sent.observed_at,
        weighed_at=at,
        received_at=received_at,
        sent_by=actor,
        token=sent.token,
    )
    _decide(reading, judged, place, actor.origin)
    reading.save(force_insert=True)
    ledger.write(actor=actor, action=f"balance reading {reading.outcome}", subject=reading)
    return reading


def _decide(reading: BalanceReading, judged: Judged, place: BenchPlace, origin: Origin) -> None:
    verdict = judged.verdict
    if verdict is None and judged.balance is not None:
        verdict = placing_fault(place, judged.balance, reading.weighed_at)
    if verdict is None:
        verdict = _placed(reading, place, origin)
    reading.outcome, reading.code = verdict.outcome, verdict.code
    reading.reason = shortened(verdict.reason, _LONGEST_REASON)


def _placed(reading: BalanceReading, place: BenchPlace, origin: Origin) -> Verdict:
    """Record the mass as whoever named the place; what cannot be recorded waits."""
    person, field = place.person, _field_of(place)
    if person is None or field is None:
        msg = "A reading is placed where somebody named a field."
        raise RuntimeError(msg)
    door = f"balance {reading.balance_named}"[:_DOOR_LENGTH]
    person.origin = Origin(door, origin.address, origin.request_id)
    try:
        field.take(person, reading)
    except Refusal as refusal:
        said = f"{_text(reading.mass_as_sent)} g: {refusal.message}"
        return Verdict(Outcome.WAITING, refusal.code, said)
    return Verdict(Outcome.PLACED)


def _field_of(place: BenchPlace) -> Field | DryingField | None:
    if place.drying is not None:
        return DryingField(place.drying, place.position)
    if place.run is None:
        return None
    tare = place.tare_text if place.is_gross else ""
    return Field(place.run, place.slot, place.position, place.increment, place.is_gross, tare)


def _text(mass_g: Decimal | None) -> str:
    return "" if mass_g is None else f"{mass_g:f}"


def place_waiting(
    *, actor: User, reading: BalanceReading, field: Field | DryingField, reason: str = ""
) -> BalanceReading:
    """Take a reading that waits to a field, as this person's; with a reason it is a correction.

    Technicians may. Refuses (`Conflict`) one that does not wait any more, and a field that is
    filled when no reason is given; (`Invalid`) what the field cannot take. Ledger: reading or
    drying mass recorded or corrected, waiting reading placed.
    """
    require(actor, Action.RECORD_RUN)
    with transaction.atomic():
        reading = _held_waiting(reading)
        before = ledger.snapshot(reading)
        field.take(actor, reading, reason)
        reading.outcome, reading.code, reading.reason = Outcome.PLACED, "", ""
        _answered(actor, reading)
        ledger.write(actor=actor, action="waiting reading placed", subject=reading, before=before)
    return reading


def set_aside(*, actor: User, reading: BalanceReading, reason: str) -> BalanceReading:
    """Set a reading that waits aside, with a reason: it belongs to no run, and stays on record.

    Technicians may. Refuses (`Conflict`) one that does not wait any more. Ledger: waiting reading
    set aside.
    """
    require(actor, Action.RECORD_RUN)
    reason = needs_reason(reason, "set the reading aside")
    with transaction.atomic():
        reading = _held_waiting(reading)
        before = ledger.snapshot(reading)
        reading.outcome, reading.code, reading.reason = Outcome.SET_ASIDE, "by-person", reason
        _answered(actor, reading)
        ledger.write(
            actor=actor,
            action="waiting reading set aside",
            subject=reading,
            before=before,
            reason=reason,
        )
    return reading


def _held_waiting(reading: BalanceReading) -> BalanceReading:
    reading = locked(reading, "balance", "bench")
    if reading.outcome != Outcome.WAITING:
        msg = f"{reading} does not wait any more: it is {reading.outcome}."
        raise Conflict(msg, code="not-waiting")
    return reading


def _answered(actor: User, reading: BalanceReading) -> None:
    reading.decided_by, reading.decided_at = actor, clock.now()
    reading.save()
