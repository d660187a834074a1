"""What becomes of a balance's line: judged against the balance, the line and the place named."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from uuid import UUID

from gradation.models import (
    ApiToken,
    BalanceLink,
    BalanceReading,
    Bench,
    BenchPlace,
    Equipment,
    Instrument,
    Laboratory,
    OverdueRule,
)
from gradation.policy import Action, may
from gradation.queries.balances import balance_by_serial, link_of, was_checked_on
from gradation.queries.due import unfit_reasons
from gradation.services import clock
from gradation.services.balance_forms import Read, form_of, read_balance_line

__all__ = ["BalanceLine", "Judged", "Verdict", "judge", "placing_fault"]

Outcome = BalanceReading.Outcome

#: Nobody can change a load and let it settle within so short a time: the same mass from the same
#: balance is the same load, come by a second road or sent twice. Our own figure.
ECHO = timedelta(seconds=2)
#: A place may be named a moment after the load has settled: the script waits for the focus to rest.
GRACE = timedelta(seconds=3)
#: Whoever named a place so long ago may have gone; their name must not stand on what comes now.
PLACE_HOLDS = timedelta(minutes=60)
_MOST_DECIMALS, _LARGEST_G = 8, Decimal(10) ** 8


@dataclass(frozen=True)
class BalanceLine:
    """One line as it was sent: `observed_at` and `sent_at` by the sender's clock."""

    bench: Bench
    balance: str
    line: str
    key: UUID
    observed_at: datetime | None = None
    sent_at: datetime | None = None
    received_at: datetime | None = None
    token: ApiToken | None = None


@dataclass(frozen=True)
class Verdict:
    """What becomes of a line, with a code for machines and a sentence for people."""

    outcome: Outcome
    code: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Judged:
    """A line with the balance it came from, the mass it says, and why it is not placed."""

    balance: Instrument | None
    mass_g: Decimal | None
    verdict: Verdict | None


def judge(sent: BalanceLine, at: datetime) -> Judged:
    """Judge the balance and its line; without a verdict, the mass may be placed."""
    balance = balance_by_serial(sent.balance)
    link = link_of(balance) if balance else None
    read = _read(sent, link)
    verdict = (
        _bench_fault(sent.bench)
        or _balance_fault(sent, balance, link)
        or _line_fault(read)
        or (_mass_fault(read, link, balance, at) if link and balance else None)
    )
    return Judged(balance, read.mass_g, verdict)


def _refused(code: str, reason: str) -> Verdict:
    return Verdict(Outcome.REFUSED, code, reason)


def _read(sent: BalanceLine, link: BalanceLink | None) -> Read:
    if link is None:
        return Read(None)
    read = read_balance_line(sent.line, form_of(link))
    if read.mass_g is None:
        return read
    decimals = -int(read.mass_g.as_tuple().exponent)
    if decimals > _MOST_DECIMALS or abs(read.mass_g) >= _LARGEST_G:
        return Read(None, "unreadable", f"{sent.line.strip()} is no mass that a balance shows.")
    return read


def _bench_fault(bench: Bench) -> Verdict | None:
    if bench.is_active:
        return None
    return _refused("bench-retired", f"{bench} was given up. Send to the bench in use.")


def _balance_fault(
    sent: BalanceLine, balance: Instrument | None, link: BalanceLink | None
) -> Verdict | None:
    if balance is None:
        msg = f"No balance {sent.balance} is registered. Check the serial number that is sent."
        return _refused("unknown-balance", msg)
    if balance.kind != Equipment.Kind.BALANCE:
        return _refused("no-balance", f"{balance} is no balance.")
    if link is None or not link.is_active:
        msg = (
            f"Balance {balance.serial} is not connected. The equipment keeper does so on its card."
        )
        return _refused("not-connected", msg)
    if link.bench_id != sent.bench.pk:
        msg = f"Balance {balance.serial} belongs to {link.bench}, not to {sent.bench}."
        return _refused("balance-elsewhere", msg)
    return _unfit(balance)


def _unfit(balance: Instrument) -> Verdict | None:
    """Refuse a balance by the rules that hold when a run is opened on it."""
    laboratory = Laboratory.objects.get()
    today = clock.today(laboratory)
    reasons = unfit_reasons(balance, today, laboratory)
    barring = next((reason for reason in reasons if reason.blocks), None)
    if barring is not None:
        return _refused(barring.code, barring.text)
    must_be_checked = laboratory.balance_not_checked == OverdueRule.BLOCK
    if must_be_checked and not was_checked_on(balance, today):
        msg = f"Balance {balance.serial} was not checked with weights today."
        return _refused("balance-not-checked", msg)
    return None


def _line_fault(read: Read) -> Verdict | None:
    return _refused(read.code, read.words) if read.mass_g is None else None


def _mass_fault(read: Read, link: BalanceLink, balance: Instrument, at: datetime) -> Verdict | None:
    mass_g = read.mass_g
    if mass_g is None:
        return None
    if mass_g < 0:
        msg = "Below zero: tare the empty balance and weigh again."
        return _refused("below-zero", msg)
    if mass_g == 0 and link.sends == BalanceLink.Sends.STREAM:
        return _refused("nothing-on-it", "Nothing stands on the balance.")
    return _echo(balance, mass_g, at)


def _echo(balance: Instrument, mass_g: Decimal, at: datetime) -> Verdict | None:
    rows = BalanceReading.objects.filter(
        balance=balance, mass_g=mass_g, outcome__in=[Outcome.PLACED, Outcome.WAITING]
    )
    if not rows.filter(weighed_at__range=(at - ECHO, at + ECHO)).exists():
        return None
    msg = f"The same {mass_g} g within {ECHO.seconds} s: one load, sent twice."
    return Verdict(Outcome.SET_ASIDE, "sent-twice", msg)


def placing_fault(place: BenchPlace, balance: Instrument, at: datetime) -> Verdict | None:
    """Say why a mass waits instead of going to the place that was named."""
    found = next((fault for fault in _placing_faults(place, balance, at) if fault), None)
    return Verdict(Outcome.WAITING, *found) if found else None


def _placing_faults(
    place: BenchPlace, balance: Instrument, at: datetime
) -> Iterable[tuple[str, str] | None]:
    person, named_at = place.person, place.named_at
    if (place.run or place.drying) is None or person is None or named_at is None:
        yield "no-place", "Nobody had named a field for it. Take it to its field, or set it aside."
        return
    if at - named_at > PLACE_HOLDS:
        yield "place-old", f"{person} named the field long ago. Go to the field again."
    if at < named_at - GRACE:
        yield "weighed-earlier", "It was weighed before the present field was named."
    if not may(person, Action.RECORD_RUN if place.run else Action.PREPARE_PORTION):
        yield "person-gone", f"{person} may record nothing here any more. Somebody else takes it."
    if place.is_gross and not place.tare_text.strip():
        yield "tare-missing", "The tare was not entered yet. Enter it, then take the reading."
    yield _of_another_balance(place, balance)


def _of_another_balance(place: BenchPlace, balance: Instrument) -> tuple[str, str] | None:
    run = place.run
    used = (
        run.instruments.filter(instrument__kind=Equipment.Kind.BALANCE).select_related("instrument")
        if run
        else ()
    )
    serials = {row.instrument_id: row.instrument.serial for row in used}
    if not serials or balance.pk in serials:
        return None
    known = ", ".join(serials.values())
    return "other-balance", f"Run {run} was opened on balance {known}, this is {balance.serial}."
