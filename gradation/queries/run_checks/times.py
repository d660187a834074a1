"""Check of the times at which values were entered. Number 24."""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal

from gradation.models import Weighing
from gradation.queries.run_checks.context import Context, Part
from gradation.queries.run_checks.rule import WORKING, Limit, Limits, Rule, Seen, place_name

__all__ = ["RULES"]

Slot, Source = Weighing.Slot, Weighing.Source

_AFTER_SHAKING = frozenset({Slot.FRACTION.value, Slot.PAN.value})
_BY_HAND = frozenset({Source.TYPED.value})
#: Entered later than made by their nature: the run says once from what, and why.
_ELSEWHERE = frozenset({Source.IMPORT.value, Source.PAPER.value})


def _when(row: Weighing) -> datetime:
    """Give the moment a reading was made: by the client's clock where it waited, never later."""
    return row.made_at if row.observed_at is None else min(row.observed_at, row.made_at)


def _impossible(context: Context, limits: Limits) -> Iterator[Seen]:
    slack = timedelta(minutes=float(limits["clock_slack"]))
    for check in (_ahead, _waited, _too_early, _before_shaken):
        yield from check(context, limits, slack)
    yield from _too_fast(context, limits)


def _place(row: Weighing) -> str:
    return place_name(row.slot, row.position)


def _ahead(context: Context, limits: Limits, slack: timedelta) -> Iterator[Seen]:
    for row in context.weighings:
        if row.observed_at is not None and row.observed_at - row.made_at > slack:
            yield Seen(
                f"{_named(row)} is dated {context.clock(row.observed_at)} by its own clock and "
                f"arrived {context.clock(row.made_at)}.",
                "Set the clock of the bench's computer.",
                _place(row),
            )


def _waited(context: Context, limits: Limits, slack: timedelta) -> Iterator[Seen]:
    longest = timedelta(hours=float(limits["longest_wait"]))
    for row in context.weighings:
        if row.source in _ELSEWHERE or row.observed_at is None:
            continue
        if row.made_at - row.observed_at > longest:
            yield Seen(
                f"{_named(row)} was made {context.clock(row.observed_at)} and entered "
                f"{context.clock(row.made_at)}.",
                "Say why it was entered so late, and from what.",
                _place(row),
            )


def _too_early(context: Context, limits: Limits, slack: timedelta) -> Iterator[Seen]:
    """What was weighed before there was anything to weigh."""
    portion, sample = context.portion, context.portion.sample
    beginnings = (
        (portion.prepared_at, f"portion {portion} was prepared"),
        (sample.received_at, f"sample {sample} was received"),
    )
    for moment, what in beginnings:
        rows = [row for row in context.weighings if moment - _when(row) > slack]
        if rows:
            yield Seen(
                f"{_named(rows[0])} was weighed {context.clock(_when(rows[0]))}, before {what} "
                f"({context.clock(moment)}).",
                "Look whether it belongs to this run, and which time is wrong.",
                _place(rows[0]),
            )
            return


def _before_shaken(context: Context, limits: Limits, slack: timedelta) -> Iterator[Seen]:
    """Fractions weighed while the nest was still on the shaker for the first time."""
    first = next((each for each in context.shakings if each.began_at is not None), None)
    if first is None or first.began_at is None:
        return
    ended = first.began_at + timedelta(minutes=float(first.minutes))
    rows = [
        row
        for row in context.weighings
        if row.slot in _AFTER_SHAKING and ended - _when(row) > slack
    ]
    if rows:
        yield Seen(
            f"{_named(rows[0])} was weighed {context.clock(_when(rows[0]))}; the nest was shaken "
            f"until {context.clock(ended)}.",
            "Weigh again after shaking, or correct when the shaking began.",
            _place(rows[0]),
        )


def _too_fast(context: Context, limits: Limits) -> Iterator[Seen]:
    most = int(limits["readings_a_minute"])
    minutes = Tally(
        (row.made_by_id, _when(row).replace(second=0, microsecond=0))
        for row in context.weighings
        if row.source in _BY_HAND
    )
    for (person, minute), count in minutes.items():
        if count > most:
            who = next(each for each in context.people if each.pk == person)
            yield Seen(
                f"{count} readings typed by {who} within the minute of {context.clock(minute)}; no "
                f"hand weighs more than {most}.",
                "Say from what they were copied.",
                "run",
            )


def _named(row: Weighing) -> str:
    place = f" {row.position}" if row.position else ""
    return f"{row.slot.capitalize()}{place}, {row.mass_as_entered} g,"


RULES = (
    Rule(
        number=24,
        code="impossible-time",
        title="Values entered in an impossible time",
        looks_at=(
            "Readings dated ahead of the server, entered long after they were made, weighed before "
            "the portion was prepared or the shaking had ended, or typed faster than a hand weighs."
        ),
        stages=WORKING,
        check=_impossible,
        needs=frozenset({Part.SHAKINGS}),
        limits=(
            Limit("clock_slack", "Clocks may differ by", Decimal(5), "min", "common practice"),
            Limit("longest_wait", "Entered within", Decimal(12), "h", "common practice"),
            Limit(
                "readings_a_minute",
                "Typed by one person in a minute, at most",
                Decimal(30),
                "",
                "common practice: lifting, emptying and weighing one sieve takes longer than 2 s",
            ),
        ),
    ),
)
